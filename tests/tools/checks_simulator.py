"""Checks against programs and libraries that solve circuits by themselves."""

import warnings
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction
from functools import cache

import numpy as np
import scipy.interpolate

from check_row import Row
from netlist import (
    Array,
    at_dial,
    following_dial,
    parts_of,
    run_spice,
    spice_lines,
    spice_response,
)
from presolder.models.audio.knob import KnobPath
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.built_in import BUILT_IN
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Design, Network
from presolder.models.instrument.rig import Rig
from presolder.render.files.audio import read_recording
from presolder.render.files.rig_file import find_rig
from random_circuits import random_network, random_pair, random_rig, random_wiring
from rendering import rendered, rms
from rigs import as_string_take, with_other
from takes import SAMPLES

Case = tuple[Rig, Network | None]


def _ac_errors(
    seed: int, case: Callable[[np.random.Generator, int], Case], count: int
) -> tuple[Array, Array, Array]:
    """Frequencies, and error in dB and degrees at each of random cases."""
    random = np.random.default_rng(seed)
    gain_error, phase_error = [], []
    for index in range(count):
        rig, network = case(random, index)
        dial = 10.0 if index % 12 == 0 else float(random.uniform(0.2, 10))
        frequency_hz, outside = spice_response(parts_of(rig, network, at_dial(dial)))
        ratio = transfer(chain_equations(rig, network), frequency_hz, dial)[0] / outside
        gain_error.append(np.abs(decibels(ratio)))
        phase_error.append(np.abs(np.angle(ratio, deg=True)))
    return frequency_hz, np.array(gain_error), np.array(phase_error)


def _ac_rows(what: str, gain: Array, phase: Array) -> list[Row]:
    source = "ngspice, a general-purpose circuit simulator: AC analysis"
    return [
        Row(source, f"{what} gain", len(gain), float(gain.max()), 0.02, "dB"),
        Row(source, f"{what} phase", len(phase), float(phase.max()), 0.2, "degrees"),
    ]


@cache
def spice_ac_errors(case_count: int = 108) -> tuple[Array, Array, Array]:
    """Frequencies, and error in dB and degrees over all cases at each."""

    def case(random: np.random.Generator, index: int) -> Case:
        return random_rig(random, index), random_network(random, index)

    return _ac_errors(20, case, case_count)


def spice_ac() -> list[Row]:
    _, gain, phase = spice_ac_errors()
    what = "random rigs, tapers, wirings, loads and networks up to 6 parts, dials 0.2-10, 20 Hz-20 kHz:"
    return _ac_rows(what, gain, phase)


def spice_two_pickups(case_count: int = 36) -> list[Row]:
    """Two pickups with a volume each, in both wirings."""

    def case(random: np.random.Generator, index: int) -> Case:
        rig, network = random_pair(random, index), random_network(random, index)
        # With the lug wiring and the second volume at 0, the output is silent.
        if rig.volume_wiring == "lug" and rig.channels[1].held_at == 0:
            rig = with_other(rig, held_at=0.3)
        return rig, network

    _, gain, phase = _ac_errors(21, case, case_count)
    what = "two pickups with a volume and a bypass each, lug and independent wiring:"
    return _ac_rows(what, gain, phase)


def spice_wirings(case_count: int = 180) -> list[Row]:
    """Any pickups in series and in parallel, masters, shared tones, buffers and pedals."""

    def case(random: np.random.Generator, index: int) -> Case:
        return random_wiring(random, index), random_network(random, index)

    _, gain, phase = _ac_errors(23, case, case_count)
    what = "wirings: coils and piezos in series and parallel, 1-3 volumes, master, tone, buffer, pedal:"
    return _ac_rows(what, gain, phase)


GESTURES = {
    "fast swell": KnobPath((0.0, 0.02, 0.06, 0.1), (0.0, 0.0, 10.0, 10.0)),
    "slow sweep": KnobPath((0.0, 0.05, 0.35, 0.4), (9.0, 9.0, 1.0, 1.0)),
    "reversing": KnobPath((0.0, 0.03, 0.06, 0.09, 0.12, 0.15), (10.0, 4.0, 8.0, 2.0, 6.0, 6.0)),
}
TONES_HZ = (196.0, 742.0, 1830.0, 4370.0)
RAMP_S = 0.01


@cache
def spice_transient_errors() -> dict[str, tuple[float, float, float]]:
    """Relative RMS in dB against two step sizes and their extrapolation, by case."""
    rate = 48_000
    rigs = (find_rig("humbucker-500k"), find_rig("dark-long-cable"))
    networks = (
        parse_expression("39k + (330k || 680p)"),
        parse_expression("270p || gang(500k, audio, full)"),
    )
    errors = {}
    for rig, network, label in zip(rigs, networks, ("series-parallel", "gang"), strict=True):
        for name, path in GESTURES.items():
            coarse, fine = (spice_moving(rig, network, path, rate, step) for step in (8, 16))
            exact = fine + (fine - coarse) / 3  # trapezoidal rule: error falls as the step squared
            time_s = np.arange(exact.size) / rate
            emf = ramp(time_s) * sum(np.sin(2 * np.pi * f * time_s) for f in TONES_HZ)
            ours = rendered(emf, rate, as_string_take(rig), (Design("d", network),), path)[0, 0]
            heard = slice(0, -200)  # the file's end is cut off sharply in our EMF alone
            errors[f"{label}, {name}"] = tuple(
                float(20 * np.log10(rms((ours - other)[heard]) / rms(exact[heard])))
                for other in (coarse, fine, exact)
            )
    return errors  # type: ignore[return-value]


def ramp(time_s: Array) -> Array:
    return np.asarray(np.sin(np.pi / 2 * np.minimum(time_s / RAMP_S, 1)) ** 2)


def spice_moving(rig: Rig, network: Network, path: KnobPath, rate: int, substeps: int) -> Array:
    step = 1 / (rate * substeps)
    tones = "+".join(f"sin({2 * np.pi * f!r}*time)" for f in TONES_HZ)
    corners = " ".join(f"{t!r} {d!r}" for t, d in zip(path.times_s, path.dials, strict=True))
    lines = [
        f"B0 emf 0 V = (time<{RAMP_S} ? sin({np.pi / 2 / RAMP_S!r}*time)^2 : 1)*({tones})",
        f"V0 dial 0 PWL({corners})",
        *spice_lines(parts_of(rig, network, following_dial)),
    ]
    # The step is held at its maximum by a loose truncation-error tolerance.
    rows = run_spice(
        [*lines, ".options trtol=1000"], f"tran {step!r} {path.duration_s!r} 0 {step!r} uic"
    )[0]
    curve = scipy.interpolate.CubicSpline(rows[:, 0], rows[:, 1])
    return np.asarray(curve(np.arange(round(path.duration_s * rate)) / rate))


def spice_transient() -> list[Row]:
    errors = spice_transient_errors()
    worst = max(exact for _, _, exact in errors.values())
    return [
        Row(
            "ngspice: transient analysis with moving resistors",
            "fast swell, slow sweep and reversing gesture through two rigs; relative RMS difference"
            " from the step-halving extrapolation",
            len(errors),
            worst,
            -60.0,
            "dB",
        )
    ]


def spice_wirings_moving(case_count: int = 8) -> list[Row]:
    """The knob of any wiring turning: a pickup's own, the master's, the pedal's."""
    random = np.random.default_rng(24)
    rigs = [random_wiring(random, 2 * index, depth=1) for index in range(case_count)]
    with ThreadPoolExecutor() as pool:
        errors_db = list(pool.map(_moving_error_db, range(case_count), rigs))
    return [
        Row(
            "ngspice: transient analysis with moving resistors",
            "fast swell through wirings of all kinds; relative RMS difference from the"
            " step-halving extrapolation",
            case_count,
            max(errors_db),
            -60.0,
            "dB",
        )
    ]


def _moving_error_db(index: int, rig: Rig) -> float:
    rate = 48_000
    law = Taper(("linear", "audio", "two-slope")[index % 3], 0.2)  # type: ignore[arg-type]
    rig = rig.with_volume(Pot(rig.volume.resistance_ohms, law))
    network = parse_expression(("680p", "150k || 1n", "100k + 1n5")[(index // 3) % 3])
    coarse, fine = (
        spice_moving(rig, network, GESTURES["fast swell"], rate, step) for step in (4, 8)
    )
    exact = fine + (fine - coarse) / 3
    time_s = np.arange(exact.size) / rate
    emf = ramp(time_s) * sum(np.sin(2 * np.pi * f * time_s) for f in TONES_HZ)
    design = Design("d", network)
    ours = rendered(emf, rate, as_string_take(rig), (design,), GESTURES["fast swell"])[0, 0]
    heard = slice(0, -200)
    return float(decibels(rms((ours - exact)[heard]) / rms(exact[heard])))


def symbolic() -> list[Row]:
    with warnings.catch_warnings():
        # Its own sources have escapes that Python warns about when it first compiles them.
        warnings.simplefilter("ignore")
        import lcapy

    rig = find_rig("humbucker-500k")
    frequency_hz = np.geomspace(20, 20_000, 25)
    worst, cases = 0.0, 0
    names = ("cap", "series", "series-parallel", "gang-series")
    for design in (one for one in BUILT_IN if one.name in names):
        parts = parts_of(rig, design.network, at_dial(4.0))
        lines = [
            f"{p.letter}{i} {p.plus} {p.minus} {{{Fraction(p.value)}}}"
            for i, p in enumerate(parts, start=1)
        ]
        with warnings.catch_warnings():
            # It tells that a quintic has no roots in radicals, which nobody asked for.
            warnings.simplefilter("ignore")
            exact = lcapy.Circuit("\n".join(lines)).transfer("emf", "0", "out", "0")
            values = exact(lcapy.f).evaluate(frequency_hz)
        ours = transfer(chain_equations(rig, design.network), frequency_hz, 4.0)[0]
        worst = max(worst, float(np.abs(ours / values - 1).max()))
        cases += 1
    return [
        Row(
            "lcapy, a symbolic circuit library",
            "exact rational transfer functions of four topologies at dial 4: relative error",
            cases,
            worst,
            1e-9,
            "",
        )
    ]


def lsoda() -> list[Row]:
    from moving import sweep_error_db

    errors = [sweep_error_db(read_recording(SAMPLES / f"{n}.flac")) for n in ("chords", "phrase")]
    return [
        Row(
            "LSODA (ODEPACK) through scipy, equations written out by hand",
            "1 s sweep 10 to 0 of the phrase and the chords: relative RMS difference",
            2,
            max(errors),
            -70.0,
            "dB",
        ),
    ]
