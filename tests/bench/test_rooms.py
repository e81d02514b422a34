"""Each room of the bench, and what several windows make of one guitar."""

import json
import re
import sys
import zipfile
from pathlib import Path
from typing import Literal

import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from benches import Bench
from interface import strum_at
from playwright.sync_api import Page, expect
from tiers import some
from visiting import SOON, answered, begun, guitar, pressed, room, typed

import presolder as ps
from presolder.render.bench import jobs
from running import presolder

pytestmark = pytest.mark.slow


def test_a_whole_job(page: Page, tmp_path: Path) -> None:
    """But for the interface, see test_interface.py; what is asked on the way is what the commands
    say of the same folder."""
    begun(page)
    answered(page, "cable.length", "20 ft")
    expect(page.locator("#last")).to_have_text("last: Cable length: 20 ft")
    expect(page.locator("#heard")).to_contain_text("the plain pot: duller, 1.5 phon softer")
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("cable half as long", timeout=SOON)

    room(page, "choose")
    page.get_by_role("button", name="Search values").click()
    page.locator(".point").first.wait_for(timeout=2 * SOON)
    page.locator(".point").first.scroll_into_view_if_needed()
    page.locator(".point").nth(1).press("Enter")
    inside = page.frame_locator("iframe")
    expect(inside.locator("#expression")).not_to_have_text("the bare pot", timeout=2 * SOON)
    chosen = jobs.told_of(jobs.newest(guitar(tmp_path))).design
    assert inside.locator("#expression").inner_text().replace(", 0.15)", ")") == chosen

    room(page, "solder")
    ohms = page.locator(".ohms").first
    ohms.wait_for(timeout=SOON)
    typed(ohms, "1")
    expect(page.locator("#pot-0-0-said")).to_contain_text("nearly a short")
    page.locator("#before-0").check()
    expect(page.locator("#last")).to_have_text("last: done")

    room(page, "confirm")
    page.get_by_role("button", name="Make the pack").click()
    page.locator("#save-pack").wait_for(timeout=2 * SOON)
    with zipfile.ZipFile(guitar(tmp_path) / "made" / "pack.zip") as packed:
        (name,) = (one for one in packed.namelist() if one.endswith("pack.json"))
        told = json.loads(packed.read(name))
    names = [one.get("expression") or one["name"] for one in told["designs"]]
    assert chosen in names

    told = presolder("need", "--json", "--rig", guitar(tmp_path)).stdout
    (situation,) = json.loads(told)["situations"]
    assert verdict.inner_text() == " ".join(situation["said"])


@pytest.mark.thorough
def test_the_spread_of_parts_is_drawn(page: Page) -> None:
    """Treble and level of the plain pot and of the chosen design, each with its band."""
    begun(page)
    room(page, "choose")
    page.fill("#own-design", "120k + 220p")
    pressed(page, "Choose")
    page.get_by_role("button", name="How far do real parts stray").click()
    page.locator(".band").first.wait_for(timeout=2 * SOON)
    assert page.locator(".band").count() == 4


@pytest.mark.thorough
def test_only_what_is_in_the_drawer(page: Page) -> None:
    begun(page)
    room(page, "choose")
    page.locator("summary", has_text="What is in the drawer").click()
    page.get_by_role("button", name="One more part").click()
    page.get_by_label("type of part 2").select_option("capacitor")
    for part, value in ((1, "100k"), (2, "220p")):
        page.get_by_label(f"value of part {part}").fill(value)
        page.get_by_label(f"count of part {part}").fill("5")
    page.get_by_role("button", name="Keep the drawer").click()
    expect(page.locator("#room-choose .said", has_text="2 kinds of part")).to_be_visible()
    page.get_by_role("button", name="Search values").click()
    page.locator("figure .point").first.wait_for(timeout=2 * SOON)
    found = page.locator("table").last.locator("tbody th").all_inner_texts()
    assert found
    assert all(set(re.findall(r"\d+[kpn]", one)) <= {"100k", "220p"} for one in found)
    page.get_by_label("value of part 1").fill("much")
    page.get_by_role("button", name="Keep the drawer").click()
    expect(page.locator("#room-choose .said", has_text="the drawer")).to_be_visible()
    # As a file, whose columns stand otherwise.
    columns = b"count,type,value\n3,resistor,68k\n"
    file = {"name": "drawer.csv", "mimeType": "text/csv", "buffer": columns}
    page.set_input_files("#drawer-file", file)  # type: ignore[arg-type]
    expect(page.locator("#room-choose .said", has_text="1 kind of part")).to_be_visible()
    expect(page.get_by_label("value of part 1")).to_have_value("68k")


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
    rows = page.locator("details", has_text="drawn by hand").locator("tbody tr")
    rows.first.wait_for(timeout=3 * SOON)
    drawn = tmp_path / "drawn.csv"
    lines = [f"{dial},{db}" for dial, db in zip(range(1, 11), [*levels, 0.0], strict=True)]
    drawn.write_text("dial,level_db\n" + "\n".join(lines), "utf-8")
    found = ps.travel(str(guitar(tmp_path)), ps.turn_wanted(drawn)).plain()
    assert f"{found['best'][0]['off_db']:.1f} dB" in rows.nth(1).inner_text()
    assert f"{found['now']['off_db']:.1f} dB" in rows.nth(0).inner_text()


@pytest.mark.thorough
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
    ("width", "look"),
    some(
        [(390, "light"), (683, "light"), (820, "light"), (1366, "light"), (1366, "dark")],
        lambda case: case == (390, "light"),
    ),
)
def test_every_room_is_readable(page: Page, width: int, look: Literal["light", "dark"]) -> None:
    """axe-core finds nothing by WCAG 2.2 A and AA; nothing runs off the side.

    On a phone, on a screen of 1366 at 200 %, on a tablet, on that screen.
    """
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=look)
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}
    # Its script is put into the page by the one way that the policy leaves.
    script = Path(sys.modules[Axe.__module__].__file__ or "").parent / "axe.min.js"
    begun(page)
    page.evaluate(script.read_text("utf-8") + "; undefined")
    for name in ("guitar", "choose", "solder", "confirm"):
        room(page, name)
        if name == "solder":
            page.locator(".ohms").first.wait_for(timeout=SOON)
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


def test_recordings_made_elsewhere(page: Page, tmp_path: Path) -> None:
    """The dial stands in each file's name; what was soldered as it should be fits."""
    begun(page)
    room(page, "choose")
    page.fill("#own-design", "120k + 220p")
    pressed(page, "Choose")
    expect(page.locator("#last")).to_have_text("last: design")
    rig = ps.rig(str(guitar(tmp_path)), captured="string").for_any_playing
    room(page, "confirm")
    for dial in (10.0, 7.0, 4.0):
        file = tmp_path / f"at-{dial:g}.wav"
        soundfile.write(file, 0.2 * strum_at(dial, rig, "120k + 220p"), 48_000, subtype="FLOAT")
        page.set_input_files("#from-file", file)
        page.locator("#room-confirm li", has_text=f"at {dial:g}").wait_for(timeout=SOON)
    # One more at 4, of the pot alone, which is taken back.
    soundfile.write(tmp_path / "at-4.wav", 0.2 * strum_at(4.0, rig, "bare"), 48_000)
    page.set_input_files("#from-file", tmp_path / "at-4.wav")
    pressed(page, "Take back the one before")
    expect(page.locator("#room-confirm")).to_contain_text("the recording before counts again")
    pressed(page, "Does it fit?")
    expect(page.locator("#room-confirm .verdict strong")).to_have_text("fits", timeout=2 * SOON)


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
    expect(page.locator("#verdict")).to_contain_text("neck and middle", timeout=2 * SOON)


@pytest.mark.thorough
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
