"""The page's own engine against the renderer, and in the audio thread of a real browser."""

import base64
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Browser, Page, sync_playwright

from presolder.models.audio.emf import recover_emf
from presolder.models.audio.knob import KnobPath, dial_at
from presolder.models.audio.loudness import integrated_loudness
from presolder.models.audio.renderer import Renderer
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.instrument.taper import Taper, fraction_below_wiper
from presolder.models.typing import Array
from presolder.render.files.rigs import built_in_rigs, find_rig
from presolder.render.listening.live import (
    circuit_plain,
    design_parts,
    jack_plain,
    loop_nodes,
    method_plain,
    tone_plain,
)
from probing import probed
from rendering import band_rms, rendered, resting
from rigs import as_string_take
from running import presolder
from takes import ROOT, SAMPLES

pytestmark = pytest.mark.slow
DESIGNS = (None, "68k + (220k || 1n5)", "gang(500k, audio, zero) + 150p")
ENGINE = (ROOT / "render/listening/engine.js").read_text("utf-8")
# Runs the engine over an EMF while the knob follows a path given sample by sample.
RUN = """([circuit, method, rate, emf, dials]) => {
  const floats = (text) => new Float64Array(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer);
  const engine = makeEngine();
  const nodes = engine.emfNodes(floats(emf), method.nodes), dial = floats(dials);
  const stepper = engine.makeStepper(engine.tabulate(circuit, method, rate, 2049));
  const out = new Float64Array(dial.length);
  for (let n = 0; n < out.length; n += 1) out[n] = stepper.step(dial[n], nodes, n);
  let text = ""; const bytes = new Uint8Array(out.buffer);
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
        )
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def bench(browser: Browser) -> Iterator[Page]:
    """A page with nothing but the engine."""
    page = browser.new_page()
    page.add_script_tag(content=ENGINE)
    yield page
    page.close()


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("live")
    take, rate = soundfile.read(SAMPLES / "chords.flac")
    soundfile.write(folder / "take.wav", take[: int(2.5 * rate)], rate)
    result = presolder(
        "pack", folder / "take.wav", "--rig", "humbucker-500k", "--design", "bare", "--design",
        "68k + 1n5", "--design", "gang(500k, audio, zero) + 150p", "--dials", "10,5", "--travel",
        "1", "--light", "--recordings", "--out", folder / "out",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    return probed(folder / "out" / "index.html")


def floats(values: Array) -> str:
    return base64.b64encode(np.ascontiguousarray(values, dtype=np.float64).tobytes()).decode()


def by_engine(page: Page, circuit: dict[str, Any], rate: float, emf: Array, dials: Array) -> Array:
    text = page.evaluate(RUN, [circuit, method_plain(), rate, floats(emf), floats(dials)])
    return np.frombuffer(base64.b64decode(text))


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("rig_name", list(built_in_rigs()))
def test_engine_is_the_renderer(bench: Page, rig_name: str, rate: int) -> None:
    """Every built-in rig, bare, fixed parts and a gang; a sweep, held, and a fast swell."""
    rig = as_string_take(find_rig(rig_name))
    take, own = soundfile.read(SAMPLES / "chords.flac")
    # At another rate the same samples sound higher; as a test they serve as well.
    samples = take[own : own + rate] * np.hanning(rate) ** 0.1
    paths = {
        "sweep": KnobPath((0.0, 1.0), (10.0, 0.0)),
        "held": resting(4.0, 1.0),
        "swell": KnobPath((0.0, 0.2, 0.35, 0.5, 1.0), (0.0, 10.0, 2.0, 10.0, 6.0)),
    }
    for text in DESIGNS:
        network = None if text is None else parse_expression(text)
        design = Design("d", network)
        emf = loop_nodes(Renderer(rig, (design,), rate), np.atleast_2d(samples))[-1]
        circuit = circuit_plain(rig, network)
        for name, path in paths.items():
            true = rendered(emf, rate, rig, (design,), path)[0, 0]
            got = by_engine(
                bench, circuit, rate, emf, dial_at(path, (np.arange(rate) - 0.5) / rate)
            )
            off = band_rms(got - true, rate, 20, 16_000) / band_rms(true, rate, 20, 16_000)
            # Measured -128 dB.
            assert 20 * np.log10(off) < -122, (text, name)


def test_measured_tapers_and_white_noise(bench: Page) -> None:
    rig = as_string_take(find_rig("humbucker-500k"))
    law = Taper("measured", points=((2.0, 0.03), (5.0, 0.17), (8.0, 0.52)))
    first = rig.first
    rig = rig.with_first(replace(first, volume=replace(first.volume, taper=law)))
    rate, design = 48_000, Design("d", None)
    emf = np.random.default_rng(1).normal(0, 0.1, rate) * np.hanning(rate) ** 0.2
    emf = loop_nodes(Renderer(rig, (design,), rate), np.atleast_2d(emf))[-1]
    path = KnobPath((0.0, 1.0), (10.0, 0.0))
    true = rendered(emf, rate, rig, (design,), path)[0, 0]
    got = by_engine(
        bench, circuit_plain(rig, None), rate, emf, dial_at(path, (np.arange(rate) - 0.5) / rate)
    )
    off = band_rms(got - true, rate, 20, 16_000) / band_rms(true, rate, 20, 16_000)
    assert 20 * np.log10(off) < -102


def live_of(pack: Path) -> dict[str, Any]:
    text = pack.read_text("utf-8").split('id="pack">')[1].split("</script>")[0]
    live: dict[str, Any] = json.loads(text)["live"]
    return live


def test_matched_loudness_over_the_dial(pack: Path) -> None:
    """The table against BS.1770 with its gates, of what is rendered at rest."""
    live = live_of(pack)
    rate = live["rate"]
    rig = find_rig("humbucker-500k")
    take, _ = soundfile.read(pack.parent.parent / "take.wav")
    designs = tuple(
        Design(str(i), None if text is None else parse_expression(text))
        for i, text in enumerate((None, "68k + 1n5", "gang(500k, audio, zero) + 150p"))
    )
    emf = loop_nodes(Renderer(rig, designs[:1], rate), np.atleast_2d(take))[-1]
    seconds = emf.size / rate

    def loudness(dial: float, gains_db: list[float]) -> list[float]:
        """As it is played: true gain and matched gain on it."""
        audio = rendered(emf, rate, as_string_take(rig), designs, resting(dial, seconds))
        true = live["trueGain"] * 0.9 / np.abs(emf).max()
        return [
            float(integrated_loudness([true * 10 ** (db / 20) * one], rate) or -99.0)
            for one, db in zip(audio, gains_db, strict=True)
        ]

    wanted = loudness(10.0, [0.0] * 3)[0]
    for dial in (10.0, 8.0, 6.0, 4.0, 2.0, 1.0):
        at = live["levelDials"].index(dial)
        gains = [row[at] for row in live["matchedDb"]]
        for i, level in enumerate(loudness(dial, gains)):
            # Measured 0.015 LU.
            assert level == pytest.approx(wanted, abs=0.03), (dial, i)


def test_page_is_small_and_the_emf_whole(pack: Path) -> None:
    live = live_of(pack)
    emf, rate = soundfile.read(io.BytesIO(base64.b64decode(live["emf"])))
    assert rate == live["rate"] and emf.ndim == 1
    assert emf.size / rate == pytest.approx(live["seconds"])
    assert np.abs(emf).max() == pytest.approx(0.9, abs=1e-6)
    assert len(json.dumps(live)) < 1_500_000


# The page's own conductor and audio thread, rendered faster than time, with an EMF of our own.
OFFLINE = """async (emf) => {
  const data = { ...window.audition.live.data, emf }, rate = data.rate, seconds = 2;
  const context = new OfflineAudioContext(1, rate * seconds, rate);
  const live = makeLive(data, () => {});
  await live.start(context);
  await new Promise((done) => setTimeout(done, 100));
  const at = (time, act) => context.suspend(time).then(async () => { act(); await new Promise((done) => setTimeout(done, 30)); context.resume(); });
  for (let i = 1; i < 60; i += 1) at(0.2 + i * 0.02, () => live.turn(10 * Math.abs(Math.cos(i / 5))));
  for (let i = 1; i < 8; i += 1) at(0.21 + i * 0.16, () => live.choose(i % 3));
  at(1.65, () => live.turn(5));
  at(1.66, () => live.choose(1));
  const out = (await context.startRendering()).getChannelData(0);
  return Array.from(out);
}"""


@pytest.fixture
def page(browser: Browser, pack: Path) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 1100, "height": 800})
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(pack.as_uri())
    yield page
    assert errors == []
    page.close()


def test_audio_thread_while_dragging_and_switching(page: Page, pack: Path) -> None:
    """A low tone: no block is missing, no step is heard, and at rest it is the engine's output.

    Sixty turns of the knob, some from 0 to 10, and eight switches in a second and a half.
    """
    live = live_of(pack)
    rate = live["rate"]
    tone = 0.9 * np.sin(2 * np.pi * 110 * np.arange(rate) / rate)
    file = io.BytesIO()
    soundfile.write(file, tone, rate, format="FLAC", subtype="PCM_24")
    audio = np.array(page.evaluate(OFFLINE, base64.b64encode(file.getvalue()).decode()))
    sounding = np.flatnonzero(audio)[0]
    assert sounding < 0.3 * rate
    # A block of 128 samples left out would be silence in mid-tone.
    blocks = audio[sounding + 128 : -128].copy()
    blocks = blocks[: blocks.size // 128 * 128].reshape(-1, 128)
    assert np.all(np.abs(blocks).max(axis=1) > 0)
    design = Design("d", parse_expression("68k + 1n5"))
    rig = as_string_take(find_rig("humbucker-500k"))
    nodes = np.tile(tone, 2)
    full, still = (
        live["trueGain"] * rendered(nodes, rate, rig, (design,), resting(d, 2.0))[0, 0]
        for d in (10.0, 5.0)
    )
    # The steepest that a tone at full level is; a knob turned in 12 ms adds some of its own.
    steepest = np.abs(np.diff(full[rate // 2 :])).max()
    assert np.abs(np.diff(audio)).max() < 1.5 * steepest
    # From 1.75 s on the knob rests at 5 with the second design. Where the loop stands depends on
    # when the thread began; find it.
    tail = slice(int(1.8 * rate), int(1.98 * rate))
    period = rate // 10
    offs = [
        np.abs(audio[tail] - still[tail.start - s : tail.stop - s]).max() for s in range(period)
    ]
    assert min(offs) < 2e-6 * np.abs(still[rate:]).max()


def knob_at(page: Page, dial: float) -> tuple[float, float]:
    """A place on the knob's circle."""
    box = page.locator("#knob").bounding_box()
    assert box is not None
    angle = np.radians(dial * 28 - 140)
    reach = 0.35 * box["width"]
    return (
        box["x"] + box["width"] / 2 + reach * np.sin(angle),
        box["y"] + box["height"] / 2 - reach * np.cos(angle),
    )


def dial(page: Page) -> float:
    return float(page.evaluate("window.audition.dialNow()"))


def test_knob_follows_a_finger_round_its_circle(page: Page) -> None:
    page.get_by_role("button", name="Play").click()
    page.mouse.move(*knob_at(page, 10))
    page.mouse.down()
    for wanted in (9, 8, 7, 6, 5, 4, 3, 2):
        page.mouse.move(*knob_at(page, wanted), steps=3)
        assert dial(page) == pytest.approx(wanted, abs=0.05)
    # Down through the gap under the knob it does not jump to the other end.
    page.mouse.move(*knob_at(page, 0.0), steps=3)
    page.mouse.move(*knob_at(page, 10.0))
    assert dial(page) < 0.5
    page.mouse.up()
    page.mouse.click(*knob_at(page, 7))
    assert dial(page) == pytest.approx(7, abs=0.05)
    page.wait_for_timeout(300)
    # It stays where it is left, and that is what sounds.
    assert dial(page) == pytest.approx(7, abs=0.05)
    assert page.evaluate("window.audition.dialHeardNow()") == pytest.approx(7, abs=0.05)
    page.mouse.wheel(0, 100)
    assert dial(page) == pytest.approx(6.8, abs=0.05)
    page.locator("#knob").focus()
    page.keyboard.press("ArrowUp")
    assert dial(page) == pytest.approx(7.3, abs=0.05)
    assert (
        page.locator("#knob").get_attribute("aria-valuenow") == page.locator("#dial").inner_text()
    )


def test_sounds_within_half_a_second(page: Page) -> None:
    page.evaluate("performance.mark('click')")
    page.get_by_role("button", name="Play").click()
    for _ in range(200):
        if page.evaluate("window.audition.state.playing && window.audition.live.positionS() > 0"):
            break
        page.wait_for_timeout(10)
    else:
        pytest.fail("it never played")
    assert (
        page.evaluate("performance.now() - performance.getEntriesByName('click')[0].startTime")
        < 1000
    )


def test_touching_the_knob_of_a_recording_makes_it_live(page: Page) -> None:
    page.get_by_label("held at 5").check(force=True)
    assert dial(page) == 5
    page.mouse.click(*knob_at(page, 8))
    assert page.evaluate("window.audition.state.place") == "live"
    assert dial(page) == pytest.approx(8, abs=0.05)


def test_without_an_audio_thread(browser: Browser, pack: Path) -> None:
    """The loop is rendered anew when the knob rests, and the page says so."""
    page = browser.new_page()
    page.add_init_script(
        "delete AudioContext.prototype.audioWorklet; Object.defineProperty(BaseAudioContext.prototype, 'audioWorklet', { get: () => undefined });"
    )
    page.goto(pack.as_uri())
    page.get_by_role("button", name="Play").click()
    for _ in range(100):
        if "no audio thread" in page.locator("#how").inner_text():
            break
        page.wait_for_timeout(20)
    else:
        pytest.fail("it never said so")
    page.mouse.click(*knob_at(page, 4))
    assert dial(page) == pytest.approx(4, abs=0.05)
    page.wait_for_timeout(400)
    assert page.evaluate("window.audition.live.positionS()") > 0
    page.close()


CHANGED = """([circuit, method, rate, index, value]) => {
  const engine = makeEngine();
  for (const i of index) circuit.branches[i].value = value;
  return engine.response(circuit, 4, [200, 1000, 3000, 6000]);
}"""


@pytest.mark.parametrize("rig_name", ["humbucker-500k", "two-pickups", "two-pickups-independent"])
def test_changed_parts_are_the_changed_design(bench: Page, rig_name: str) -> None:
    """Each part of a design set to another value in the page, against the design so written."""
    rig = find_rig(rig_name)
    hz = np.array([200.0, 1000.0, 3000.0, 6000.0])
    text = "33k + (gang(500k, audio, zero) || 680p)"
    network = parse_expression(text)
    told = design_parts(rig, network)
    assert told["template"] == "{0} + (gang({1}, audio, zero, 0.15) || {2})"
    for i, (part, other) in enumerate(zip(told["parts"], ("82k", "250k", "1n5"), strict=True)):
        values = ["33k", "500k", "680p"]
        values[i] = other
        written = told["template"]
        for k, value in enumerate(values):
            written = written.replace(f"{{{k}}}", value)
        value = parse_quantity(other, "farad" if part["kind"] == "C" else "ohm")
        got = bench.evaluate(
            CHANGED, [circuit_plain(rig, network), method_plain(), 48_000, part["branches"], value]
        )
        true = decibels(transfer(chain_equations(rig, parse_expression(written)), hz, 4.0)[0])
        assert np.abs(np.array(got) - true).max() < 1e-6


CHANGING = OFFLINE.replace(
    "at(1.65, () => live.turn(5));", "at(1.65, () => live.turn(5)); live.choose(1); live.turn(4);"
    " for (let i = 1; i < 40; i += 1) at(0.203 + i * 0.03, () => live.change(1, live.data.designs[1]"
    ".parts[0].branches, 2e4 + 4e5 * (i % 2)));"
).replace("for (let i = 1; i < 60; i += 1) at(0.2 + i * 0.02, () => live.turn(10 * Math.abs(Math.cos(i / 5))));\n", "").replace(
    "  for (let i = 1; i < 8; i += 1) at(0.21 + i * 0.16, () => live.choose(i % 3));\n", ""
)  # fmt: skip


def test_changing_a_part_does_not_click(page: Page, pack: Path) -> None:
    """Forty times from 20k to 420k and back, at dial 4, under a low tone."""
    live = live_of(pack)
    rate = live["rate"]
    tone = 0.9 * np.sin(2 * np.pi * 110 * np.arange(rate) / rate)
    file = io.BytesIO()
    soundfile.write(file, tone, rate, format="FLAC", subtype="PCM_24")
    audio = np.array(page.evaluate(CHANGING, base64.b64encode(file.getvalue()).decode()))
    busy = audio[int(0.35 * rate) : int(1.4 * rate)]
    blocks = busy[: busy.size // 128 * 128].reshape(-1, 128)
    assert np.all(np.abs(blocks).max(axis=1) > 0)
    steepest = 2 * np.pi * 110 / rate * np.abs(busy).max()
    assert np.abs(np.diff(busy)).max() < 2.5 * steepest


def test_sliders_expression_and_choice(page: Page) -> None:
    """A part by the keys, in steps of E12; back again; and the message that the sheet takes."""
    page.locator("#designs button").nth(1).click()
    assert page.locator("#expression").inner_text() == "68k + 1n5"
    assert page.locator("#back").is_disabled()
    slider = page.locator("#part-sliders input").first
    slider.focus()
    for _ in range(60):
        page.keyboard.press("ArrowRight")
    assert page.evaluate("window.audition.state.place") == "live"
    resistor = page.locator("#expression").inner_text().split(" + ")[0]
    value = parse_quantity(resistor, "ohm")
    assert value > 75e3
    assert float(f"{value:.1e}".split("e")[0]) in (
        1.0,
        1.2,
        1.5,
        1.8,
        2.2,
        2.7,
        3.3,
        3.9,
        4.7,
        5.6,
        6.8,
        8.2,
    )
    page.locator("#choose-this").click()
    message = page.locator("#choice-text").input_value()
    assert f"presolder sheet --design '{resistor} + 1n5'" in message
    assert presolder("sheet", "--design", f"{resistor} + 1n5", "--json").returncode == 0
    page.locator("#back").click()
    assert page.locator("#expression").inner_text() == "68k + 1n5"
    page.locator("#designs button").first.click()
    assert page.locator("#no-parts").is_visible()
    before = page.locator("#curve-ten").get_attribute("points")
    cable = page.get_by_label("Cable and input, capacitance")
    cable.focus()
    page.keyboard.press("End")
    page.wait_for_timeout(100)
    assert page.locator("#curve-ten").get_attribute("points") != before
    page.locator("#choose-this").click()
    assert "the bare pot" in page.locator("#choice-text").input_value()
    assert "3 nF of cable" in page.locator("#choice-text").input_value()


def test_as_at_ten_and_equally_loud(page: Page) -> None:
    """The knob stays, the circuit is at 10; turning ends it."""
    page.get_by_role("button", name="Play").click()
    page.mouse.click(*knob_at(page, 5))
    page.wait_for_timeout(300)
    button = page.get_by_role("button", name="As at 10, equally loud")
    button.click()
    page.wait_for_timeout(300)
    assert dial(page) == pytest.approx(5, abs=0.05)
    assert page.evaluate("window.audition.dialHeardNow()") == 10
    assert button.get_attribute("aria-pressed") == "true"
    page.mouse.click(*knob_at(page, 6))
    page.wait_for_timeout(300)
    assert button.get_attribute("aria-pressed") == "false"
    assert page.evaluate("window.audition.dialHeardNow()") == pytest.approx(6, abs=0.05)


def test_as_at_ten_before_it_plays(page: Page) -> None:
    page.mouse.click(*knob_at(page, 5))
    page.get_by_role("button", name="As at 10, equally loud").click()
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout(500)
    assert dial(page) == pytest.approx(5, abs=0.05)
    assert page.evaluate("window.audition.dialHeardNow()") == 10


REFERENCE = """async (emf) => {
  const data = { ...window.audition.live.data, emf }, rate = data.rate;
  const context = new OfflineAudioContext(1, rate * 3, rate);
  const live = makeLive(data, () => {});
  live.turn(5);
  await live.start(context);
  await new Promise((done) => setTimeout(done, 100));
  context.suspend(1.5).then(async () => { live.asAtTen(true); await new Promise((done) => setTimeout(done, 50)); context.resume(); });
  return Array.from((await context.startRendering()).getChannelData(0));
}"""


def test_reference_has_the_sound_of_ten_at_the_loudness_here(page: Page, pack: Path) -> None:
    """A white EMF: louder and brighter by what the response is, but for the loudness of 5."""
    live = live_of(pack)
    rate = live["rate"]
    noise = np.random.default_rng(3).normal(0, 0.15, rate // 2).clip(-0.95, 0.95)
    file = io.BytesIO()
    soundfile.write(file, noise, rate, format="FLAC", subtype="PCM_24")
    audio = np.array(page.evaluate(REFERENCE, base64.b64encode(file.getvalue()).decode()))
    # Whole rounds of the loop, before and after.
    here, there = (
        audio[int(0.5 * rate) : int(1.5 * rate)],
        audio[int(1.75 * rate) : int(2.75 * rate)],
    )
    hz = np.array([300.0, 3000.0])
    gains = transfer(chain_equations(find_rig("humbucker-500k"), None), hz, [5.0, 10.0])
    told = decibels(gains[1] / gains[0])
    seen = np.array(
        [
            20
            * np.log10(
                band_rms(there, rate, f / 1.1, f * 1.1) / band_rms(here, rate, f / 1.1, f * 1.1)
            )
            for f in hz
        ]
    )
    # Brighter by as much as at 10, and its level down by what the table says of the take.
    assert seen[1] - seen[0] == pytest.approx(told[1] - told[0], abs=0.7)
    at = live["levelDials"].index(5.0)
    down = live["matchedDb"][0][-1] - live["matchedDb"][0][at]
    assert seen[0] == pytest.approx(told[0] + down, abs=0.5)


def test_a_thumb_reaches_everything(browser: Browser, pack: Path) -> None:
    """Knob, play and designs on one screen of a phone."""
    page = browser.new_page(viewport={"width": 360, "height": 740})
    page.goto(pack.as_uri())
    for name in ("#knob", "#play", "#designs", "#as-ten"):
        box = page.locator(name).bounding_box()
        assert box is not None and box["y"] >= 0 and box["y"] + box["height"] <= 740, name
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.close()


def test_keys_can_be_switched_off(page: Page) -> None:
    """WCAG 2.1.4: single-key shortcuts."""
    page.locator("h1").click()
    page.keyboard.press("2")
    assert page.evaluate("window.audition.state.design") == 1
    page.locator("#keys").uncheck()
    page.locator("h1").click()
    page.keyboard.press("3")
    assert page.evaluate("window.audition.state.design") == 1


def test_space_on_a_heading_that_opens_opens_it(page: Page) -> None:
    page.locator("details summary").first.focus()
    page.keyboard.press("Space")
    assert page.locator("details[open]").count() == 1
    assert not page.evaluate("window.audition.state.playing")


def test_forced_colours_show_what_is_chosen(browser: Browser, pack: Path) -> None:
    page = browser.new_page(forced_colors="active")
    page.goto(pack.as_uri())
    colour = "(e) => getComputedStyle(e).backgroundColor"
    chosen, other = (page.locator("#designs button").nth(i).evaluate(colour) for i in (0, 1))
    assert chosen != other
    page.close()


def test_sound_that_cannot_be_decoded_is_said(browser: Browser, pack: Path, tmp_path: Path) -> None:
    """And the page says something without a script."""
    text = pack.read_text("utf-8")
    assert "<noscript>" in text
    emf = live_of(pack)["emf"]
    broken = tmp_path / "broken.html"
    broken.write_text(text.replace(emf, base64.b64encode(b"not sound at all").decode()), "utf-8")
    page = browser.new_page()
    page.goto(broken.as_uri())
    page.get_by_role("button", name="Play").click()
    for _ in range(100):
        if "cannot decode" in page.locator("#how").inner_text():
            break
        page.wait_for_timeout(20)
    else:
        pytest.fail("it never said so")
    page.close()


@pytest.mark.parametrize("rig_name", ["humbucker-500k", "single-coil-250k", "two-pickups"])
def test_tone_knob(bench: Page, rig_name: str) -> None:
    """Its branch set as the page sets it, against the rig with its tone knob there."""
    rig = find_rig(rig_name)
    told = tone_plain(rig)
    tone = rig.first.tone
    assert told is not None and tone is not None
    hz = np.array([200.0, 1000.0, 3000.0, 6000.0])
    for at in (7.0, 3.0, 0.5):
        turned = rig.with_first(replace(rig.first, tone=replace(tone, dial=at)))
        true = decibels(transfer(chain_equations(turned, None), hz, 4.0)[0])
        ohms = tone.pot.resistance_ohms * float(fraction_below_wiper(tone.pot.taper, at))
        got = bench.evaluate(
            CHANGED, [circuit_plain(rig, None), method_plain(), 48_000, [told["branch"]], ohms]
        )
        assert np.abs(np.array(got) - true).max() < 1e-6


def test_tone_slider_and_no_run_at_ten(page: Page) -> None:
    before = page.locator("#curve-ten").get_attribute("points")
    page.get_by_label("Tone knob").focus()
    page.keyboard.press("Home")
    page.wait_for_timeout(100)
    assert page.locator("#curve-ten").get_attribute("points") != before
    page.locator("#back").click()
    assert page.locator("#curve-ten").get_attribute("points") == before
    page.get_by_role("button", name="Hide the names").click()
    page.get_by_role("button", name="Start the run").click()
    assert "the same circuit" in page.locator("#tally").inner_text()
    assert page.locator("#trial").is_hidden()


def test_a_page_by_mail_is_small(tmp_path: Path, browser: Browser) -> None:
    """Eight designs and five seconds, no recordings: 1.5 MB, and it turns the knob by itself."""
    take, rate = soundfile.read(SAMPLES / "chords.flac")
    soundfile.write(tmp_path / "take.wav", take[: 5 * rate], rate)
    designs = [word for name in ("bare", "cap", "series", "parallel", "series-strong", "gang-series",
                                 "series-parallel", "cap-strong") for word in ("--design", name)]  # fmt: skip
    out = tmp_path / "mail.html"
    done = presolder(
        "pack", tmp_path / "take.wav", *designs, "--travel", "1", "--single-file", "--out", out
    )
    assert done.returncode == 0, done.stderr
    assert out.stat().st_size < 1_500_000
    page = browser.new_page()
    page.goto(probed(out).as_uri())
    assert page.get_by_label("knob turning").count() == 0
    page.get_by_role("button", name="Turn it slowly for me").click()
    seen = set()
    for _ in range(120):
        seen.add(round(float(page.evaluate("window.audition.dialHeardNow()"))))
        if page.locator("#slowly").get_attribute("aria-pressed") == "false":
            break
        page.wait_for_timeout(30)
    assert dial(page) == 0 and len(seen) >= 5
    assert page.evaluate("window.audition.state.playing")
    # On a phone knob, play and all eight designs are on one screen.
    page.set_viewport_size({"width": 360, "height": 740})
    for name in ("#knob", "#play", "#designs", "#as-ten"):
        box = page.locator(name).bounding_box()
        assert box is not None and box["y"] >= 0 and box["y"] + box["height"] <= 740, name
    # Whoever touches the knob takes it over.
    page.locator("#slowly").click()
    page.mouse.click(*knob_at(page, 6))
    assert page.locator("#slowly").get_attribute("aria-pressed") == "false"
    assert dial(page) == pytest.approx(6, abs=0.05)
    page.close()


OWN = """([data, rate, take]) => {
  const floats = (text) => new Float64Array(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer);
  const out = makeOwn(data, makeEngine()).unloaded(floats(take), rate);
  let text = ""; const bytes = new Uint8Array(out.buffer);
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""


@pytest.mark.parametrize("rig_name", ["humbucker-500k", "dark-long-cable", "two-pickups"])
def test_unloading_in_the_page_is_the_renderers(browser: Browser, rig_name: str) -> None:
    """A take at the jack back to the EMF, against models/audio/emf.py: to -88 dB up to 16 kHz."""
    rig = find_rig(rig_name)
    take, rate = soundfile.read(SAMPLES / "chords.flac")
    take = take[rate : 3 * rate] * np.hanning(2 * rate) ** 0.1
    nodes = recover_emf([np.atleast_2d(take)], Renderer(rig, (Design("d", None),), rate).filters)
    filters = Renderer(rig, (Design("d", None),), rate).filters
    true = np.concatenate(list(nodes), axis=2)[0, -1, filters.lead : filters.lead + take.size]
    page = browser.new_page()
    page.add_script_tag(content=ENGINE + (ROOT / "render/listening/own.js").read_text("utf-8"))
    data = {"jack": jack_plain(rig), "bandHz": [100, 200], "bandWeight": [1, 1]}
    got = np.frombuffer(base64.b64decode(page.evaluate(OWN, [data, rate, floats(take)])))
    page.close()
    inner = slice(rate // 4, -rate // 4)
    off = band_rms(got[inner] - true[inner], rate, 60, 16_000)
    assert 20 * np.log10(off / band_rms(true[inner], rate, 60, 16_000)) < -88


def test_own_recording_plays_and_stays_here(page: Page, tmp_path: Path) -> None:
    """At another rate and in stereo; its level is sound, and nothing is asked of any network."""
    take, rate = soundfile.read(SAMPLES / "phrase.flac")
    half = take[: 3 * rate : 2]
    soundfile.write(tmp_path / "mine.wav", np.stack([half, 0.5 * half], 1), rate // 2)
    page.wait_for_timeout(300)
    drawn = page.locator("#level-own").get_attribute("points")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.locator("#own").set_input_files(tmp_path / "mine.wav")
    for _ in range(200):
        if "You hear mine.wav" in page.locator("#own-said").inner_text():
            break
        page.wait_for_timeout(25)
    else:
        pytest.fail(page.locator("#own-said").inner_text())
    assert page.evaluate("window.audition.state.playing")
    assert page.evaluate("window.audition.live.lengthS()") == pytest.approx(3.0, abs=0.05)
    # The curve of loudness is of what plays now.
    page.wait_for_timeout(300)
    assert page.locator("#level-own").get_attribute("points") not in ("", drawn)
    assert 0 < page.evaluate("window.audition.live.data.trueGain") < 1e3
    assert [url for url in asked if not url.startswith(("data:", "blob:"))] == []
    (tmp_path / "no.wav").write_bytes(b"nothing to hear")
    page.locator("#own").set_input_files(tmp_path / "no.wav")
    page.wait_for_timeout(300)
    assert "cannot use that file" in page.locator("#own-said").inner_text()


def test_a_gesture_is_recorded_and_replayed(page: Page) -> None:
    page.get_by_role("button", name="Record the knob").click()
    for place in (8, 3, 6):
        page.mouse.click(*knob_at(page, place))
        page.wait_for_timeout(200)
    page.get_by_role("button", name="Stop recording the knob").click()
    page.mouse.click(*knob_at(page, 10))
    page.get_by_role("button", name="Turn it so again").click()
    seen = []
    for _ in range(80):
        seen.append(dial(page))
        if page.locator("#replay").get_attribute("aria-pressed") == "false":
            break
        page.wait_for_timeout(20)
    assert min(seen) == pytest.approx(3, abs=0.8)
    assert dial(page) == pytest.approx(6, abs=0.05)
    assert page.evaluate("window.audition.state.playing")


def test_what_the_live_knob_leaves_out_is_said(tmp_path: Path, browser: Browser) -> None:
    """A loudspeaker and hum are in the recordings, which are then in the page."""
    take, rate = soundfile.read(SAMPLES / "chords.flac")
    soundfile.write(tmp_path / "take.wav", take[:rate], rate)
    options = ("--design", "cap", "--dials", "5", "--travel", "1", "--light", "--speaker", "plain")
    done = presolder(
        "pack", tmp_path / "take.wav", *options, "--hum-db", "-60", "--out", tmp_path / "out"
    )
    assert done.returncode == 0, done.stderr
    page = browser.new_page()
    page.goto((tmp_path / "out" / "index.html").as_uri())
    assert page.get_by_label("knob turning").count() == 1
    assert "with loudspeaker and hum" in page.locator("#how").inner_text()
    page.close()


def test_level_over_the_dial_is_drawn(page: Page, pack: Path) -> None:
    """Against the table of gains, which was measured on the audio: within 1.5 dB below 20 dB."""
    live = live_of(pack)
    for design in (0, 1):
        page.locator("#designs button").nth(design).click()
        page.wait_for_timeout(200)
        points = page.locator("#level-own").get_attribute("points")
        assert points is not None
        heights = [float(point.split(",")[1]) for point in points.split()]
        drawn = -(np.array(heights) - 10) * 48 / 100
        measured = -(np.array(live["matchedDb"][design]) - live["matchedDb"][design][-1])
        seen = measured > -20
        assert np.abs(drawn - measured)[seen].max() < 1.5
        assert drawn[0] < -20
    slider = page.locator("#part-sliders input").first
    slider.focus()
    page.keyboard.press("Home")
    page.wait_for_timeout(200)
    assert page.locator("#level-own").get_attribute("points") != points
