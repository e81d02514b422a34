"""The page's modules in node, against the renderer, the simulator and scipy."""

import base64
import json
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy
import soundfile
from tiers import some

from checks_simulator import GESTURES, TONES_HZ, ramp, spice_moving
from presolder.models.audio.clip import clipped
from presolder.models.audio.drive import loudest_second
from presolder.models.audio.driven import Driven
from presolder.models.audio.emf import recover_emf
from presolder.models.audio.knob import KnobPath, dial_at
from presolder.models.audio.looped import loop_nodes
from presolder.models.audio.loudness import integrated_loudness
from presolder.models.audio.renderer import Renderer
from presolder.models.audio.static_curves import driven_volts, knee_volts, static_curve
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.circuits import STAGE_KINDS, StageKind
from presolder.models.instrument.controls import Load
from presolder.models.instrument.dirt import DIRT_KINDS, Curve, Dirt, DirtKind
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import fraction_below_wiper
from presolder.models.instrument.network import Design
from presolder.models.instrument.pedal import Pedal, read_pedal
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.typing import Array
from presolder.render.files.rig_file import built_in_rigs, find_rig
from presolder.render.listening.joined import joined
from presolder.render.listening.live import (
    circuit_plain,
    design_parts,
    dirt_plain,
    jack_plain,
    method_plain,
    stage_plain,
    tone_plain,
)
from rendering import band_rms, rendered, resting
from rigs import as_string_take, other_rigs
from script import SCRIPT, as_array, as_text, in_node
from takes import ROOT, SAMPLES

pytestmark = pytest.mark.slow
DESIGNS = (None, "68k + (220k || 1n5)", "gang(500k, audio, zero) + 150p")
PATHS = {
    "sweep": KnobPath((0.0, 1.0), (10.0, 0.0)),
    "held": resting(4.0, 1.0),
    "swell": KnobPath((0.0, 0.2, 0.35, 0.5, 1.0), (0.0, 10.0, 2.0, 10.0, 6.0)),
}
# The engine over an EMF while the knob follows paths given sample by sample.
RUN = """({ core: text, circuit, method, rate, emf, dials }) => {
  const core = makeCore(new WebAssembly.Module(Buffer.from(text, "base64")));
  const nodes = emfNodes(floats(emf), method.nodes), tabulated = tabulate(circuit, method, rate, 2049);
  return dials.map((along) => texts(played(core, makeGuitar(core, tabulated), floats(along), nodes, null)));
}"""
# What steps along, block by block as an audio thread does it.
PLAYED = """const played = (core, stepper, dials, rows, volts) => {
  const out = new Float64Array(dials.length), places = [BLOCK, rows.length * BLOCK, BLOCK].map(core.take);
  for (let n = 0; n < out.length; n += BLOCK) {
    const count = Math.min(BLOCK, out.length - n), [dial, emf, sound] = places;
    core.numbers().set(dials.subarray(n, n + count), dial);
    rows.forEach((row, k) => core.numbers().set(row.subarray(n, n + count), emf + k * BLOCK));
    stepper.run(dial, emf, volts ?? BLOCK, count, sound);
    out.set(core.numbers().subarray(sound, sound + count), n);
  }
  return out;
};"""
CORE = base64.b64encode((ROOT / "models" / "core" / "core.wasm").read_bytes()).decode()


def by_engine(
    circuit: dict[str, Any], rate: float, emf: Array, paths: list[KnobPath]
) -> list[Array]:
    dials = [as_text(dial_at(path, (np.arange(emf.size) - 0.5) / rate)) for path in paths]
    given = {
        "circuit": circuit, "method": method_plain(), "rate": rate, "emf": as_text(emf), "dials": dials,
        "core": CORE,
    }  # fmt: skip
    found = in_node(
        RUN, given, before=PLAYED, engine="emfNodes, tabulate", core="BLOCK, makeCore, makeGuitar"
    )
    return [as_array(text) for text in found]


def off_db(got: Array, true: Array, rate: float, low_hz: float = 20) -> float:
    off = band_rms(got - true, rate, low_hz, 16_000) / band_rms(true, rate, low_hz, 16_000)
    return float(20 * np.log10(off))


RIGS = {name: find_rig(name) for name in built_in_rigs()} | other_rigs()
# One pickup, two and their blend, and none of a coil.
KEPT = ("humbucker-500k", "bass-two-pickups", "hollow-body-blend", "piezo-buffered")


def test_rigs_are_eighteen_kinds() -> None:
    assert len(RIGS) == 18


@pytest.mark.parametrize(
    ("rig_name", "rate"),
    some(
        [*product(RIGS, [48_000]), *product(("humbucker-500k", "two-pickups", "piezo-buffered"), [44_100])],
        lambda case: (case[1] == 48_000 and case[0] in KEPT) or case == ("humbucker-500k", 44_100),
    ),
)  # fmt: skip
def test_engine_is_the_renderer(rig_name: str, rate: int) -> None:
    """Bare, fixed parts and a gang; a sweep, held, and a fast swell."""
    rig = as_string_take(RIGS[rig_name])
    take, own = soundfile.read(SAMPLES / "chords.flac")
    # At another rate the same samples sound higher; as a test they serve as well.
    samples = take[own : own + rate] * np.hanning(rate) ** 0.1
    for text in DESIGNS:
        network = None if text is None else parse_expression(text)
        design = Design("d", network)
        emf = loop_nodes(Renderer(rig, (design,), rate), np.atleast_2d(samples))[-1]
        found = by_engine(circuit_plain(rig, network), rate, emf, list(PATHS.values()))
        for (name, path), got in zip(PATHS.items(), found, strict=True):
            true = rendered(emf, rate, rig, (design,), path)[0, 0]
            # Measured -128 dB, of a measured taper sent by 513 points -110.
            assert off_db(got, true, rate) < (-104 if "taper" in rig_name else -122), (text, name)


@pytest.mark.parametrize(
    ("rig_name", "text"),
    [
        pytest.param("humbucker-500k", "39k + (330k || 680p)", marks=pytest.mark.thorough),
        pytest.param(
            "dark-long-cable", "270p || gang(500k, audio, full)", marks=pytest.mark.thorough
        ),
    ],
)
def test_engine_is_the_simulator(rig_name: str, text: str) -> None:
    """ngspice's transient analysis with moving resistors, extrapolated over its step."""
    rate, rig, network, path = (
        48_000,
        find_rig(rig_name),
        parse_expression(text),
        GESTURES["reversing"],
    )
    coarse, fine = (spice_moving(rig, network, path, rate, step) for step in (16, 32))
    exact = fine + (fine - coarse) / 3
    time_s = np.arange(exact.size) / rate
    emf = ramp(time_s) * sum(np.sin(2 * np.pi * f * time_s) for f in TONES_HZ)
    # Silence after it, since the engine's loop goes round.
    emf = np.concatenate([emf, np.zeros(400)])
    (got,) = by_engine(circuit_plain(rig, network), rate, emf, [path])
    heard = slice(0, exact.size - 200)
    # Measured -86 and -101 dB.
    off = np.sqrt(np.mean((got[: exact.size] - exact)[heard] ** 2) / np.mean(exact[heard] ** 2))
    assert 20 * np.log10(off) < -80


def test_white_noise() -> None:
    rig = as_string_take(RIGS["measured taper"])
    rate, design = 48_000, Design("d", None)
    emf = np.random.default_rng(1).normal(0, 0.1, rate) * np.hanning(rate) ** 0.2
    emf = loop_nodes(Renderer(rig, (design,), rate), np.atleast_2d(emf))[-1]
    true = rendered(emf, rate, rig, (design,), PATHS["sweep"])[0, 0]
    (got,) = by_engine(circuit_plain(rig, None), rate, emf, [PATHS["sweep"]])
    assert off_db(got, true, rate) < -102


RESPONSE = """({ circuit, branches, value, hz }) => {
  for (const i of branches) circuit.branches[i].value = value;
  return response(circuit, 4, hz);
}"""
SOME_HZ = np.array([200.0, 1000.0, 3000.0, 6000.0])


def response_of(circuit: dict[str, Any], branches: list[int], value: float) -> Array:
    given = {"circuit": circuit, "branches": branches, "value": value, "hz": SOME_HZ.tolist()}
    return np.array(in_node(RESPONSE, given, engine="response"))


@pytest.mark.parametrize("rig_name", ["humbucker-500k", "two-pickups", "two-pickups-independent"])
def test_changed_parts_are_the_changed_design(rig_name: str) -> None:
    """Each part of a design set to another value in the page, against the design so written."""
    rig = find_rig(rig_name)
    text = "33k + (gang(500k, audio, zero) || 680p)"
    network = parse_expression(text)
    told = design_parts(rig, network)
    assert told["template"] == "{0} + (gang({1}, audio, zero, 0.15) || {2})"
    assert told["tree"] == {"series": [0, {"parallel": [1, 2]}]}
    for i, (part, other) in enumerate(zip(told["parts"], ("82k", "250k", "1n5"), strict=True)):
        values = ["33k", "500k", "680p"]
        values[i] = other
        written = told["template"]
        for k, value in enumerate(values):
            written = written.replace(f"{{{k}}}", value)
        value = parse_quantity(other, "farad" if part["kind"] == "C" else "ohm")
        got = response_of(circuit_plain(rig, network), part["branches"], value)
        true = decibels(transfer(chain_equations(rig, parse_expression(written)), SOME_HZ, 4.0)[0])
        assert np.abs(got - true).max() < 1e-6


@pytest.mark.parametrize("rig_name", ["humbucker-500k", "single-coil-250k", "two-pickups"])
def test_tone_knob(rig_name: str) -> None:
    """Its branch set as the page sets it, against the rig with its tone knob there."""
    rig = find_rig(rig_name)
    told = tone_plain(rig)
    tone = rig.first.tone
    assert told is not None and tone is not None
    for at in (7.0, 3.0, 0.5):
        turned = rig.with_first(replace(rig.first, tone=replace(tone, dial=at)))
        true = decibels(transfer(chain_equations(turned, None), SOME_HZ, 4.0)[0])
        ohms = tone.pot.resistance_ohms * float(fraction_below_wiper(tone.pot.taper, at))
        got = response_of(circuit_plain(rig, None), [told["branch"]], ohms)
        assert np.abs(got - true).max() < 1e-6


def test_open_input_and_no_cable_can_be_changed() -> None:
    """Parts that stand for them, and make no difference."""
    rig = find_rig("humbucker-500k")
    bare = replace(
        rig, cable_farads=0.0,
        load=replace(rig.load, resistance_ohms=np.inf, capacitance_farads=0.0),
    )  # fmt: skip
    circuit = circuit_plain(bare, None)
    cable, entry = (
        next(i for i, b in enumerate(circuit["branches"]) if b["part"] == part)
        for part in ("cable", "input")
    )
    true = decibels(transfer(chain_equations(bare, None), SOME_HZ, 4.0)[0])
    assert np.abs(response_of(circuit, [], 0.0) - true).max() < 0.01
    circuit["branches"][cable]["value"] = 500e-12
    got = response_of(circuit, [entry], 1e6)
    fitted = replace(rig, cable_farads=500e-12, load=replace(bare.load, resistance_ohms=1e6))
    assert np.abs(
        got - decibels(transfer(chain_equations(fitted, None), SOME_HZ, 4.0)[0])
    ).max() < 1e-6  # fmt: skip


@pytest.mark.parametrize("rig_name", ["humbucker-500k", "dark-long-cable", "two-pickups"])
def test_unloading_in_the_page_is_the_renderers(rig_name: str) -> None:
    """A take at the jack back to the EMF, against models/audio/emf.py; and as it is played."""
    rig = find_rig(rig_name)
    take, rate = soundfile.read(SAMPLES / "chords.flac")
    take = take[rate : 3 * rate] * np.hanning(2 * rate) ** 0.1
    filters = Renderer(rig, (Design("d", None),), rate).filters
    nodes = recover_emf([np.atleast_2d(take)], filters)
    true = np.concatenate(list(nodes), axis=2)[0, -1, filters.lead : filters.lead + take.size]
    given = {"data": {"jack": jack_plain(rig)}, "rate": rate, "take": as_text(take)}
    whole, impulse = in_node(
        """({ data, rate, take }) => {
          const own = makeOwn(data);
          return [texts(own.unloaded(floats(take), rate)), texts(own.inverse(rate))];
        }""",
        given,
        own="makeOwn",
    )
    inner = slice(rate // 4, -rate // 4)
    # Measured -93 dB.
    assert off_db(as_array(whole)[inner], true[inner], rate, 60) < -88
    # While it is played: with the chain as it stood it makes 1, but for less than a sample's delay.
    hz = np.geomspace(60.0, 12_000.0, 60)
    stood = rig.take.rig
    assert stood is not None
    chain = transfer(chain_equations(stood, rig.take.network), hz, rig.take.dial)[0]
    both = chain * (
        np.exp(-2j * np.pi * np.outer(hz, np.arange(1 << 13)) / rate) @ as_array(impulse)
    )
    assert np.abs(decibels(np.abs(both))).max() < 0.002  # measured 0.001
    late = -np.unwrap(np.angle(both)) / (2 * np.pi * hz) * rate
    assert np.all((late > 0) & (late < 1.2))


# ---- dirt ---------------------------------------------------------------------
DIRTY = """({ spec, rate, volts, audio }) => {
  const stage = makeDirt(spec, rate, dirtTables(spec, rate));
  stage.volts = volts;
  return [texts(floats(audio).map((x) => stage.step(x))), DIRT_LATENCY];
}"""


def dirtied(dirt: Dirt, rate: int, volts: float, audio: Array) -> Array:
    given = {"spec": dirt_plain(dirt), "rate": rate, "volts": volts, "audio": as_text(audio)}
    text, late = in_node(DIRTY, given, dirt="makeDirt, dirtTables, DIRT_LATENCY")
    return as_array(text)[late:]


# Of points: level beyond 1 V, by its formula in between.
_HARD = Curve(
    tuple((v, float(np.clip(v, -1, 1))) for v in (-9.0, -1.001, -1.0, 0.0, 1.0, 1.001, 9.0))
)


@pytest.mark.parametrize("drive_db", [0.0, 20.0, 40.0])
@pytest.mark.parametrize("kind", [*DIRT_KINDS, _HARD], ids=str)
def test_dirt_is_the_renderers(kind: DirtKind | Curve, drive_db: float) -> None:
    rate, dirt = 48_000, Dirt(kind, drive_db)
    n = np.arange(rate)
    audio = 0.5 * np.sin(2 * np.pi * 220 * n / rate) * np.hanning(rate) ** 0.3
    audio += 0.2 * np.sin(2 * np.pi * 3130 * n / rate)
    volts = driven_volts(dirt) / 0.5
    got = dirtied(dirt, rate, volts, audio)
    true = np.concatenate(list(clipped([audio[None]], rate, dirt, volts)), axis=1)[0]
    inner = slice(2000, -2000)
    # Measured -83 dB; at the corners of a curve of points -80.
    assert off_db(got[inner], true[: got.size][inner], rate) < -78


@pytest.mark.parametrize(("drive_db", "most_db"), [(30.0, -90.0), (60.0, -70.0)])
@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_dirt_does_not_alias(kind: DirtKind, drive_db: float, most_db: float) -> None:
    """A tone of 4.1 kHz: all that is no harmonic of it, to 20 kHz, beside the loudest line."""
    rate, dirt, hz = 48_000, Dirt(kind, drive_db), 4100
    tone = np.sin(2 * np.pi * hz * np.arange(rate) / rate)
    out = dirtied(dirt, rate, driven_volts(dirt), tone)[-rate // 2 :]
    spectrum = np.abs(np.fft.rfft(out * np.blackman(out.size) ** 2))
    at = np.fft.rfftfreq(out.size, 1 / rate)
    harmonic = np.min([np.abs(at - k * hz) for k in range(12)], axis=0) < 12
    assert decibels(spectrum[~harmonic & (at < 20_000)].max() / spectrum.max()) < most_db


@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_curves_and_their_antiderivatives(kind: DirtKind) -> None:
    """The curve against Python's, and its antiderivative, direct and tabulated, against scipy's."""
    volts = knee_volts(kind) * np.array([-300.0, -20.0, -1.0, -0.01, 0.02, 0.7, 3.0, 900.0])
    at, integral = in_node(
        "({ spec, volts }) => { const c = curveOf(spec); return [volts.map(c.at), volts.map((u) => c.integral(u) - c.integral(0))]; }",
        {"spec": dirt_plain(Dirt(kind)), "volts": volts.tolist()},
        dirt="curveOf",
    )
    assert at == pytest.approx(static_curve(kind, volts), rel=1e-9)
    for u, got in zip(volts, integral, strict=True):
        corners = [x for x in np.array([-1, 1]) * knee_volts(kind) * 5 if abs(x) < abs(u)]
        true = scipy.integrate.quad(
            lambda x: float(static_curve(kind, x)), 0.0, u, points=corners or None, limit=500
        )[0]
        assert got == pytest.approx(true, rel=1e-7)


@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_levels_through_dirt(kind: DirtKind) -> None:
    """Volts by the loudest second, and loudness at any dial, against the renderer's own stages."""
    from presolder.models.audio.stages import Stages, voice

    rig, rate = as_string_take(find_rig("humbucker-500k")), 44_100
    take, _ = soundfile.read(SAMPLES / "chords.flac")
    dirt, designs = Dirt(kind, 24.0), (Design("d", None),)
    renderer = Renderer(rig, designs, rate)
    emf = loop_nodes(renderer, take[None, : 3 * rate])[-1]
    heard = voice(renderer, Stages(dirt=dirt), emf[None])
    circuit = circuit_plain(replace(rig, load=dirt.load), None)
    volts, levels = in_node(
        """({ core: text, circuit, method, rate, emf, dirt, dials }) => {
          const core = makeCore(new WebAssembly.Module(Buffer.from(text, "base64")));
          const nodes = emfNodes(floats(emf), method.nodes), given = { core, method, rate, nodes, dirt };
          const volts = voltsFor(dirt, circuit, given);
          return [volts, levelsAt(circuit, dials, { ...given, volts })];
        }""",
        {
            "circuit": circuit, "method": method_plain(), "rate": rate, "emf": as_text(emf),
            "dirt": {"spec": dirt_plain(dirt), "driven": driven_volts(dirt)}, "dials": [10, 6, 3],
            "core": CORE,
        },
        core="makeCore", engine="emfNodes", measuring="voltsFor, levelsAt",
    )  # fmt: skip
    assert volts == pytest.approx(heard.volts_per_unit, rel=0.003)
    for dial, level in zip((10.0, 6.0, 3.0), levels, strict=True):
        audio = heard.whole(resting(dial, emf.size / rate), emf[None])[0]
        # The page measures without oversampling; measured 0.046 LU.
        assert level["loudness"] == pytest.approx(integrated_loudness([audio], rate), abs=0.07)


def test_matched_is_as_loud_as_the_first_at_ten() -> None:
    """And "as at 10, equally loud" at true level is as loud as the knob's place is."""
    dials = (np.arange(1, 161) / 16).tolist()
    # A bare pot, and a design that is 5 LU louder below 10; LUFS at the tabled dials.
    bare = [-20.0 - 3.0 * (10 - dial) for dial in dials]
    rows = [
        bare,
        [max(one + 5.0 * (dial < 10), -60) for one, dial in zip(bare, dials, strict=True)],
    ]
    asked = [0.5, 1.0, 3.03, 7.5, 10.0]
    got = in_node(
        """({ rows, dials, asked }) => rows.map((row) => asked.map((dial) => [
          levelAt(row, dials, dial),
          ...[["matched", null], ["true", null], ["true", 10], ["matched", 10]].map(
            ([level, reference]) =>
              gainDb(row, { level, reference }, dial, { dials, wanted: rows[0].at(-1) })),
        ]))""",
        {"rows": rows, "dials": dials, "asked": asked}, loudness="gainDb, levelAt",
    )  # fmt: skip
    for row, by_dial in zip(rows, got, strict=True):
        for dial, (level, matched, true, reference, both) in zip(asked, by_dial, strict=True):
            assert level == pytest.approx(np.interp(dial, dials, row))
            # Nothing is raised by more than 40 dB.
            assert matched == pytest.approx(min(-20.0 - level, 40.0))
            assert true == 0
            assert reference == pytest.approx(matched - min(-20.0 - row[-1], 40.0))
            assert both == matched


# ---- loudness, spectra ------------------------------------------------------------
def test_loudness_is_the_packages() -> None:
    """ITU-R BS.1770 of a take with a pause, against pyloudnorm with the same analogue filter."""
    import pyloudnorm

    take, rate = soundfile.read(SAMPLES / "chords.flac")
    take = np.concatenate([take[: 2 * rate], np.zeros(rate), 0.3 * take[: 2 * rate]])
    got = in_node(
        """({ core, audio, rate }) => integratedLoudness(
          makeCore(new WebAssembly.Module(Buffer.from(core, "base64"))), floats(audio), rate)""",
        {"core": CORE, "audio": as_text(take), "rate": rate}, loudness="integratedLoudness",
        core="makeCore",
    )  # fmt: skip
    assert got == pytest.approx(pyloudnorm.Meter(rate, "DeMan").integrated_loudness(take), abs=1e-6)


def test_monotone_is_scipys() -> None:
    """Inside; at the ends scipy's slopes are others."""
    places, values = [0.25, 0.5, 1.0, 2.0, 5.0, 8.0, 10.0], [-60.0, -48, -40, -31, -17, -5, 0]
    wanted = np.linspace(0.5, 8.0, 40)
    got = in_node(
        "({ places, values, wanted }) => monotone(places, values, wanted)",
        {"places": places, "values": values, "wanted": wanted.tolist()}, loudness="monotone",
    )  # fmt: skip
    true = scipy.interpolate.PchipInterpolator(places, values)(wanted)
    assert got == pytest.approx(true, abs=1e-9)


def test_spectra_are_numpys() -> None:
    rng = np.random.default_rng(3)
    signal, impulse = rng.normal(size=300), rng.normal(size=70)
    through, spectrum = in_node(
        """({ signal, impulse }) => {
          const a = floats(signal), b = floats(impulse), { re, im } = spectrum(a, 512);
          return [texts(convolved(a, b)), [texts(re), texts(im)]];
        }""",
        {"signal": as_text(signal), "impulse": as_text(impulse)},
        fourier="convolved, spectrum",
    )
    assert as_array(through) == pytest.approx(np.convolve(signal, impulse)[:300], abs=1e-10)
    true = np.fft.fft(signal, 512)
    assert as_array(spectrum[0]) == pytest.approx(true.real, abs=1e-10)
    assert as_array(spectrum[1]) == pytest.approx(true.imag, abs=1e-10)


def test_least_phase_is_scipys() -> None:
    """Of a filter that has the least phase already, its impulse response comes back."""
    b, a = scipy.signal.butter(3, 0.3)
    hz = np.linspace(0, 1, 4096, endpoint=False) * 2 * np.pi
    # Of the zero at the Nyquist frequency no logarithm can be taken.
    magnitude = np.maximum(np.abs(scipy.signal.freqz(b, a, hz)[1]), 1e-9)
    got = in_node(
        "({ magnitude }) => texts(minimumPhase(floats(magnitude)))",
        {"magnitude": as_text(magnitude)}, fourier="minimumPhase",
    )  # fmt: skip
    true = scipy.signal.lfilter(b, a, np.eye(1, 60)[0])
    assert as_array(got)[:60] == pytest.approx(true, abs=6e-4)


def test_loudest_second_is_the_renderers() -> None:
    take, rate = soundfile.read(SAMPLES / "phrase.flac")
    got = in_node(
        "({ audio, rate }) => ordinaryPeak(floats(audio), rate)",
        {"audio": as_text(take), "rate": rate}, dirt="ordinaryPeak",
    )  # fmt: skip
    untouched = np.array([[1.0, 0.0, 0.0, 1.0, 0.0, 0.0]])
    assert got == pytest.approx(loudest_second([take[None]], rate, untouched).ordinary_peak)


@pytest.mark.parametrize(
    "name", sorted({path.stem for path in SCRIPT.glob("*.js")} - {"page", "thread", "bench"})
)
def test_joined_modules_export_what_they_export_by_themselves(name: str) -> None:
    """As node sees them; the joiner reads one name after each ``export``."""
    keys = in_node(
        f"async () => Object.keys(await import({json.dumps(str(SCRIPT / name) + '.js')})).sort()",
        None,
    )
    told = joined(name).rsplit("return { ", 1)[1].split(" }")[0]
    assert sorted(told.split(", ")) == keys


CIRCUITS = """({ core: text, circuits, rate, least, emf, dials, volts, knobs, stage, rows }) => {
  const core = makeCore(new WebAssembly.Module(Buffer.from(text, "base64")));
  return circuits.map((circuit) => {
    const whole = feedingStage(circuit, stage, knobs),
      tabulated = tableOf(core, whole, rows, { rate, least });
    return dials.map((along) => texts(
      played(core, makeCircuit(core, tabulated), floats(along), [floats(emf)], volts)));
  });
}"""
LATE = 39 + 44
# With an Early voltage too.
_KNOBS_FILE = Path(__file__).parents[1] / "data" / "pedals" / "knobs.cir"
KNOBS_OF_ONES_OWN = read_pedal(_KNOBS_FILE.read_text("utf-8"), "knobs")
KNOBS = {"control": 7.0, "bias": 4.0, "supply": 8.0, "battery": 300.0}


def circuits_by_page(
    rig: Rig, stage: Stage, emf: Array, paths: list[KnobPath], rate: int, least: float
) -> list[list[Array]]:
    """Each design along each path, from the page's core."""
    # The knob of a sample is turned when its EMF arrives there.
    times = (np.arange(emf.size) - 0.5 - 39) / rate
    given = {
        "core": CORE,
        "circuits": [
            circuit_plain(
                rig.feeding(Load(1e9, 0.0)), None if text is None else parse_expression(text)
            )
            for text in DESIGNS
        ],
        "rate": rate, "least": least, "emf": as_text(emf), "rows": 2049, "volts": 1.0,
        "dials": [as_text(dial_at(path, times)) for path in paths],
        "knobs": KNOBS | {"control": stage.control}, "stage": stage_plain(Stage(stage.kind))["stage"],
    }  # fmt: skip
    found = in_node(
        CIRCUITS, given, before=PLAYED, engine="feedingStage", measuring="tableOf",
        core="BLOCK, makeCircuit, makeCore",
    )  # fmt: skip
    return [[as_array(text) for text in texts] for texts in found]


@pytest.mark.parametrize(
    ("rig_name", "kind"),
    [
        ("humbucker-500k", "germanium-fuzz"), ("single-coil-250k", KNOBS_OF_ONES_OWN),
        *some(product(built_in_rigs(), STAGE_KINDS), lambda _: False),
    ],
)  # fmt: skip
def test_circuits_are_the_renderers(rig_name: str, kind: StageKind | Pedal) -> None:
    """Bare, fixed parts and a gang; a sweep, held and a fast swell; the stage's knobs turned."""
    rate = 48_000
    stage = Stage(kind, control=7.0, bias=4.0, supply_volts=8.0, battery_ohms=300.0)
    rig = as_string_take(RIGS[rig_name])
    take, own = soundfile.read(SAMPLES / "chords.flac")
    # From silence, since a file's EMF sets in before its first sample and a page's does not.
    samples = take[own : own + rate] * np.hanning(rate)
    volts = 0.4 / np.abs(samples).max()
    emf = volts * loop_nodes(Renderer(rig, (Design("d", None),), rate), np.atleast_2d(samples))[-1]
    paths = list(PATHS.values())
    found = circuits_by_page(rig, stage, emf, paths, rate, 430e3)
    fewer = circuits_by_page(rig, stage, emf, paths, rate, 215e3)
    for text, each, coarse in zip(DESIGNS, found, fewer, strict=True):
        design = Design("d", None if text is None else parse_expression(text))
        driven = Driven(rig.feeding(Load(stage=stage)), (design,), rate, volts)
        for path, got, low in zip(paths, each, coarse, strict=True):
            blocks = [one[0] for one in driven.along(path, np.atleast_2d(samples))]
            true, heard = np.concatenate(blocks, axis=1)[0], slice(2000, -2000)
            # Measured -88 dB at worst, and in half of the steps -56.
            assert off_db(got[LATE:][heard], true[:-LATE][heard], rate) < -82
            assert off_db(low[LATE:][heard], true[:-LATE][heard], rate) < -50
