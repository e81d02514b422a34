"""The audio thread in real Chromium, rendered faster than time, with EMFs of our own."""

import base64
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy
from matplotlib.figure import Figure
from playwright.sync_api import Browser, Page
from tiers import some

from browsers import only_chromium
from page_data import DESIGNS, TEXTS, as_flac, loop, of_rig
from presolder.models.audio.clip import clipped
from presolder.models.audio.drive import loudest_second, pre_emphasis
from presolder.models.audio.driven import Driven
from presolder.models.audio.knob import KnobPath
from presolder.models.audio.looped import loop_nodes
from presolder.models.audio.renderer import Renderer, advance
from presolder.models.audio.static_curves import driven_volts
from presolder.models.audio.voicing import plain_speaker, voiced
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.circuits import StageKind
from presolder.models.instrument.controls import Load
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.stage import Stage
from presolder.models.typing import Array
from presolder.render.files.rig_file import built_in_rigs, find_rig
from probing import opened
from rendering import band_rms, rendered, resting
from rigs import as_string_take, other_rigs
from takes import DOCS

# Firefox cannot stop an offline context on the way.
pytestmark = [pytest.mark.slow, only_chromium]
BLOCK = 128
RIGS = {name: find_rig(name) for name in built_in_rigs()} | other_rigs()
# A page's engine over data of our own; acts are times, in blocks, and what is called then.
OFFLINE = """async ({ changed, acts, rate, blocks, first, input }) => {
  const a = window.audition, places = changed.situations || [changed];
  const data = { ...a.live.data, ...changed, situations: places.map((one) => ({ ...a.live.data.situations[0], ...one })) };
  const context = new OfflineAudioContext(1, blocks * 128, rate);
  const live = a.makeLive(data, a.sources, { loudness: null }, { alone() {} });
  for (const [name, ...given] of first) await live[name](...given);
  await live.start(context);
  if (input) {
    const text = await (await context.decodeAudioData(Uint8Array.from(atob(input), (c) => c.charCodeAt(0)).buffer));
    const source = new AudioBufferSourceNode(context, { buffer: text });
    live.listen(source);
    source.start();
  }
  // All rows of the dial are there then.
  const rested = async () => { do await new Promise((done) => setTimeout(done, 50)); while (!live.refined()); };
  await rested();
  const byTime = Map.groupBy(acts, ([at]) => at);
  for (const [at, list] of byTime) context.suspend((at * 128) / rate).then(async () => {
    // To "rest" is to wait until all rows of the dial are there again.
    for (const [, name, ...given] of list) if (name === "rest") await rested(); else live[name](...given);
    await new Promise((done) => setTimeout(done, 5));
    context.resume();
  });
  const out = new Float64Array((await context.startRendering()).getChannelData(0)), bytes = new Uint8Array(out.buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""


@pytest.fixture(scope="module")
def page(browser: Browser, pack: Path) -> Iterator[Page]:
    with opened(browser, pack) as page:
        yield page


def offline(
    page: Page,
    blocks: int,
    acts: list[list[Any]],
    *,
    rate: int = 44_100,
    first: list[list[Any]] | None = None,
    audio_in: str | None = None,
    **changed: Any,
) -> Array:
    given = {
        "changed": {"trueGain": 1, **changed}, "acts": acts, "rate": rate, "blocks": blocks,
        "first": first or [], "input": audio_in,
    }  # fmt: skip
    return np.frombuffer(base64.b64decode(page.evaluate(OFFLINE, given)))


def followed(targets: list[tuple[int, float]], samples: int, rate: int) -> Array:
    """The dial as the thread turns it: 12 ms behind the hand, no faster than 120 a second."""
    slow, most = 1 - np.exp(-1 / (0.012 * rate)), 120 / rate
    dial, wanted = targets[0][1], np.zeros(samples)
    for (at, to), (until, _) in zip(targets, [*targets[1:], (samples // BLOCK, 0.0)], strict=True):
        wanted[at * BLOCK : until * BLOCK] = to
    path = np.zeros(samples)
    for n in range(samples):
        away = wanted[n] - dial
        dial = wanted[n] if abs(away) < 1e-4 else dial + max(-most, min(most, slow * away))
        path[n] = dial
    return path


# One of each kind; in node the engine is held to the renderer on all of them (test_engine.py).
KINDS = ("humbucker-500k", "hollow-body-blend")


@pytest.mark.parametrize("rig_name", some(RIGS, KINDS.__contains__))
def test_thread_is_the_renderer(page: Page, rig_name: str) -> None:
    """Every design in turn, under a sweep, a fast swell, and held: to -90 dB up to 16 kHz."""
    rig, rate, turn = as_string_take(RIGS[rig_name]), 44_100, 220
    emf = loop(rate, 2.0)
    sweep = [(5 * i, 10 - 10 * i / 17) for i in range(18)]
    swell = [(90 + 4 * i, 5 - 5 * np.cos(i / 3)) for i in range(20)]
    once = [*sweep, *swell, (172, 6.0)]
    targets = [(turn * k + at, float(to)) for k in range(3) for at, to in once]
    acts: list[list[Any]] = [[at, "turn", to] for at, to in targets[1:]]
    acts += [[turn * k, "choose", k] for k in (1, 2)]
    out = offline(
        page, 3 * turn, acts, rate=rate, first=[["turn", targets[0][1]]],
        emf=as_flac(emf, rate), **of_rig(rig),
    )  # fmt: skip
    path = followed(targets, out.size, rate)
    nodes = loop_nodes(Renderer(rig, DESIGNS, rate), emf[None])
    # The thread's own EMF between samples is another interpolation: -100 dB of this one's.
    round_ = np.concatenate([nodes, nodes], axis=1)[:, : out.size]
    renderer = Renderer(rig, DESIGNS, rate)
    for k, recursion in enumerate(renderer.recursions):
        true = advance(recursion, path, round_[np.newaxis], np.zeros((1, recursion.state_count)))[0]
        heard = slice(turn * k * BLOCK + 6000, turn * (k + 1) * BLOCK)
        off = band_rms((out - true)[heard] * np.hanning(out[heard].size), rate, 20, 16_000)
        level = band_rms(true[heard] * np.hanning(out[heard].size), rate, 20, 16_000)
        # Measured -128 dB; of a taper that is sent by points -103.
        assert 20 * np.log10(off / level) < (-98 if "taper" in rig_name else -122), TEXTS[k]


def tone(rate: int, hz: float = 110.0) -> Array:
    return np.asarray(0.9 * np.sin(2 * np.pi * hz * np.arange(rate) / rate))


def no_block_missing(audio: Array) -> bool:
    """A block left out would be silence in mid-tone."""
    blocks = audio[: audio.size // BLOCK * BLOCK].reshape(-1, BLOCK)
    return bool(np.all(np.abs(blocks).max(axis=1) > 0))


def test_dragging_and_switching(page: Page) -> None:
    """Sixty turns of the knob, some from 0 to 10, and eight switches in a second and a half.

    No block is missing, no step is heard, and at rest it is the engine's output.
    """
    rate = 44_100
    acts: list[list[Any]] = [[69 + 7 * i, "turn", 10 * abs(np.cos(i / 5))] for i in range(1, 60)]
    acts += [[72 + 55 * i, "choose", i % 3] for i in range(1, 8)]
    acts += [[560, "turn", 5], [561, "choose", 1]]
    rig = as_string_take(find_rig("humbucker-500k"))
    out = offline(page, 700, acts, emf=as_flac(tone(rate), rate), **of_rig(rig))
    assert no_block_missing(out[5 * BLOCK :])
    emf = np.tile(tone(rate), 3)[: out.size]
    full, still = (
        rendered(emf, rate, rig, DESIGNS[1:2], resting(d, out.size / rate))[0, 0]
        for d in (10.0, 5.0)
    )
    # The steepest that the tone is at full level; a knob turned in 12 ms adds some of its own.
    steepest = np.abs(np.diff(full[rate // 2 : rate])).max()
    assert np.abs(np.diff(out)).max() < 1.5 * steepest  # measured 1.0
    tail = slice(620 * BLOCK, 690 * BLOCK)
    assert np.abs(out[tail] - still[tail]).max() < 3e-6 * np.abs(still[tail]).max()


def test_changing_a_part_does_not_click(page: Page) -> None:
    """Forty times from 20k to 420k and back, at dial 4, under a low tone."""
    rate = 44_100
    acts: list[list[Any]] = [[70 + 10 * i, "change", 1, 0, 2e4 + 4e5 * (i % 2)] for i in range(40)]
    out = offline(
        page, 500, acts, first=[["turn", 4], ["choose", 1]], emf=as_flac(tone(rate), rate),
        **of_rig(as_string_take(find_rig("humbucker-500k"))),
    )  # fmt: skip
    busy = out[60 * BLOCK :]
    assert no_block_missing(busy)
    steepest = 2 * np.pi * 110 / rate * np.abs(busy).max()
    assert np.abs(np.diff(busy)).max() < 2.5 * steepest  # measured 1.34


def test_another_situation_is_its_rig(page: Page) -> None:
    """While it plays the wiring changes: from then on it is the renderer of the other rig."""
    rate, turn = 44_100, 300
    emf = loop(rate, 2.0)
    rigs = [as_string_take(RIGS[name]) for name in ("humbucker-500k", "two-pickups")]
    out = offline(
        page, 2 * turn, [[turn, "enter", 1], [turn + 30, "rest"]], rate=rate,
        first=[["turn", 5], ["choose", 1]], emf=as_flac(emf, rate),
        situations=[of_rig(rig) | {"loudest": 0} for rig in rigs],
    )  # fmt: skip
    path = np.full(out.size, 5.0)
    nodes = loop_nodes(Renderer(rigs[0], DESIGNS, rate), emf[None])
    round_ = np.concatenate([nodes, nodes], axis=1)[:, : out.size]
    for rig, heard in zip(
        rigs, (slice(6000, turn * BLOCK), slice((turn + 70) * BLOCK, None)), strict=True
    ):
        recursion = Renderer(rig, DESIGNS[1:2], rate).recursions[0]
        true = advance(recursion, path, round_[np.newaxis], np.zeros((1, recursion.state_count)))[0]
        off = band_rms((out - true)[heard] * np.hanning(out[heard].size), rate, 20, 16_000)
        level = band_rms(true[heard] * np.hanning(out[heard].size), rate, 20, 16_000)
        assert 20 * np.log10(off / level) < -124  # measured -129


def test_another_situation_does_not_click(page: Page) -> None:
    """Between two wirings again and again, at dial 4, under a low tone."""
    rate = 44_100
    rigs = [as_string_take(RIGS[name]) for name in ("humbucker-500k", "three-single-coils")]
    acts: list[list[Any]] = [[70 + 20 * i, "enter", (i + 1) % 2] for i in range(20)]
    out = offline(
        page, 500, acts, first=[["turn", 4], ["choose", 1]], emf=as_flac(tone(rate), rate),
        situations=[of_rig(rig) | {"loudest": 0} for rig in rigs],
    )  # fmt: skip
    busy = out[60 * BLOCK :]
    assert no_block_missing(busy)
    steepest = 2 * np.pi * 110 / rate * np.abs(busy).max()
    assert np.abs(np.diff(busy)).max() < 1.7 * steepest  # measured 1.02


@pytest.mark.parametrize("speaker", [False, True])
def test_dirt_and_loudspeaker(page: Page, speaker: bool) -> None:
    """Diodes at 24 dB, and the plain loudspeaker, against the renderer's stages."""
    # The pack's own rate: a loudspeaker of another one is resampled.
    rate, dirt = 48_000, Dirt("diodes", 24.0)
    emf = loop(rate, 1.5)
    rig = as_string_take(find_rig("humbucker-500k"))
    kinds = page.evaluate("window.audition.live.data.dirts.map((d) => d.kind)")
    feeding = {"dirt": kinds.index("diodes"), "driveDb": 24, "speaker": speaker}
    out = offline(
        page, round(2.9 * rate / BLOCK), [], rate=rate, first=[["turn", 6], ["choose", 1]],
        emf=as_flac(emf, rate), feeding=feeding, **of_rig(rig),
    )  # fmt: skip
    into = replace(rig, load=dirt.load)
    twice = np.concatenate([emf, emf])[: out.size]
    bare = rendered(emf, rate, into, DESIGNS[:1], resting(10.0, emf.size / rate))[0]
    volts = (
        driven_volts(dirt) / loudest_second([bare], rate, pre_emphasis(dirt, rate)).ordinary_peak
    )
    clean = rendered(twice, rate, into, DESIGNS[1:2], resting(6.0, out.size / rate))[0]
    stages = clipped([clean], rate, dirt, volts)
    if speaker:
        stages = voiced(stages, plain_speaker(rate))
    true = np.concatenate(list(stages), axis=1)[0]
    late = 56
    got, true = out[late:], true[: out.size - late]
    heard = slice(rate // 2, int(2.7 * rate))
    # As loud as makes the loudest dial peak just below full scale: one gain on all.
    gain = np.dot(got[heard], true[heard]) / np.dot(true[heard], true[heard])
    off = band_rms((got - gain * true)[heard], rate, 40, 16_000)
    level = band_rms(gain * true[heard], rate, 40, 16_000)
    # Measured -86 dB.
    assert 20 * np.log10(off / level) < -80
    assert 0.2 < np.abs(out).max() <= 1.0


@pytest.mark.parametrize("kind", ["germanium-fuzz", "diode-clipper"])
def test_a_circuit_under_the_knob(page: Page, kind: StageKind, pytestconfig: pytest.Config) -> None:
    """Swept, jumped and held, the stage's own knob turned before: as the renderer has it."""
    rate, emf = 48_000, loop(48_000, 1.5)
    rig = as_string_take(find_rig("humbucker-500k"))
    kinds = page.evaluate("window.audition.live.data.dirts.map((d) => d.kind)")
    stage = Stage(kind, control=8.0, touch_db=-6.0)
    knobs = {"control": 8, "bias": 5, "supply": 9, "battery": 50, "touch": -6}
    targets = [(20 * i, 10 - 0.5 * i) for i in range(15)] + [(320, 9.0), (360, 4.0)]
    out = offline(
        page, round(1.45 * rate / BLOCK), [[at, "turn", to] for at, to in targets[1:]], rate=rate,
        first=[["turn", 10], ["choose", 1], ["steps", "full"]], emf=as_flac(emf, rate),
        feeding={"dirt": kinds.index(kind), "driveDb": 20, "speaker": False, "knobs": knobs},
        emfVolts=rig.output_volts, **of_rig(rig),
    )  # fmt: skip
    volts = rig.volts_into(stage) / loudest_second([emf[None]], rate).ordinary_peak
    driven = Driven(rig.feeding(Load(stage=stage)), DESIGNS[1:2], rate, volts)
    # The knob meets the EMF 39 samples late, and the sound comes after 44 more.
    path = followed([(at, float(to)) for at, to in targets], out.size, rate)[39:]
    at = np.arange(0, path.size, 4)
    knob = KnobPath(tuple(at / rate), tuple(path[at]))
    true = np.concatenate([one[0] for one in driven.along(knob, emf[None])], axis=1)[0]
    got = out[83 : true.size]
    true = true[: got.size]
    heard = slice(rate // 10, int(1.3 * rate))
    gain = np.dot(got[heard], true[heard]) / np.dot(true[heard], true[heard])
    off = band_rms((got - gain * true)[heard], rate, 20, 16_000)
    # Measured -88 dB and better.
    assert 20 * np.log10(off / band_rms(gain * true[heard], rate, 20, 16_000)) < -82
    assert 0.2 < np.abs(out).max() <= 1.0
    if kind == "germanium-fuzz" and pytestconfig.getoption("--pictures"):
        draw_beside(got, gain * true, path[44 : 44 + got.size], rate)


def draw_beside(got: Array, true: Array, dial: Array, rate: int) -> None:
    """What the page plays while its knob turns, what a file has, and what is between them."""
    figure = Figure(figsize=(9, 4.6), layout="constrained")
    heard, beside, knob = figure.subplots(3, 1, sharex=True, height_ratios=(3, 2, 1))
    time_s = np.arange(got.size) / rate
    heard.plot(time_s, true, color="0.6", linewidth=1.6, label="rendered to a file")
    heard.plot(time_s, got, color="C1", linewidth=0.5, label="played by the page")
    heard.legend(loc="upper right", fontsize=8, frameon=False)
    pieces = [slice(at, at + 480) for at in range(0, got.size - 480, 480)]
    for signal, colour in ((true, "0.6"), (got - true, "C1")):
        level_db_ = [10 * np.log10(np.mean(signal[one] ** 2) + 1e-30) for one in pieces]
        beside.plot([time_s[one.start] for one in pieces], level_db_, color=colour)
    beside.set_ylabel("dB; below:\ndifference")
    knob.plot(time_s, dial, color="0.3")
    knob.set_ylabel("dial")
    knob.set_xlabel("seconds, germanium-fuzz behind 68k + (220k || 1n5)")
    for axes in (heard, beside, knob):
        axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(DOCS / "pictures" / "live.png", dpi=110)


def level_db(out: Array, block: int) -> float:
    piece = out[block * BLOCK : block * BLOCK + 4009]
    return float(20 * np.log10(np.sqrt(np.mean(piece**2))))


def test_what_becomes_louder_comes_up_slowly(page: Page) -> None:
    """A switch to a design that is 12 dB louder: the ramp starts where the other one was."""
    rate = 44_100
    rig = as_string_take(find_rig("humbucker-500k"))
    quiet = of_rig(rig, (DESIGNS[0], DESIGNS[0]))
    # The second one's EMF is four times as strong.
    for branch in quiet["circuits"][1]["branches"]:
        if branch["kind"] == "V":
            branch["value"] *= 4
    quiet["levelDb"] = [[-32.0] * 160, [-20.0] * 160]
    out = offline(page, 800, [[200, "choose", 1]], emf=as_flac(0.2 * tone(rate), rate), **quiet)

    assert level_db(out, 204) - level_db(out, 160) < 4
    rising = [level_db(out, at) for at in range(204, 480, 8)]
    assert max(np.diff(rising)) < 15 * 8 * BLOCK / rate + 0.4
    assert level_db(out, 700) - level_db(out, 160) == pytest.approx(12.04, abs=0.1)


@pytest.mark.thorough
@pytest.mark.parametrize("level", ["matched", "true"])
def test_a_drive_pulled_up_at_once_is_no_shock(page: Page, level: str) -> None:
    """By 36 dB with the knob far down: a gain that was right for the clean sound would stay."""
    rate = 44_100
    rig = as_string_take(RIGS["humbucker-500k"])
    data = of_rig(rig, DESIGNS[:1])
    first = [["level", level], ["turn", 1.0]]
    fed = {"dirt": 0, "driveDb": 0, "speaker": False, "cable": rig.cable_farads}
    acts = [[100, "feed", fed], *[[100, "rest"]] * 30, [500, "drive", 36]]
    out = offline(page, 900, acts, first=first, emf=as_flac(0.2 * tone(rate), rate), **data)
    assert level_db(out, 520) - level_db(out, 460) < 6


def rising(rate: int) -> dict[str, Any]:
    """Two seconds from 200 to 1200 Hz, so that the pitch tells the place: 500 Hz a second."""
    hz = np.linspace(200, 1200, 2 * rate)
    emf = 0.5 * np.sin(2 * np.pi * np.cumsum(hz) / rate)
    return {"emf": as_flac(emf, rate), **of_rig(as_string_take(RIGS["humbucker-500k"]))}


def hz_at(out: Array, block: int, rate: int) -> float:
    piece = out[block * BLOCK : block * BLOCK + 4096]
    return float(np.argmax(np.abs(np.fft.rfft(piece * np.hanning(4096)))) * rate / 4096)


def test_seeking_and_repeating_a_part(page: Page) -> None:
    """Half a second of a rising tone again and again; a jump neither clicks nor leaves a gap."""
    rate = 44_100
    out = offline(
        page, 1300, [[100, "seek", 1.5], [300, "region", 0.5, 1.0], [1100, "region", 0, 2]],
        **rising(rate),
    )  # fmt: skip
    # After the jump, 1.5 s and 0.1 s more.
    assert hz_at(out, 130, rate) == pytest.approx(200 + 500 * (1.5 + 30 * BLOCK / rate), abs=40)
    # Within the part.
    for block in range(500, 1100, 37):
        assert 440 < hz_at(out, block, rate) < 710
    # Not silent for longer than the jump's own dip.
    loud = np.abs(out[5 * BLOCK :]).reshape(-1, BLOCK).max(axis=1) > 0.02
    gaps = np.diff(np.flatnonzero(loud))
    assert gaps.max() * BLOCK / rate < 0.045
    steepest = 2 * np.pi * 1200 / rate * np.abs(out).max()
    assert np.abs(np.diff(out)).max() < 1.2 * steepest


@pytest.mark.parametrize(
    ("first", "begins_s"),
    [([["seek", 1.2]], 1.2), ([["region", 0.5, 1.0]], 0.5), ([["seek", 0.7], ["region", 0.5, 1.0]], 0.7)],
)  # fmt: skip
def test_what_was_sought_before_it_played_is_where_it_begins(
    page: Page, first: list[list[Any]], begins_s: float
) -> None:
    rate = 44_100
    out = offline(page, 300, [], first=first, **rising(rate))
    # Over 4096 samples from here on.
    middle_s = begins_s + (20 * BLOCK + 2048) / rate
    assert hz_at(out, 20, rate) == pytest.approx(200 + 500 * middle_s, abs=12)
    if first[-1][0] == "region":
        assert all(440 < hz_at(out, block, rate) < 710 for block in range(20, 260, 24))


def another_recording(page: Page, rate: int, seconds: float) -> list[Any]:
    """The act of putting in the loop's place a second of 300 Hz, and then of 600."""
    n = np.arange(int(seconds * rate))
    samples = 0.5 * np.sin(2 * np.pi * np.where(n < rate, 300, 600) * n / rate)
    power = page.evaluate("Array.from(window.audition.live.data.bandPower)")
    return ["replaceEmf", samples.tolist(), power]


def test_a_jump_in_the_loop_before_is_forgotten_with_it(page: Page) -> None:
    """A part of one recording is not repeated in the next."""
    rate = 44_100
    changes = [["region", 0.2, 0.6], another_recording(page, rate, 2.0), *[["rest"]] * 10]
    acts: list[list[Any]] = [[100, *change] for change in changes]
    out = offline(page, 580, acts, **rising(rate))
    for block, hz in ((200, 300), (400, 300), (500, 600)):
        assert hz_at(out, block, rate) == pytest.approx(hz, abs=6)


def test_a_part_of_a_recording_that_is_on_its_way(page: Page) -> None:
    """The loop that still plays ends before that part begins."""
    rate = 44_100
    another = another_recording(page, rate, 3.0)
    acts: list[list[Any]] = [[100, *another], [100, "region", 2.2, 2.8], [200, "rest"]]
    out = offline(page, 300, acts, **rising(rate))
    assert np.all(np.isfinite(out)) and np.abs(out[-20 * BLOCK :]).max() > 0.01


@pytest.mark.parametrize(
    "seed", [0, *(pytest.param(n, marks=pytest.mark.thorough) for n in range(1, 40))]
)
def test_whatever_is_done_the_sound_stays_finite(page: Page, seed: int) -> None:
    """Some thirty moves at random, as by somebody who tries everything at once."""
    rng, rate = np.random.default_rng(seed), 44_100
    if seed % 10 == 1:
        # Each run leaves a core in memory as long as its page is there.
        page.reload()

    def move() -> list[Any]:
        begin, dial = rng.uniform(0, 2.5), rng.uniform(0, 10)
        fed = {"dirt": [None, 0, 1][rng.integers(3)], "driveDb": 4 * dial, "speaker": dial > 5}
        moves: list[list[Any]] = [
            ["seek", begin], ["region", begin, begin + rng.uniform(0.3, 1)], ["turn", dial],
            another_recording(page, rate, rng.uniform(0.5, 2)), ["level", "matched"],
            ["choose", int(rng.integers(3))], ["asAtTen", dial > 5], ["level", "true"],
            ["around", "cable", 3e-10 * dial], ["feed", {**fed, "cable": 5e-10}],
            ["drive", 4 * dial], ["rest"],
        ]  # fmt: skip
        return moves[rng.integers(len(moves))]

    acts = sorted(([int(at), *move()] for at in rng.integers(0, 500, 30)), key=lambda act: act[0])
    out = offline(page, 520, acts, **rising(rate))
    assert np.all(np.isfinite(out))
    # How loud it is, is set by the clock, which this runs ahead of.
    assert np.abs(out[-100 * BLOCK :]).max() > 1e-3


def test_through_the_interface(page: Page) -> None:
    """An EMF that comes in is heard as if it were the loop's, 39 samples later."""
    rate = 44_100
    emf = loop(rate, 1.5)
    rig = as_string_take(find_rig("humbucker-500k"))
    out = offline(
        page, round(1.4 * rate / BLOCK), [], first=[["turn", 5], ["choose", 1]],
        emf=as_flac(tone(rate), rate), audio_in=as_flac(emf, rate), **of_rig(rig),
    )  # fmt: skip
    true = rendered(emf, rate, rig, DESIGNS[1:2], resting(5.0, 1.5))[0, 0]
    got, true = out[39:], true[: out.size - 39]
    heard = slice(rate // 4, int(1.3 * rate))
    off = band_rms((got - true)[heard], rate, 20, 16_000)
    assert 20 * np.log10(off / band_rms(true[heard], rate, 20, 16_000)) < -85


@pytest.mark.parametrize(
    ("take_rate", "rate"), some([(44_100, 48_000), (48_000, 44_100)], (44_100, 48_000).__eq__)
)
def test_contexts_of_another_rate(page: Page, take_rate: int, rate: int) -> None:
    """The browser resamples the EMF, scipy does for the reference."""
    emf = loop(take_rate, 2.0)
    rig = as_string_take(find_rig("humbucker-500k"))
    out = offline(
        page, round(1.9 * rate / BLOCK), [], rate=rate, first=[["turn", 5], ["choose", 1]],
        emf=as_flac(emf, take_rate), **of_rig(rig),
    )  # fmt: skip
    there = scipy.signal.resample(emf, 2 * rate)
    true = rendered(there, rate, rig, DESIGNS[1:2], resting(5.0, 2.0))[0, 0][: out.size]
    heard = slice(rate // 2, int(1.8 * rate))
    off = band_rms((out - true)[heard], rate, 20, 16_000)
    # Measured -88 dB.
    assert 20 * np.log10(off / band_rms(true[heard], rate, 20, 16_000)) < -82


def test_reference_has_the_sound_of_ten_at_the_loudness_here(page: Page) -> None:
    """A white EMF: brighter by what the response is, and no louder than at 5."""
    rate = 44_100
    noise = np.random.default_rng(3).normal(0, 0.15, rate // 2).clip(-0.95, 0.95)
    rig = as_string_take(find_rig("humbucker-500k"))
    data = of_rig(rig)
    dials = np.arange(1, 161) / 16
    data["levelDb"] = [(-20 + 3 * (dials - 10)).tolist()] * 3
    out = offline(
        page, 1000, [[500, "asAtTen", True]], first=[["turn", 5]], emf=as_flac(noise, rate), **data
    )
    # Whole rounds of the loop, before and after.
    here, there = out[20_000 : 20_000 + rate], out[80_000 : 80_000 + rate]
    hz = np.array([300.0, 3000.0])
    gains = transfer(chain_equations(rig, None), hz, [5.0, 10.0])
    told = decibels(np.abs(gains[1] / gains[0]))
    seen = np.array(
        [
            decibels(
                band_rms(there, rate, f / 1.1, f * 1.1) / band_rms(here, rate, f / 1.1, f * 1.1)
            )
            for f in hz
        ]
    )
    # Brighter by as much as at 10, and its level down by what the table says.
    assert seen[1] - seen[0] == pytest.approx(told[1] - told[0], abs=0.3)
    assert seen[0] == pytest.approx(told[0] - 15.0, abs=0.3)
