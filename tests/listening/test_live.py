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

from presolder.models.audio.knob import KnobPath, dial_at
from presolder.models.audio.loudness import integrated_loudness
from presolder.models.audio.renderer import Renderer
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Design
from presolder.models.instrument.taper import Taper
from presolder.models.typing import Array
from presolder.render.files.rigs import built_in_rigs, find_rig
from presolder.render.listening.live import circuit_plain, loop_nodes, method_plain
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
        "1", "--light", "--out", folder / "out",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    return folder / "out" / "index.html"


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
            assert 20 * np.log10(off) < -90, (text, name)


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
    assert 20 * np.log10(off) < -90


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
            assert level == pytest.approx(wanted, abs=0.3), (dial, i)


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
    assert np.abs(np.diff(audio)).max() < 2.0 * steepest
    # From 1.75 s on the knob rests at 5 with the second design. Where the loop stands depends on
    # when the thread began; find it.
    tail = slice(int(1.8 * rate), int(1.98 * rate))
    period = rate // 10
    offs = [
        np.abs(audio[tail] - still[tail.start - s : tail.stop - s]).max() for s in range(period)
    ]
    assert min(offs) < 2e-4 * np.abs(still[rate:]).max()


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
