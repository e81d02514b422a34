"""Several situations of one guitar in a render, in a pack and on its page."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
import soundfile
from playwright.sync_api import Browser, Page

import presolder as ps
from presolder.models.circuit.entrance import entrance_ohms
from presolder.models.typing import Array
from presolder.render.files.rig_file import built_in_rigs
from probing import opened, probed, until
from rendering import band_rms
from running import presolder, presolder_here
from takes import SAMPLES

pytestmark = pytest.mark.slow
TAKE = str(SAMPLES / "chords.flac")
DESIGNS = ("--design", "bare", "--design", "68k + 1n5")
# Two clean, and two into one curve, of which the softer pickup stands first.
MORE = """
[situations."one coil"]
switch = "one coil"

[situations."both coils"]
switch = "series"
weight = 2

[situations."one coil, dirty"]
switch = "one coil"
dirt = "smooth"

[situations."both coils, dirty"]
switch = "series"
dirt = "smooth"
"""
NAMES = ("one coil", "both coils", "one coil, dirty", "both coils, dirty")
FOLDERS = ("one_coil", "both_coils", "one_coil_dirty", "both_coils_dirty")


@pytest.fixture(scope="module")
def rig_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    text = built_in_rigs()["split-humbucker"].read_text("utf-8")
    path = tmp_path_factory.mktemp("rig") / "split.toml"
    path.write_text(text[: text.index("[situations.")] + MORE, "utf-8")
    return path


@pytest.fixture(scope="module")
def rendered(rig_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("render") / "out"
    done = presolder(
        "render", TAKE, "--rig", rig_file, *DESIGNS, "--from", "10", "--to", "5", "--travel", "2",
        "--stairs", "--stair-dials", "10,5", "--out", out,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return out


def sweep(out: Path, folder: str, stem: str = "bare") -> Array:
    return np.asarray(soundfile.read(out / folder / "sweep" / f"{stem}.wav")[0])


@pytest.mark.thorough
def test_render_makes_a_folder_each_at_one_gain(rendered: Path, rig_file: Path) -> None:
    """Levels differ between situations as they do on the guitar; of dirt the drive does."""
    made = (*FOLDERS, "manifest.json", ".presolder.json")
    assert sorted(path.name for path in rendered.iterdir()) == sorted(made)
    manifest = json.loads((rendered / "manifest.json").read_text())
    assert [one["name"] for one in manifest["situations"]] == list(NAMES)
    assert [one["folder"] for one in manifest["situations"]] == list(FOLDERS)
    gains = [one["output"]["gain_db"] for one in manifest["situations"]]
    assert gains[0] == gains[1] and gains[2] == gains[3]
    for pair in (FOLDERS[:2], FOLDERS[2:]):
        stems = ("bare", "68k_series_1n5")
        peak = max(np.abs(sweep(rendered, folder, stem)).max() for folder in pair for stem in stems)
        # Of dirt less, where it would be far louder than the clean sound.
        assert 20 * np.log10(peak) == pytest.approx(-1.0, abs=0.01) or (
            pair == FOLDERS[2:] and 20 * np.log10(peak) < -1.0
        )
    # The second coil adds its EMF: 6 dB where its longer winding takes no treble yet.
    swept = [sweep(rendered, folder) for folder in FOLDERS[:2]]
    soft, loud = (band_rms(one, 48_000, 60, 400) for one in swept)
    assert 5.5 < 20 * np.log10(loud / soft) < 6.1
    volts = [one["after"]["dirt"]["volts_per_unit"] for one in manifest["situations"][2:]]
    assert volts[0] == volts[1]
    # As it would be of the louder one alone.
    take, sharp = ps.read(TAKE), dict(zip(NAMES, ps.situations(rig_file), strict=True))
    alone = ps.render_files(
        rendered.parent / "alone", take, [sharp["both coils, dirty"]], ["bare"],
        ps.turn(10, 5, travel=2, rest=1),
    )  # fmt: skip
    assert alone["after"]["dirt"]["volts_per_unit"] == pytest.approx(volts[1], rel=1e-9)
    stairs = [rendered / folder / "stairs" / "bare.flac" for folder in FOLDERS]
    assert all(path.exists() for path in stairs)


@pytest.mark.thorough
def test_render_of_one_situation_is_as_before(rendered: Path, rig_file: Path) -> None:
    """With ``--in``, the same audio in the folder itself, but for the gain."""
    out = rendered.parent / "one"
    options = ("--from", "10", "--to", "5", "--travel", "2", "--in", "one coil", "--out", out)
    done = presolder_here("render", TAKE, "--rig", rig_file, *DESIGNS, *options)
    assert done.returncode == 0, done.stderr
    manifest = json.loads((out / "manifest.json").read_text())
    assert "situations" not in manifest
    together = sweep(rendered, "one_coil")
    alone = np.asarray(soundfile.read(out / "sweep" / "bare.wav")[0])
    ratio = float(alone @ together / (alone @ alone))
    assert np.std(together - ratio * alone) / np.std(together) < 1e-5


def test_what_is_told_of_a_circuit_that_the_guitar_feeds(tmp_path: Path) -> None:
    """Its input's resistance at 330 Hz, the pickup's volts, and how loud a take of one volt is."""
    stage, rig = ps.Stage("germanium-fuzz"), ps.rig("humbucker-500k")
    told = ps.render_files(
        tmp_path / "out",
        ps.read(TAKE, end=1),
        rig,
        ["bare"],
        ps.turn(10, 5, travel=0.5, rest=0.2),
        dirt=stage,
    )["after"]["dirt"]
    ohms = np.abs(entrance_ohms(stage, [329.0, 330.0, 331.0]))
    assert told["input_ohms_at_330_hz"] == pytest.approx(ohms[1], rel=1e-9)
    assert abs(ohms[0] / ohms[1] - 1) > 1e-6 and abs(ohms[2] / ohms[1] - 1) > 1e-6
    assert told["pickup_output_volts"] == rig.output_volts


def test_a_situation_twice_is_refused() -> None:
    first = ps.situations("split-humbucker")[0]
    with pytest.raises(ps.InputError, match="is given twice"):
        ps.render_files("nowhere", ps.sample(), [first, first], ["bare"])


def test_takes_made_otherwise_are_refused() -> None:
    """A pack has one take, so its situations have it in common."""
    first, second, *_ = ps.situations("split-humbucker")
    other = ps.Situation(second.name, ps.rig(second.rig, captured="string"))
    with pytest.raises(ps.InputError, match="one take"):
        ps.pack("nowhere", ps.sample("phrase"), [first, other], ["bare"])


@pytest.fixture(scope="module")
def pack(rig_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pack")
    take, rate = soundfile.read(TAKE)
    soundfile.write(folder / "take.wav", take[: int(1.6 * rate)], rate)
    done = presolder(
        "pack", folder / "take.wav", "--rig", rig_file, *DESIGNS, "--hold", "10,5", "--travel",
        "0.6", "--recordings", "--stairs", "--stair-dials", "5", "--phrase", "0.5", "--out",
        folder / "out",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return folder / "out"


def test_pack_has_a_folder_each(pack: Path) -> None:
    contents = json.loads((pack / "pack.json").read_text())
    assert [one["name"] for one in contents["situations"]] == list(NAMES)
    assert [one["weight"] for one in contents["situations"]] == [1, 2, 1, 1]
    for room, one in zip(FOLDERS, contents["situations"], strict=True):
        assert one["reel"] == f"{room}/00_reel"
        assert (pack / "listen" / room / "00_reel.mp3").exists()
        assert (pack / "listen" / room / "00_reel_stairs.mp3").exists()
        assert set(one["figures"]) == {"bare", "68k + 1n5"}
    for entry in (*contents["files"], *contents["comparisons"]["files"]):
        room = FOLDERS[NAMES.index(entry["situation"])]
        assert entry["file"].startswith(f"{room}/")
        assert (pack / "listen" / f"{entry['file']}.mp3").exists()
    assert {one["voice"] for one in contents["files"] if "dirty" not in one["situation"]} == {
        "clean"
    }


def test_pack_levels_compare_between_situations(pack: Path) -> None:
    """One gain a voice, by the package pyloudnorm's measure where matched."""
    contents = json.loads((pack / "pack.json").read_text())
    for voice in ("clean", "dirt"):
        files = [one for one in contents["files"] if one["voice"] == voice]
        assert len({one["gain_db"] for one in files if one["level"] == "true"}) == 1
        meter = pyloudnorm.Meter(48_000, filter_class="DeMan")
        matched = [one for one in files if one["level"] == "matched"]
        audio = [
            soundfile.read(pack / "archive" / f"{one['archive']}.flac")[0]
            * 10 ** (one["archive_gain_db"] / 20)
            for one in matched
        ]
        assert len(matched) == (16 if voice == "clean" else 8)
        assert np.ptp([meter.integrated_loudness(one) for one in audio]) < 0.1


def test_page_is_told_which_situation_is_loudest(pack: Path) -> None:
    """Of those that feed the same: both coils give more than one, into the dirt as well."""
    text = (pack / "index.html").read_text("utf-8")
    live = json.loads(text.split('id="pack">')[1].split("</script>")[0])["live"]
    assert [one["name"] for one in live["situations"]] == list(NAMES)
    assert [one["loudest"] for one in live["situations"]] == [1, 1, 3, 3]
    assert live["situations"][1]["levelDb"][0][-1] > live["situations"][0]["levelDb"][0][-1] + 1


@pytest.fixture
def page(browser: Browser, pack: Path) -> Iterator[Page]:
    with opened(
        browser, probed(pack / "index.html"), viewport={"width": 1100, "height": 800}
    ) as page:
        yield page


def enter(page: Page, name: str) -> None:
    page.locator("label", has=page.locator("input[name=situation]")).get_by_text(
        name, exact=True
    ).click()
    until(page, f"window.audition.live.situation().name === {json.dumps(name)}")
    until(page, "window.audition.live.measured() || window.audition.live.now.level === 'true'")
    page.wait_for_timeout(100)


def test_situations_change_while_it_plays(page: Page, pack: Path) -> None:
    page.get_by_role("button", name="Play", exact=True).click()
    until(page, "window.audition.live.now.running && window.audition.positionS() > 0.3")
    levels = []
    for name in NAMES[:2]:
        enter(page, name)
        levels.append(page.evaluate("window.audition.live.loudnessNow()"))
    # The take goes on, and the louder one is louder, as it is in the files.
    assert page.evaluate("window.audition.state.playing")
    place = page.evaluate("window.audition.positionS()")
    until(page, f"window.audition.positionS() !== {place}")
    files = {
        one["situation"]: one["integrated_lufs"]
        for one in json.loads((pack / "pack.json").read_text())["files"]
        if one["voice"] == "clean" and one["level"] == "true" and one["dial"] == 10
    }
    apart = files[NAMES[1]] - files[NAMES[0]]
    assert apart > 2 and levels[1] - levels[0] == pytest.approx(apart, abs=0.1)
    enter(page, NAMES[3])
    assert page.locator("#dirt").evaluate("(box) => box.selectedOptions[0].text") == "soft clipping"
    assert page.locator("#drive").input_value() == "20"
    enter(page, NAMES[0])
    assert page.locator("#dirt").evaluate("(box) => box.selectedOptions[0].text") == "clean"


@pytest.mark.thorough
def test_page_and_files_drive_dirt_alike(page: Page, pack: Path) -> None:
    """The softer pickup has as much less drive on the page as in the rendered files."""
    contents = json.loads((pack / "pack.json").read_text())
    files = {
        one["situation"]: one["integrated_lufs"]
        for one in contents["files"]
        if one["voice"] == "dirt" and one["level"] == "true" and one["dial"] == 10
    }
    levels = {}
    for name in NAMES[2:]:
        page.evaluate("window.before = window.audition.live.voice()")
        enter(page, name)
        # That of the situation before has dirt as well, and is measured.
        until(page, "window.audition.live.voice() !== window.before")
        until(page, "window.audition.live.voice()?.dirt")
        page.get_by_text("matched", exact=True).click()
        until(page, "window.audition.live.measured()")
        row = page.evaluate("window.audition.live.rows()[0].levels")
        levels[name] = row[-1]
        page.get_by_text("true", exact=True).click()
    apart = files[NAMES[3]] - files[NAMES[2]]
    assert 0.5 < apart < 5
    assert levels[NAMES[3]] - levels[NAMES[2]] == pytest.approx(apart, abs=0.3)


def test_all_are_equally_loud_when_matched(page: Page) -> None:
    page.get_by_text("matched", exact=True).click()
    levels = []
    for name in NAMES[:2]:
        enter(page, name)
        levels.append(page.evaluate("window.audition.live.loudnessNow()"))
    assert levels[0] == pytest.approx(levels[1], abs=0.05)


def test_changed_parts_go_along(page: Page) -> None:
    """The bypass is the same in all situations, also after the visitor changed it."""
    page.locator("#designs button").nth(1).click()
    page.locator("#part-sliders input").first.fill("250")
    until(page, "document.getElementById('expression').textContent !== '68k + 1n5'")
    text = page.locator("#expression").inner_text()
    for name in (NAMES[1], NAMES[0]):
        enter(page, name)
        assert page.locator("#expression").inner_text() == text
        found: dict[str, Any] = page.evaluate(
            """(() => { const { live } = window.audition, part = live.situation().designs[1].parts[0];
            return { now: live.circuits[1].branches[part.branches[0]].value, own: part.value }; })()"""
        )
        assert found["now"] < 0.7 * found["own"]
    page.get_by_role("button", name="Back to the workshop's values").click()
    assert page.locator("#expression").inner_text() == "68k + 1n5"


def test_what_to_expect_is_of_the_situation(page: Page) -> None:
    shown = []
    for name in NAMES[:2]:
        enter(page, name)
        assert page.locator(f"#about h3:visible:text-is('{name}')").count() == 1
        shown.append(page.locator("#about .card").nth(1).inner_text())
    assert shown[0] != shown[1]
    head = page.locator("#about .overall th").all_inner_texts()
    assert head[1:6] == ["all, by weight", *NAMES]


def test_recordings_are_of_the_situation(page: Page, pack: Path) -> None:
    """A voice that a situation has not is not offered, and the place in the take stays."""
    page.get_by_text("recorded: held at 5", exact=True).click()
    page.get_by_role("button", name="Play", exact=True).click()
    until(page, "window.audition.recordings.playing()")
    files = {
        one["situation"]: one["integrated_lufs"]
        for one in json.loads((pack / "pack.json").read_text())["files"]
        if (one["design"], one["voice"], one["level"], one["dial"]) == ("bare", "clean", "true", 5)
    }
    for name in (NAMES[1], NAMES[0]):
        enter(page, name)
        until(page, "window.audition.recordings.playing()")
        loudness = page.evaluate("window.audition.heard.loudness")
        # The quiet file is measured where the gate lets it in.
        assert loudness == pytest.approx(files[name], abs=0.8)
    assert page.locator("#voices").is_hidden()
    enter(page, NAMES[2])
    until(page, "window.audition.recordings.playing()")
    assert page.locator("#voices").is_visible()
    page.locator("#voices").get_by_text("dirt", exact=True).click()
    until(page, "window.audition.recordings.playing()")
    enter(page, NAMES[0])
    until(page, "window.audition.recordings.playing()")
    assert page.evaluate("window.audition.state.place") == "5"


def test_blind_results_say_in_which_situation(page: Page) -> None:
    page.get_by_role("button", name="Hide the names").click()
    enter(page, NAMES[1])
    page.evaluate("window.audition.live.turn(5)")
    page.get_by_role("button", name="Start the run").click()
    assert page.locator("input[name=situation]").first.is_disabled()
    page.get_by_role("button", name="Give up this run").click()
    page.get_by_role("button", name="Reveal and finish").click()
    assert page.locator(f"#about h3:visible:text-is('{NAMES[1]}')").count() == 1
