"""The first half minute, the answer that comes back, and what a page says while it cannot play."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Browser, Page

import presolder as ps
from browsers import only_chromium, saved
from presolder.models.errors import InputError
from presolder.render.files.answers import Answer, read_answer
from probing import opened, until
from running import in_process, presolder_here

pytestmark = pytest.mark.slow
PROBE = "window.audition"
SIZES = ((360, 740), (820, 1180), (1440, 900))


@pytest.fixture
def led(browser: Browser, eight: Path) -> Iterator[Page]:
    with opened(browser, eight, led=True) as page:
        yield page


@pytest.mark.parametrize(
    "size", [SIZES[0], *(pytest.param(size, marks=pytest.mark.thorough) for size in SIZES[1:])]
)
def test_a_difference_is_heard_within_fifteen_seconds(
    browser: Browser, eight: Path, size: tuple[int, int]
) -> None:
    """One press, in the first screen; then the bare pot and the sound at 10 change by themselves."""
    with opened(browser, eight, led=True, viewport={"width": size[0], "height": size[1]}) as page:
        button = page.get_by_role("button", name="Play and compare")
        box = button.bounding_box()
        assert box is not None and box["y"] + box["height"] <= size[1]
        assert page.evaluate(f"{PROBE}.dialNow()") == 6
        began = page.evaluate("performance.now()")
        button.click()
        until(page, f"{PROBE}.state.playing && {PROBE}.live.now.reference === null")
        until(page, f"{PROBE}.live.now.reference === 6")
        assert page.evaluate("performance.now()") - began < 15_000
        # Equally loud, and not the same sound.
        assert "equally loud" in page.locator("#lead-now").inner_text()
        until(page, f"{PROBE}.live.now.reference === null")


@pytest.mark.thorough
def test_it_asks_closer_or_not_and_is_never_led_twice(led: Page, eight: Path) -> None:
    led.get_by_role("button", name="Play and compare").click()
    asked = []
    for answer in ("Closer", "Not closer", "Closer"):
        led.locator("#lead-ask").wait_for(state="visible")
        asked.append(led.evaluate(f"{PROBE}.state.design"))
        led.get_by_role("button", name=answer, exact=True).click()
    closer = led.evaluate(f"{PROBE}.lead.closer()")
    assert [one["closer"] for one in closer] == [True, False, True]
    assert [one["design"] for one in closer] == asked and len(set(asked)) == 3 and 0 not in asked
    assert "turn the knob below yourself" in led.locator("#lead-now").inner_text()
    assert led.evaluate(f"{PROBE}.state.design") == asked[0]
    led.goto(eight.as_uri() + "#led")
    led.reload()
    assert led.locator("#lead").is_hidden()


@pytest.mark.thorough
def test_whoever_does_something_else_has_the_bench(led: Page) -> None:
    led.get_by_role("button", name="Play and compare").click()
    until(led, f"{PROBE}.live.now.reference === 6")
    led.locator("#designs button").nth(2).click()
    assert led.locator("#lead").is_hidden()
    assert led.evaluate(f"{PROBE}.live.now.reference") is None
    assert led.evaluate(f"{PROBE}.state.design") == 2


def test_blind_listening_is_within_two_screens_of_a_phone(browser: Browser, eight: Path) -> None:
    with opened(browser, eight, led=True, viewport={"width": 360, "height": 740}) as page:
        box = page.locator("#blind").bounding_box()
        assert box is not None and box["y"] + box["height"] <= 2 * 740
    with opened(browser, eight, led=True, viewport={"width": 320, "height": 640}) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_a_touch_moves_the_knob_from_where_it_stands(browser: Browser, eight: Path) -> None:
    """Wherever the finger lands; round by a tenth of its way, a dial's worth."""
    with opened(browser, eight) as page:
        page.evaluate(f"{PROBE}.live.turn(5)")
        box = page.locator("#knob").bounding_box()
        assert box is not None
        x, y, reach = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, box["width"] / 3

        def at(degrees: float) -> tuple[float, float]:
            turned = np.radians(degrees)
            return x + reach * np.sin(turned), y - reach * np.cos(turned)

        page.mouse.move(*at(112))
        page.mouse.down()
        assert page.evaluate(f"{PROBE}.dialNow()") == 5
        page.mouse.move(*at(84), steps=4)
        page.mouse.up()
        assert page.evaluate(f"{PROBE}.dialNow()") == pytest.approx(4, abs=0.05)


def test_the_answer_comes_back_as_a_file(browser: Browser, eight: Path, tmp_path: Path) -> None:
    """With the choice and the dials that were listened at; a page shows it, and a search takes it."""
    with opened(browser, eight) as page:
        page.locator("#play").click()
        until(page, f"{PROBE}.state.playing")
        for dial in (7, 4):
            page.evaluate(f"{PROBE}.live.turn({dial})")
            page.wait_for_timeout(1200)
        page.locator("#designs button").nth(2).click()
        page.locator("#choose-this").click()
        file = tmp_path / "listening-answer.json"
        file.write_bytes(saved(page, "#save-answer").read_bytes())
        told = json.loads(file.read_text())
        assert told["chosen"]["design"] == "series" and "+" in told["chosen"]["expression"]
        at = {one["dial"]: one["seconds"] for one in told["dials"]}
        # A busy machine's clock goes on between two commands.
        assert 0.5 <= at[7] < 6 and 0.5 <= at[4] < 6
        page.locator("#open-answer").set_input_files(file)
        page.locator("#answered").wait_for(state="visible")
        shown = page.locator("#answered-text").inner_text()
        assert "Chosen: series (" in shown and "presolder tailor --answers" in shown
        assert page.locator("#answered-dials rect").count() == len(at)
        page.locator("#open-answer").set_input_files(
            {"name": "x.json", "mimeType": "application/json", "buffer": b'{"a": 1}'}
        )
        until(page, "document.getElementById('answered-text').textContent.includes('no answer')")
    assert set(read_answer(file).left_at) == {7, 4}
    search = ("tailor", "--topology", "series", "--series", "E6", "--json")
    found = json.loads(in_process(*search, "--answers", str(file)))
    assert set(found["situations"][0]["judged_by"]["dials"]) == {7, 4}


def test_dials_weigh_by_time() -> None:
    """By hand: of ten seconds, eight at 6 and two at 3, a fifth of the time each."""
    assert Answer((6, 3), (8, 2), "").left_at == (6, 6, 6, 6, 3)
    assert Answer((2, 9), (5, 5), "").left_at == (9, 9, 2, 2, 2)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        '{"presolder_answer": 2, "dials": [], "favourite": null}',
        '{"presolder_answer": 1, "dials": [{"dial": 11, "seconds": 1}], "favourite": null}',
        '{"presolder_answer": 1, "dials": [{"dial": 5, "seconds": "x"}], "favourite": null}',
        '{"presolder_answer": 1, "dials": 5, "favourite": null}',
        "[" * 100_000,
    ],
)
def test_what_is_no_answer_is_refused(text: str, tmp_path: Path) -> None:
    file = tmp_path / "a.json"
    file.write_text(text)
    with pytest.raises(InputError, match="is no answer of a listening page"):
        read_answer(file)


def test_an_answer_from_10_alone_says_nothing(tmp_path: Path) -> None:
    file = tmp_path / "a.json"
    answer: dict[str, Any] = {"presolder_answer": 1, "favourite": None}
    file.write_text(json.dumps(answer | {"dials": [{"dial": 10, "seconds": 9}]}))
    with pytest.raises(InputError, match="between 0 and 10"):
        read_answer(file)
    file.write_text(json.dumps(answer | {"dials": [{"dial": 6, "seconds": 9}]}))
    done = presolder_here("tailor", "--answers", file, "--left-at", "5")
    assert done.returncode == 2 and "give one" in done.stderr


# Loudness and highest peak, between samples too, of every design at some dials as the page plays
# them, from what is worked out of each by itself.
PLAYED = """async () => {
  const a = window.audition, { live } = a;
  const gains = [], dials = [2, 3.5, 5, 6, 7, 8, 9.3, 10];
  const voice = live.voice();
  return { gain: voice.trueGain, wanted: voice.wanted, rows: live.rows().map((row) => row.levels),
    crests: live.rows().map((row) => row.crest), measured: live.measured() };
}"""


@pytest.mark.thorough
@pytest.mark.parametrize("dirt", ["", "0"])
def test_matched_never_peaks_above_full_scale(browser: Browser, eight: Path, dirt: str) -> None:
    """Eight designs, clean and through soft clipping: what is matched has room for the peakiest."""
    with opened(browser, eight) as page:
        page.locator("#dirt").select_option(dirt)
        page.get_by_text("matched", exact=True).click()
        until(page, f"{PROBE}.live.voice() !== null && {PROBE}.live.voice() !== undefined")
        said = page.locator("#level-said")
        for _ in range(8):
            try:
                until(page, f"{PROBE}.live.measured()")
                break
            except pytest.fail.Exception:
                assert "Being measured" in said.inner_text()
        until(page, "document.getElementById('level-said').textContent === 'Measured.'")
        told = page.evaluate(PLAYED)
    peaks_db = [crest + told["wanted"] + 20 * np.log10(told["gain"]) for crest in told["crests"]]
    assert max(peaks_db) <= -0.99
    # The bound is the peakiest one's, and no lower than that needs.
    assert max(peaks_db) >= (-1.1 if dirt else -30)


@pytest.mark.thorough
@pytest.mark.parametrize(("kind", "said"), [("silent", "is silent"), ("clipped", "It is clipped")])
def test_flaws_of_a_visitors_recording_are_said(
    browser: Browser, eight: Path, tmp_path: Path, kind: str, said: str
) -> None:
    t = np.arange(48_000) / 48_000
    tone = np.zeros(48_000) if kind == "silent" else np.clip(3 * np.sin(700 * t), -1, 1)
    soundfile.write(tmp_path / "own.wav", tone, 48_000)
    with opened(browser, eight) as page:
        page.locator("#own").set_input_files(tmp_path / "own.wav")
        until(page, f"document.getElementById('own-said').textContent.includes('{said}')")
        if kind == "clipped":
            until(page, f"{PROBE}.state.playing")
        else:
            assert not page.evaluate(f"{PROBE}.state.playing")


@pytest.mark.thorough
def test_the_last_of_two_loads_is_heard(browser: Browser, eight: Path, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    for name, seconds in (("long", 20), ("short", 1)):
        soundfile.write(
            tmp_path / f"{name}.wav", 0.1 * rng.standard_normal(48_000 * seconds), 48_000
        )
    with opened(browser, eight) as page:
        page.locator("#own").set_input_files(tmp_path / "long.wav")
        page.locator("#own").set_input_files(tmp_path / "short.wav")
        until(page, "document.getElementById('own-said').textContent.startsWith('You hear')")
        page.wait_for_timeout(1500)
        assert "short.wav" in page.locator("#own-said").inner_text()
        assert page.evaluate(f"{PROBE}.live.lengthS()") == pytest.approx(1, abs=0.01)


@pytest.mark.thorough
def test_other_takes_can_be_chosen(browser: Browser, eight: Path) -> None:
    """All that come with the package, and the workshop's again."""
    with opened(browser, eight) as page:
        takes = page.locator("#takes option").all_inner_texts()
        assert takes[0] == "take.wav" and len(takes) == 4
        page.locator("#takes").select_option(label="a line that sustains")
        until(page, f"Math.abs({PROBE}.live.lengthS() - 9.6) < 0.05")
        until(page, f"{PROBE}.state.playing")
        page.locator("#takes").select_option(label="take.wav")
        until(page, f"Math.abs({PROBE}.live.lengthS() - 5) < 0.05")


def test_a_browser_that_stops_the_sound_is_noticed(browser: Browser, eight: Path) -> None:
    """It is said, does not count as heard, and a design brings it back."""
    with opened(browser, eight) as page:
        page.locator("#play").click()
        until(page, f"{PROBE}.state.playing")
        page.evaluate(f"{PROBE}.suspend()")
        until(page, "document.getElementById('how').textContent.includes('stopped the sound')")
        assert not page.evaluate(f"{PROBE}.sounds()")
        page.locator("#designs button").nth(1).click()
        until(page, f"{PROBE}.sounds()")


@pytest.mark.thorough
@only_chromium
def test_a_hand_on_a_slider_costs_little(browser: Browser, eight: Path) -> None:
    """Processor time of script, style and layout an event: the target is 8 ms, 4.5 were measured.

    Painting is left out, which a machine without a graphics card does on the same thread.
    """
    with opened(browser, eight) as page:
        page.locator("#play").click()
        until(page, f"{PROBE}.state.playing && {PROBE}.live.refined()")
        page.locator("#designs button").nth(2).click()
        session = page.context.new_cdp_session(page)
        session.send("Performance.enable", {"timeDomain": "threadTicks"})

        def worked() -> float:
            told = session.send("Performance.getMetrics")["metrics"]
            return sum(one["value"] for one in told if one["name"] in COUNTED)

        idle = worked()
        page.evaluate(MOVED, [None, 40])
        idle = worked() - idle
        for which in ("#around input", "#part-sliders input"):
            began = worked()
            page.evaluate(MOVED, [which, 40])
            assert 1000 * (worked() - began - idle) / 40 < 8, which


COUNTED = ("ScriptDuration", "LayoutDuration", "RecalcStyleDuration")
# A slider moved in every other frame, or nothing for as long.
MOVED = """async ([which, times]) => {
  const slider = which && document.querySelector(which);
  const frame = () => new Promise((done) => { requestAnimationFrame(done); });
  for (let i = 0; i < times; i += 1) {
    if (slider) {
      slider.value = String(300 + 8 * i);
      slider.dispatchEvent(new Event("input"));
    }
    await frame();
    await frame();
  }
}"""


def test_a_page_too_large_to_mail_is_refused_before_the_work(tmp_path: Path) -> None:
    take = ps.sample("chords", "lead")
    rng = np.tile(take.samples, 1)
    soundfile.write(tmp_path / "t.wav", rng.T, take.sample_rate_hz)
    done = presolder_here(
        "pack", tmp_path / "t.wav", "--rig", "three-single-coils", "--single-file",
        "--recordings", "--out", tmp_path / "x.html",
    )  # fmt: skip
    assert done.returncode == 2 and "or so, and mail rarely takes more" in done.stderr
    assert not (tmp_path / "x.html").exists()
