"""A newcomer's whole job on the page: from an empty folder to the pack, in both browsers."""

import json
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from benches import Bench, at_work
from playwright.sync_api import Browser, Locator, Page, Playwright, expect

import presolder as ps
from presolder.models.typing import Array
from presolder.render.bench import jobs
from takes import DOCS

pytestmark = pytest.mark.slow
_SOON = 30_000


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with at_work(tmp_path / "guitars", entered=False) as found:
        yield found


@pytest.fixture
def page(browser: Browser, bench: Bench) -> Iterator[Page]:
    with browser.new_context(viewport={"width": 1366, "height": 768}) as context:
        opened = context.new_page()
        faults: list[str] = []
        opened.on("pageerror", lambda error: faults.append(str(error)))
        opened.goto(bench.address)
        opened.wait_for_url(f"{bench.base}/")
        yield opened
        assert faults == []


def begun(page: Page, title: str = "The blue one") -> None:
    page.fill("#new-title", title)
    page.select_option("#from", "kind:single-coil")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_selector(".plot")


def room(page: Page, name: str) -> None:
    page.locator(f"[data-room={name}]").click()


def answered(page: Page, key: str, value: str) -> None:
    typed(page.locator(f"#field-{key.replace('.', '-')}"), value)


def typed(field: Locator, value: str) -> None:
    """By keys, which every browser takes for a change."""
    field.press("ControlOrMeta+a")
    field.press_sequentially(value)
    field.press("Tab")


def guitar(tmp_path: Path) -> Path:
    return tmp_path / "guitars" / "the_blue_one"


def test_a_whole_job(page: Page, tmp_path: Path, pytestconfig: pytest.Config) -> None:
    """What is asked on the way is what the commands say of the same folder.

    ``pytest --pictures`` puts three rooms into docs.
    """

    def pictured(name: str) -> None:
        if pytestconfig.getoption("--pictures"):
            page.screenshot(path=DOCS / "pictures" / f"bench-{name}.png")

    begun(page)
    answered(page, "cable.length", "20 ft")
    expect(page.locator("#last")).to_have_text("last: Cable length: 20 ft")
    expect(page.locator("#heard")).to_contain_text("the plain pot: duller, 1.5 phon softer")
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("cable half as long", timeout=_SOON)

    page.evaluate("() => scrollTo(0, 0)")
    pictured("guitar")

    room(page, "choose")
    page.get_by_role("button", name="Search values").click()
    page.locator(".point").first.wait_for(timeout=2 * _SOON)
    page.locator(".point").first.scroll_into_view_if_needed()
    pictured("choose")
    page.locator(".point").nth(1).press("Enter")
    inside = page.frame_locator("iframe")
    expect(inside.locator("#expression")).not_to_have_text("the bare pot", timeout=2 * _SOON)
    chosen = jobs.told_of(jobs.newest(guitar(tmp_path))).design
    assert inside.locator("#expression").inner_text().replace(", 0.15)", ")") == chosen

    room(page, "solder")
    ohms = page.locator(".ohms").first
    ohms.wait_for(timeout=_SOON)
    typed(ohms, "1")
    expect(page.locator("#pot-0-0-said")).to_contain_text("nearly a short")
    pictured("solder")
    page.locator("#before-0").check()
    expect(page.locator("#last")).to_have_text("last: done")

    room(page, "confirm")
    page.get_by_role("button", name="Make the pack").click()
    page.locator("a[download]").wait_for(timeout=2 * _SOON)
    with zipfile.ZipFile(guitar(tmp_path) / "made" / "pack.zip") as packed:
        (name,) = (one for one in packed.namelist() if one.endswith("pack.json"))
        told = json.loads(packed.read(name))
    names = [one.get("expression") or one["name"] for one in told["designs"]]
    assert chosen in names

    command = [sys.executable, "-m", "presolder", "need", "--json", "--rig", str(guitar(tmp_path))]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    (situation,) = json.loads(done.stdout)["situations"]
    assert verdict.inner_text() == " ".join(situation["said"])


@pytest.mark.thorough
def test_the_spread_of_parts_is_drawn(page: Page) -> None:
    """Treble and level of the plain pot and of the chosen design, each with its band."""
    begun(page)
    room(page, "choose")
    page.fill("#own-design", "120k + 220p")
    page.get_by_role("button", name="Choose", exact=True).first.click()
    page.get_by_role("button", name="How far do real parts stray").click()
    page.locator(".band").first.wait_for(timeout=2 * _SOON)
    assert page.locator(".band").count() == 4


@pytest.mark.thorough
def test_only_what_is_in_the_drawer(page: Page) -> None:
    begun(page)
    room(page, "choose")
    page.locator("summary", has_text="What is in the drawer").click()
    page.fill("#drawer-lines", "type,value,count\nresistor,100k,5\ncapacitor,220p,5\n")
    page.get_by_role("button", name="Keep the drawer").click()
    expect(page.locator("#room-choose .said", has_text="2 kinds of part")).to_be_visible()
    page.get_by_role("button", name="Search values").click()
    page.locator("figure .point").first.wait_for(timeout=2 * _SOON)
    found = page.locator("table").last.locator("tbody th").all_inner_texts()
    assert found
    assert all(set(re.findall(r"\d+[kpn]", one)) <= {"100k", "220p"} for one in found)
    page.fill("#drawer-lines", "type,value,count\nresistor,much,5\n")
    page.get_by_role("button", name="Keep the drawer").click()
    expect(page.locator("#room-choose .said", has_text="the drawer")).to_be_visible()


@pytest.mark.thorough
def test_a_turn_drawn_by_hand(page: Page, tmp_path: Path) -> None:
    """By keys and by pointer; what is found is what the command finds for the same points."""
    begun(page)
    room(page, "choose")
    page.locator("summary", has_text="drawn by hand").click()
    points = page.locator(".turn .point")
    points.nth(4).focus()
    for _ in range(10):
        page.keyboard.press("ArrowUp")
    assert points.nth(4).get_attribute("aria-valuenow") == "-15"
    # Never above its right neighbour, which is pushed along.
    page.keyboard.press("PageUp")
    assert points.nth(5).get_attribute("aria-valuenow") == "-9"
    levels = [float(points.nth(i).get_attribute("aria-valuenow") or "nan") for i in range(9)]
    page.get_by_role("button", name="Which pot and parts").click()
    rows = page.locator("details tbody tr")
    rows.first.wait_for(timeout=3 * _SOON)
    drawn = tmp_path / "drawn.csv"
    lines = [f"{dial},{db}" for dial, db in zip(range(1, 11), [*levels, 0.0], strict=True)]
    drawn.write_text("dial,level_db\n" + "\n".join(lines), "utf-8")
    found = ps.travel(str(guitar(tmp_path)), ps.turn_wanted(drawn)).plain()
    assert f"{found['best'][0]['off_db']:.1f} dB" in rows.nth(1).inner_text()
    assert f"{found['now']['off_db']:.1f} dB" in rows.nth(0).inner_text()


def test_two_windows_and_undo(page: Page, tmp_path: Path) -> None:
    begun(page)
    other = page.context.new_page()
    other.goto(page.url)
    other.wait_for_selector(".plot")
    page.bring_to_front()
    answered(page, "pickup.resistance", "6,4k")
    expect(page.locator("#last")).to_have_text("last: Winding resistance: 6,4k")
    other.bring_to_front()
    expect(other.locator("#field-pickup-resistance")).to_have_value("6,4k", timeout=10_000)
    expect(other.locator("#said")).to_have_text("changed elsewhere: Winding resistance: 6,4k")
    other.get_by_role("button", name="Undo").click()
    page.bring_to_front()
    expect(page.locator("#field-pickup-resistance")).to_have_value("6k", timeout=10_000)
    # Typed on what is no longer so: told, and nothing lost.
    folder = guitar(tmp_path)
    now = jobs.newest(folder)
    jobs.change(folder, now.number, "notes", told=jobs.told_of(now).changed({"notes": "x"}))
    answered(page, "pickup.resistance", "7k")
    page.locator("#said", has_text="changed elsewhere").wait_for()
    assert jobs.told_of(jobs.newest(folder)).notes == "x"


def test_what_cannot_be_is_said_beside_the_field(page: Page) -> None:
    begun(page)
    answered(page, "pickup.inductance", "soon")
    expect(page.locator("#field-pickup-inductance-said")).to_contain_text("not a value in henrys")
    assert page.locator("#field-pickup-inductance").input_value() == "soon"
    answered(page, "pickup.inductance", "25 H")
    expect(page.locator("#doubts")).to_contain_text("odd for a pickup inductance")


def test_the_bench_stops_and_comes_back(page: Page, bench: Bench, tmp_path: Path) -> None:
    begun(page)
    bench.process.kill()
    bench.process.wait()
    expect(page.locator("#said")).to_contain_text("does not answer", timeout=10_000)
    assert jobs.newest(guitar(tmp_path)).number == 1


@pytest.mark.parametrize(
    "width", [390, *(pytest.param(one, marks=pytest.mark.thorough) for one in (820, 1366))]
)
def test_every_room_is_readable(page: Page, width: int) -> None:
    """axe-core finds nothing by WCAG 2.2 A and AA; nothing runs off the side."""
    page.set_viewport_size({"width": width, "height": 800})
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}
    # Its script is put into the page by the one way that the policy leaves.
    script = Path(sys.modules[Axe.__module__].__file__ or "").parent / "axe.min.js"
    begun(page)
    page.evaluate(script.read_text("utf-8") + "; undefined")
    for name in ("guitar", "choose", "solder", "confirm"):
        room(page, name)
        if name == "solder":
            page.locator(".ohms").first.wait_for(timeout=_SOON)
        found = page.evaluate("(rules) => axe.run(document, rules)", rules)
        assert [one["id"] for one in found["violations"]] == []
        wide = page.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= width, name


@pytest.mark.thorough
def test_by_keyboard_alone(page: Page) -> None:
    page.locator("#new-title").press_sequentially("By keys")
    page.keyboard.press("Enter")
    page.wait_for_selector(".plot")
    page.locator("[data-room=guitar]").focus()
    for name in ("hear", "choose"):
        page.keyboard.press("Tab")
        assert page.evaluate("() => document.activeElement.dataset.room") == name
    page.keyboard.press("Enter")
    expect(page.locator("#room-choose")).to_be_visible()


@pytest.mark.thorough
def test_a_list_of_guitars(page: Page) -> None:
    for title in ("The blue one", "The red one"):
        begun(page, title)
        page.locator("#all").click()
        page.locator(".jobs a", has_text=title).wait_for()
    page.fill("#search", "red")
    assert page.locator(".jobs a").all_inner_texts() == ["The red one"]
    page.get_by_role("button", name="Put away The red one").click()
    expect(page.locator(".jobs a")).to_have_count(0)
    page.locator("#archived").check()
    page.get_by_role("button", name="Take back The red one").click()
    page.locator("#archived").uncheck()
    expect(page.locator(".jobs a")).to_have_text(["The red one"])


def soldered(folder: Path, fitted: str) -> list[Path]:
    """Recordings at three dials of the guitar with something fitted."""
    rig = ps.rig(str(guitar(folder)), captured="string").for_any_playing
    files = []
    for dial in (10.0, 7.0, 4.0):
        path = ps.KnobPath((0.0, 5.0), (dial, dial))
        (audio,) = ps.render(ps.sample("string"), rig, fitted, path).values()
        # The interface's own noise; its gain is left alone.
        noise = 1e-5 * np.random.default_rng(int(dial)).normal(size=audio.shape)
        files.append(folder / f"at-{dial:g}.wav")
        soundfile.write(files[-1], (0.2 * audio + noise).T, 48_000, subtype="FLOAT")
    return files


@pytest.mark.parametrize(
    ("fitted", "verdict"),
    [pytest.param("120k + 220p", "fits", marks=pytest.mark.thorough), ("bare", "")],
)
def test_a_planted_fault_is_found(page: Page, tmp_path: Path, fitted: str, verdict: str) -> None:
    begun(page)
    room(page, "choose")
    page.fill("#own-design", "120k + 220p")
    page.get_by_role("button", name="Choose", exact=True).first.click()
    expect(page.locator("#last")).to_have_text("last: design")
    room(page, "confirm")
    for file in soldered(tmp_path, fitted):
        page.set_input_files("#from-file", file)
        page.locator("#room-confirm li", has_text=f"at {file.stem[3:]}").wait_for(timeout=_SOON)
    page.get_by_role("button", name="Does it fit?").click()
    said = page.locator("#room-confirm .verdict strong")
    said.wait_for(timeout=2 * _SOON)
    assert said.inner_text() == verdict or (not verdict and said.inner_text() != "fits")
    if not verdict:
        expect(page.locator("#room-confirm .verdict")).to_contain_text("the bypass")


def answer_of(rig: ps.Rig, added_farads: float, dial: float, rate: int) -> Array:
    """What an interface hears of the page's sweep through a small coil, a pickup and a cable.

    Such a coil's field, and so the EMF, rises with frequency.
    """
    count, ratio = 6 * rate, np.log(0.45 * rate / 30.0)
    phase = 2 * np.pi * 30.0 * 6.0 / ratio * np.expm1(np.arange(count) / count * ratio)
    sweep = np.concatenate([np.zeros(rate // 4), 0.25 * np.sin(phase), np.zeros(4 * rate)])
    hz = np.fft.rfftfreq(sweep.size, 1.0 / rate)
    whole = replace(rig, cable_farads=rig.cable_farads + added_farads)
    gain = np.append(0.0, ps.response(whole, "bare", dial, hz[1:]))
    heard = np.fft.irfft(np.fft.rfft(sweep) * gain * hz, sweep.size)
    noise = np.random.default_rng(1).normal(size=heard.size)
    return np.asarray(0.5 * heard / np.abs(heard).max() + 2e-5 * noise)


@pytest.mark.thorough
def test_the_pickup_is_measured_through_the_interface(
    playwright: Playwright, bench: Bench, tmp_path: Path
) -> None:
    """A browser of its own, whose interface is a file: late, and with noise."""
    heard = tmp_path / "heard.wav"
    flags = [
        "--no-sandbox", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={heard}%noloop",
    ]  # fmt: skip
    chromium = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=flags)
    with chromium, chromium.new_context() as context:
        page = context.new_page()
        page.goto(bench.address)
        page.wait_for_url(f"{bench.base}/")
        begun(page)
        for key, value in (
            ("pickup.resistance", "6.2k"), ("pickup.inductance", "3.1 H"),
            ("pickup.capacitance", "140p"), ("pickup.eddy", "600k"),
        ):  # fmt: skip
            answered(page, key, value)
            expect(page.locator("#last")).to_contain_text(value)
        true = ps.rig(str(guitar(tmp_path)), captured="string").for_any_playing
        # What is only typical, as most who measure begin.
        for key, value in (
            ("pickup.inductance", "?"), ("pickup.capacitance", "?"), ("pickup.eddy", "?"),
        ):  # fmt: skip
            answered(page, key, value)
        rate = page.evaluate("() => new AudioContext().sampleRate")
        page.locator("summary", has_text="Measure the pickup").click()
        for count, (added, dial) in enumerate((("", 10), ("470p", 10), ("", 5))):
            page.fill("#added", added)
            page.fill("#sweep-dial", str(dial))
            answer = answer_of(true, 470e-12 if added else 0.0, dial, rate)
            soundfile.write(heard, answer, rate, subtype="PCM_16")
            page.get_by_role("button", name="Play the sweep").click()
            page.locator("#room-guitar li").nth(count).wait_for(timeout=_SOON)
        page.get_by_role("button", name="Fit the pickup").click()
        page.get_by_role("button", name="Take these values").click(timeout=2 * _SOON)
        expect(page.locator("#last")).to_contain_text("Inductance")
        found = ps.rig(str(guitar(tmp_path))).channels[0].pickup
    assert found.inductance_henries == pytest.approx(3.1, rel=0.03)
    assert found.capacitance_farads == pytest.approx(140e-12, rel=0.15)


@pytest.mark.thorough
def test_a_guitar_of_three_pickups(page: Page) -> None:
    """Each position of its switch is drawn, and asked for by its name."""
    page.select_option("#pickups", label="three, five-way switch")
    begun(page)
    choice = page.locator("#situation")
    expect(choice.locator("option")).to_have_count(5)
    expect(page.locator("#field-pickups-middle-inductance")).to_be_visible()
    choice.select_option("neck and middle")
    expect(page.locator("#drawing")).to_contain_text("neck")
    expect(page.locator("#drawing")).to_contain_text("middle")
    expect(page.locator("#verdict")).to_contain_text("neck and middle", timeout=2 * _SOON)


def test_what_is_being_typed_is_left_alone(page: Page, tmp_path: Path) -> None:
    """While another window changes the same guitar."""
    begun(page)
    field = page.locator("#field-pickup-inductance")
    field.press("ControlOrMeta+a")
    field.press_sequentially("3.")
    folder = guitar(tmp_path)
    rig = jobs.newest(folder).rig.replace('"5 m"', '"9 m"')
    jobs.change(folder, 1, "elsewhere", rig=rig)
    expect(page.locator("#field-cable-length")).to_have_value("9 m", timeout=10_000)
    field.press_sequentially("3 H")
    field.press("Tab")
    expect(page.locator("#last")).to_have_text("last: Inductance: 3.3 H")
