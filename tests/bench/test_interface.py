"""The bench with an audio interface, which is a guitar: from an empty folder to what is sent."""

import json
import re
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from benches import Bench
from interface import Interface, guitar_at, sound_server, strum_at
from playwright.sync_api import Page, Playwright, expect
from visiting import SOON, answered, begun, guitar, pressed, room, typed, visited

import presolder as ps
from browsers import saved, started
from presolder.models.instrument.rig import Rig
from presolder.render.bench import jobs
from running import presolder
from takes import DOCS

# Where something else works besides, a browser loses samples.
pytestmark = pytest.mark.thorough
# Of the pickup that is measured: ohms are known, the rest is to be found.
WINDING, HENRIES, FARADS = "6.2k", 3.1, 140e-12


class Plugged(NamedTuple):
    """A browser's page, and what its sound goes through."""

    page: Page
    interface: Interface


@pytest.fixture(params=["chromium", "firefox"])
def plugged(
    request: pytest.FixtureRequest, playwright: Playwright, bench: Bench, tmp_path: Path
) -> Iterator[Plugged]:
    home = tmp_path / "home"
    home.mkdir()
    with (
        sound_server(home) as server,
        guitar_at(server) as interface,
        started(playwright, request.param, home, server) as browser,
        visited(browser, bench) as page,
    ):
        yield Plugged(page, interface)


def rig_of(tmp_path: Path) -> Rig:
    return ps.rig(str(guitar(tmp_path)), captured="string").for_any_playing


def measured(plugged: Plugged, true: Rig) -> None:
    """The interface, then three sweeps as the page leads."""
    page, interface = plugged
    page.locator("summary", has_text="Measure the pickup").click()
    interface.is_looped()
    swept(page, "Measure the interface alone", "even within")
    for added, dial in ((0.0, 10.0), (470e-12, 10.0), (0.0, 5.0)):
        interface.drives(true, added, dial)
        assert page.locator("#added").input_value() == ("470p" if added else "")
        assert float(page.locator("#sweep-dial").input_value()) == dial
        swept(page, "Play the sweep and record", "recorded; ")
    pressed(page, "Fit the pickup")
    use = page.get_by_role("button", name="Take these values")
    fitting = page.get_by_role("button", name="Fit the pickup", exact=True)
    wrong = page.locator(".working").filter(has=fitting).get_by_role("status")
    wrong = wrong.filter(has_text=re.compile("."))
    expect(use.or_(wrong).first).to_be_visible(timeout=2 * SOON)
    assert use.is_visible(), wrong.inner_text()
    use.click()
    expect(page.locator("#last")).to_contain_text("Inductance")


def swept(page: Page, button: str, well: str) -> None:
    """The page plays it again by itself where a machine with much else to do tore the sound."""
    said = page.locator(".working", has_text=button).get_by_role("status")
    for _ in range(2):
        pressed(page, button)
        expect(said).to_have_text(re.compile(f"{well}|is torn"), timeout=4 * SOON)
        if well in said.inner_text():
            return
    pytest.fail(f"torn each time: {said.inner_text()}")


def strummed(plugged: Plugged, rig: Rig, fitted: str) -> None:
    """The same phrase at 10, 7 and 4, as the page asks for them."""
    page, interface = plugged
    for dial in (10.0, 7.0, 4.0):
        assert float(page.locator("#at-dial").input_value()) == dial
        pressed(page, "Record")
        page.get_by_role("button", name="Stop", exact=True).first.wait_for()
        interface.is_played(0.2 * strum_at(dial, rig, fitted))
        page.wait_for_timeout(4500)
        pressed(page, "Stop")
        page.locator("#room-confirm li", has_text=f"at {dial:g}").wait_for(timeout=SOON)


def test_a_newcomers_whole_job(
    plugged: Plugged, tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    """Nothing but the page: the pickup measured, parts chosen, a part found missing after
    soldering, the pack sent and the answer taken in; in under six minutes.

    What is said on the way is what the commands say of the same folder.
    ``pytest --pictures`` puts three rooms into docs.
    """

    def pictured(name: str) -> None:
        if pytestconfig.getoption("--pictures"):
            page.screenshot(path=DOCS / "pictures" / f"bench-{name}.png")

    began, page = time.monotonic(), plugged.page
    begun(page)
    for key, value in (("pickup.resistance", WINDING), ("cable.length", "20 ft")):
        answered(page, key, value)
        expect(page.locator("#last")).to_contain_text(value)
    for key, value in (
        ("pickup.inductance", f"{HENRIES} H"), ("pickup.capacitance", "140p"),
        ("pickup.eddy", "600k"),
    ):  # fmt: skip
        answered(page, key, value)
        expect(page.locator("#last")).to_contain_text(value)
    true = rig_of(tmp_path)
    # What is only typical, as most who measure begin.
    for key in ("pickup.inductance", "pickup.capacitance", "pickup.eddy"):
        answered(page, key, "?")
    measured(plugged, true)
    found = ps.rig(str(guitar(tmp_path))).channels[0].pickup
    told = page.locator("#room-guitar details p", has_text="±").inner_text()
    stated = [float(one) / 100 for one in re.findall(r"± (\d+) %", told)]
    assert found.inductance_henries == pytest.approx(HENRIES, rel=stated[0])
    assert found.capacitance_farads == pytest.approx(FARADS, rel=stated[1])
    assert stated[0] < 0.1 and stated[1] < 0.3
    page.locator("summary", has_text="Measure the pickup").click()
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("nearer", timeout=SOON)
    told = presolder("need", "--json", "--rig", guitar(tmp_path)).stdout
    assert verdict.inner_text() == " ".join(json.loads(told)["situations"][0]["said"])
    page.evaluate("() => scrollTo(0, 0)")
    pictured("guitar")

    room(page, "choose")
    pressed(page, "Search values that one can buy")
    page.locator(".point").first.wait_for(timeout=2 * SOON)
    page.locator(".point").first.scroll_into_view_if_needed()
    pictured("choose")
    page.locator(".point").nth(1).press("Enter")
    inside = page.frame_locator("iframe")
    expect(inside.locator("#expression")).not_to_have_text("the bare pot", timeout=2 * SOON)
    assert jobs.told_of(jobs.newest(guitar(tmp_path))).design
    room(page, "choose")
    chosen = "120k + 220p"
    page.fill("#own-design", chosen)
    pressed(page, "Choose")
    expect(page.locator("#last")).to_have_text("last: design")

    room(page, "solder")
    ohms = page.locator(".ohms").first
    ohms.wait_for(timeout=SOON)
    typed(ohms, "1")
    expect(page.locator("#pot-0-0-said")).to_contain_text("nearly a short")
    pictured("solder")
    page.locator("#before-0").check()
    expect(page.locator("#last")).to_have_text("last: done")

    room(page, "confirm")
    strummed(plugged, true, "bare")
    pressed(page, "Does it fit?")
    said = page.locator("#room-confirm .verdict")
    expect(said).to_contain_text("the bypass", timeout=2 * SOON)
    assert said.locator("strong").inner_text() != "fits"

    pressed(page, "Make the pack to send")
    page.locator("#save-pack").wait_for(timeout=2 * SOON)
    with zipfile.ZipFile(saved(page, "#save-pack")) as packed:
        (name,) = (one for one in packed.namelist() if one.endswith("pack.json"))
        sent = json.loads(packed.read(name))
    assert chosen in [one.get("expression") or one["name"] for one in sent["designs"]]
    answer = tmp_path / "my-answers.json"
    listened = [{"dial": 6.5, "seconds": 20.0}, {"dial": 10.0, "seconds": 5.0}]
    told = {"presolder_answer": 1, "dials": listened, "favourite": ""}
    answer.write_text(json.dumps(told), "utf-8")
    page.set_input_files("#answer", answer)
    expect(page.locator("#room-confirm")).to_contain_text("listened mostly at 6.5")
    assert time.monotonic() - began < 360


def test_what_cuts_a_recording_short(plugged: Plugged, tmp_path: Path) -> None:
    """A page that is loaded anew in the middle of a sweep, and an interface that is pulled out."""
    page, interface = plugged
    begun(page)
    interface.is_looped()
    page.locator("summary", has_text="Measure the pickup").click()
    pressed(page, "Measure the interface alone")
    expect(page.locator(".working", has_text="Measure the interface")).to_contain_text(
        "playing the sweep", timeout=SOON
    )
    page.reload()
    page.wait_for_selector(".plot")
    assert jobs.newest(guitar(tmp_path)).number == 1
    assert list(jobs.takes_of(guitar(tmp_path))) == []
    page.locator("summary", has_text="Measure the pickup").click()
    swept(page, "Measure the interface alone", "even within")

    room(page, "confirm")
    pressed(page, "Record")
    page.get_by_role("button", name="Stop", exact=True).first.wait_for()
    interface.is_pulled_out()
    page.wait_for_timeout(2000)
    pressed(page, "Stop")
    expect(page.locator("#room-confirm")).to_contain_text("the audio interface went away")
    assert [one.stem for one in jobs.takes_of(guitar(tmp_path))] == ["loop"]
