"""The checks against sources outside the project, one function a source.

Each returns rows for the validation page; the tests assert the limits, and
``docs/make_validation.py`` writes the page from the same functions.
"""

import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

import eseries
import numpy as np
import pyloudnorm
import scipy.interpolate

from conftest import SAMPLES
from netlist import (
    Array,
    at_dial,
    following_dial,
    parts_of,
    run_spice,
    spice_lines,
    spice_response,
)
from presolder.models.circuit import describe
from presolder.models.designs import BUILT_IN
from presolder.models.expression import parse_expression
from presolder.models.knob import KnobPath
from presolder.models.loudness import integrated_loudness, k_weighting
from presolder.models.network import Capacitor, Design, Gang, Network, Parallel, Resistor, Series
from presolder.models.preferred import preferred_decade
from presolder.models.quantities import Unit, parse_quantity
from presolder.models.response import decibels, transfer
from presolder.models.rig import Load, Pickup, Pot, Rig, Tone
from presolder.models.taper import Taper, TaperKind, fraction_below_wiper
from presolder.render.audio import read_recording
from presolder.render.rigfile import find_rig
from rendering import as_string_take, rendered, rms


@dataclass(frozen=True)
class Row:
    """One line of the validation page."""

    source: str
    compared: str
    cases: int
    worst: float
    limit: float
    unit: str


KINDS: tuple[TaperKind, ...] = ("linear", "audio", "reverse-audio", "two-slope", "measured")
TOPOLOGIES = ("C", "R || C", "R + C", "R + (R || C)", "C || (R + C)", "C || G", "C + G", "tree", "")


def random_taper(random: np.random.Generator, kind: TaperKind) -> Taper:
    if kind != "measured":
        return Taper(kind, float(random.uniform(0.06, 0.4)))
    inner = np.sort(random.uniform(0.02, 0.98, 3))
    points = tuple((d, float(f)) for d, f in zip((2.0, 5.0, 8.0), inner, strict=True))
    return Taper("measured", points=((0.0, 0.0), *points, (10.0, 1.0)))


def random_rig(random: np.random.Generator, index: int) -> Rig:
    """A rig for case `index`; tapers, wirings and absences take turns."""

    def log(low: float, high: float) -> float:
        return float(np.exp(random.uniform(np.log(low), np.log(high))))

    tone = Tone(
        Pot(log(100e3, 1e6), random_taper(random, KINDS[(index + 2) % 4])),
        log(4e-9, 100e-9),
        float(random.uniform(0, 10)),
        ("modern", "fifties")[index % 2],  # type: ignore[arg-type]
    )
    return Rig(
        Pickup(
            log(2e3, 16e3),
            log(0.8, 9),
            log(50e-12, 250e-12),
            None if index % 3 == 0 else log(200e3, 3e6),
        ),
        Pot(log(100e3, 1e6), random_taper(random, KINDS[index % 5])),
        None if index % 7 == 0 else tone,
        log(100e-12, 2e-9),
        Load(log(8e3, 1e7), log(5e-12, 300e-12)),
    )


def random_leaf(random: np.random.Generator, kind: str = "") -> Network:
    kind = kind or random.choice(["R", "C", "C", "G"])
    if kind == "R":
        return Resistor(float(random.uniform(10e3, 470e3)))
    if kind == "C":
        return Capacitor(float(random.uniform(50e-12, 3e-9)))
    taper = random_taper(random, random.choice(KINDS[:4]))
    return Gang(float(random.uniform(50e3, 1e6)), taper, random.choice(["zero", "full"]))


def random_tree(random: np.random.Generator, parts: int) -> Network:
    if parts == 1:
        return random_leaf(random)
    left = int(random.integers(1, parts))
    kind = Series if random.random() < 0.5 else Parallel
    return kind((random_tree(random, left), random_tree(random, parts - left)))


def random_network(random: np.random.Generator, index: int) -> Network | None:
    topology = TOPOLOGIES[index % len(TOPOLOGIES)]
    if topology == "":
        return None
    if topology == "tree":
        return random_tree(random, int(random.integers(2, 7)))
    r, c, g = (random_leaf(random, kind) for kind in "RCG")
    r2, c2 = random_leaf(random, "R"), random_leaf(random, "C")
    return {
        "C": c,
        "R || C": Parallel((r, c)),
        "R + C": Series((r, c)),
        "R + (R || C)": Series((r2, Parallel((r, c)))),
        "C || (R + C)": Parallel((c2, Series((r, c)))),
        "C || G": Parallel((c, g)),
        "C + G": Series((c, g)),
    }[topology]


@cache
def spice_ac_errors(case_count: int = 108) -> tuple[Array, Array, Array]:
    """Frequencies, and worst error in dB and degrees over all cases at each."""
    random = np.random.default_rng(20)
    gain_error, phase_error = [], []
    for index in range(case_count):
        rig, network = random_rig(random, index), random_network(random, index)
        dial = 10.0 if index % 12 == 0 else float(random.uniform(0.2, 10))
        frequency_hz, outside = spice_response(parts_of(rig, network, at_dial(dial)))
        ratio = transfer(describe(rig, network), frequency_hz, dial)[0] / outside
        gain_error.append(np.abs(decibels(ratio)))
        phase_error.append(np.abs(np.angle(ratio, deg=True)))
    return frequency_hz, np.array(gain_error), np.array(phase_error)


def spice_ac() -> list[Row]:
    _, gain, phase = spice_ac_errors()
    source = "ngspice, a general-purpose circuit simulator: AC analysis"
    what = "random rigs, tapers, wirings, loads and networks up to 6 parts, dials 0.2-10, 20 Hz-20 kHz:"
    return [
        Row(source, f"{what} gain", len(gain), float(gain.max()), 0.02, "dB"),
        Row(source, f"{what} phase", len(phase), float(phase.max()), 0.2, "degrees"),
    ]


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
            coarse, fine = (_spice_moving(rig, network, path, rate, step) for step in (16, 32))
            exact = fine + (fine - coarse) / 3  # trapezoidal rule: error falls as the step squared
            time_s = np.arange(exact.size) / rate
            emf = _ramp(time_s) * sum(np.sin(2 * np.pi * f * time_s) for f in TONES_HZ)
            ours = rendered(emf, rate, as_string_take(rig), (Design("d", network),), path)[0, 0]
            heard = slice(0, -200)  # the file's end is cut off sharply in our EMF alone
            errors[f"{label}, {name}"] = tuple(
                float(20 * np.log10(rms((ours - other)[heard]) / rms(exact[heard])))
                for other in (coarse, fine, exact)
            )
    return errors  # type: ignore[return-value]


def _ramp(time_s: Array) -> Array:
    return np.asarray(np.sin(np.pi / 2 * np.minimum(time_s / RAMP_S, 1)) ** 2)


def _spice_moving(rig: Rig, network: Network, path: KnobPath, rate: int, substeps: int) -> Array:
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


def symbolic() -> list[Row]:
    import lcapy

    rig = find_rig("humbucker-500k")
    frequency_hz = np.geomspace(20, 20_000, 25)
    worst, cases = 0.0, 0
    for design in BUILT_IN[:7]:
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
        ours = transfer(describe(rig, design.network), frequency_hz, 4.0)[0]
        worst = max(worst, float(np.abs(ours / values - 1).max()))
        cases += 1
    return [
        Row(
            "lcapy, a symbolic circuit library",
            "exact rational transfer functions of seven topologies at dial 4: relative error",
            cases,
            worst,
            1e-9,
            "",
        )
    ]


# A pickup that is as good as an ideal source, for the textbook cases.
IDEAL = Pickup(1e-2, 1e-6)
LINEAR = Taper("linear")


def attenuator() -> list[Row]:
    worst, dials = 0.0, np.array([2.0, 4.0, 6.0, 8.0])
    frequency_hz = np.geomspace(20, 20_000, 50)
    cable, track = 470e-12, 500e3
    for dial in dials:
        lower, upper = track * dial / 10, track * (1 - dial / 10)
        rig = Rig(IDEAL, Pot(track, LINEAR), cable_farads=cable)
        network = Capacitor(cable * lower / upper)
        gain_db = decibels(transfer(describe(rig, network), frequency_hz, dial)[0])
        worst = max(worst, float(np.abs(gain_db - 20 * np.log10(lower / track)).max()))
    return [
        Row(
            "Horowitz and Hill, The Art of Electronics, oscilloscope probe compensation (from memory)",
            "C_bypass = C_cable R_lower / R_upper makes the pot flat: deviation, 20 Hz-20 kHz",
            dials.size,
            worst,
            0.01,
            "dB",
        )
    ]


def loaded_pot() -> list[Row]:
    dials = np.linspace(0.1, 9.9, 99)
    worst, track = 0.0, 100e3
    ratios = (0.05, 0.1, 1.0)
    for ratio in ratios:
        rig = Rig(IDEAL, Pot(track, LINEAR), load=Load(track / ratio))
        x = dials / 10
        textbook = x / (1 + ratio * x * (1 - x))
        ours = np.abs(transfer(describe(rig, None), 20.0, dials)[:, 0])
        worst = max(worst, float(np.abs(ours / textbook - 1).max()))
    rig = Rig(IDEAL, Pot(track, LINEAR), load=Load(track / 0.01))
    error = dials / 10 - np.abs(transfer(describe(rig, None), 20.0, dials)[:, 0])
    source = "Doebelin, Measurement Systems, loading error of a potentiometer (from memory)"
    return [
        Row(source, "output x/(1 + x(1-x)R/R_load): relative error", 3 * 99, worst, 1e-5, ""),
        Row(
            source,
            "largest error 4/27 R/R_load, two thirds of the way up: distance of the position from 6.67",
            1,
            float(abs(dials[np.argmax(error)] - 20 / 3)),
            0.1,
            "dial",
        ),
    ]


def resonance() -> list[Row]:
    worst_peak, worst_damped, cases = 0.0, 0.0, 0
    for resistance, henries, farads in (
        (6e3, 2.2, 500e-12),
        (8e3, 4.0, 650e-12),
        (14e3, 8.0, 1e-9),
    ):
        resonance_hz = 1 / (2 * np.pi * np.sqrt(henries * farads))
        for load in (np.inf, 1e6, 200e3):
            rig = Rig(
                Pickup(resistance, henries), Pot(1e10, LINEAR), cable_farads=farads, load=Load(load)
            )
            ours = abs(transfer(describe(rig, None), resonance_hz, 10.0)[0, 0])
            impedance = np.sqrt(henries / farads)
            conductance = 1 / load + 1e-10
            damping = np.hypot(
                resistance / impedance + impedance * conductance, resistance * conductance
            )
            error = abs(ours * damping - 1)
            if load == np.inf:
                worst_peak = max(worst_peak, error)
            else:
                worst_damped = max(worst_damped, error)
            cases += 1
    source = "Nilsson and Riedel, Electric Circuits, series RLC (from memory)"
    return [
        Row(
            source,
            "height at f0 = 1/(2 pi sqrt(LC)), unloaded coil and cable: relative error",
            3,
            worst_peak,
            1e-6,
            "",
        ),
        Row(
            source,
            "the same damped by a load resistance: relative error",
            6,
            worst_damped,
            1e-6,
            "",
        ),
    ]


def corner() -> list[Row]:
    worst = 0.0
    for ohms, farads in ((10e3, 1e-9), (100e3, 470e-12), (1e6, 1e-10)):
        rig = Rig(Pickup(ohms, 1e-6), Pot(1e10, LINEAR), cable_farads=farads)
        gain_db = decibels(transfer(describe(rig, None), 1 / (2 * np.pi * ohms * farads), 10.0))
        worst = max(worst, abs(float(gain_db[0, 0]) + 10 * np.log10(2)))
    return [
        Row(
            "any circuits textbook: first-order RC", "-3.01 dB at 1/(2 pi RC)", 3, worst, 0.01, "dB"
        )
    ]


def preferred() -> list[Row]:
    keys = {name: getattr(eseries, name) for name in ("E6", "E12", "E24", "E48", "E96")}
    wrong, cases = 0, 0
    for name, key in keys.items():
        theirs = np.array(eseries.series(key), dtype=float)
        theirs = theirs / 10 ** np.floor(np.log10(theirs[0]))
        ours = preferred_decade(name)
        wrong += int(np.sum(np.abs(ours - theirs) > 1e-9)) if ours.size == theirs.size else 99
        cases += theirs.size
    return [
        Row(
            "IEC 60063, as in the package eseries",
            "values of E6 to E96 that differ",
            cases,
            wrong,
            0,
            "values",
        )
    ]


# Example codes of IEC 60062, from memory.
CODES: tuple[tuple[str, Unit, float], ...] = (
    ("R10", "ohm", 0.1),
    ("R332", "ohm", 0.332),
    ("1R0", "ohm", 1),
    ("3R32", "ohm", 3.32),
    ("33R2", "ohm", 33.2),
    ("332R", "ohm", 332),
    ("1K0", "ohm", 1e3),
    ("3K32", "ohm", 3320),
    ("33K2", "ohm", 33.2e3),
    ("332K", "ohm", 332e3),
    ("1M0", "ohm", 1e6),
    ("3M32", "ohm", 3.32e6),
    ("1G0", "ohm", 1e9),
    ("p10", "farad", 0.1e-12),
    ("p332", "farad", 0.332e-12),
    ("1p0", "farad", 1e-12),
    ("33p2", "farad", 33.2e-12),
    ("332p", "farad", 332e-12),
    ("1n0", "farad", 1e-9),
    ("3n32", "farad", 3.32e-9),
    ("33n2", "farad", 33.2e-9),
    ("332n", "farad", 332e-9),
    ("1µ0", "farad", 1e-6),
    ("3µ32", "farad", 3.32e-6),
)


def codes() -> list[Row]:
    worst = max(abs(parse_quantity(text, unit) / value - 1) for text, unit, value in CODES)
    return [
        Row(
            "IEC 60062 letter codes (examples from memory)",
            "value read: relative error",
            len(CODES),
            worst,
            1e-12,
            "",
        )
    ]


# EBU Tech 3341, table 1, cases 1 to 5: (seconds, dBFS) of a stereo 1 kHz sine; LUFS expected.
EBU_CASES = (
    (((20.0, -23.0),), -23.0),
    (((20.0, -33.0),), -33.0),
    (((10.0, -36.0), (60.0, -23.0), (10.0, -36.0)), -23.0),
    (((10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0)), -23.0),
    (((20.0, -26.0), (20.1, -20.0), (20.0, -26.0)), -23.0),
)
# ITU-R BS.1770, annex 1, tables 1 and 2: coefficients at 48 kHz.
K_SHELF = (
    1.53512485958697,
    -2.69169618940638,
    1.19839281085285,
    1.0,
    -1.69065929318241,
    0.73248077421585,
)
K_PASS = (1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621)


def loudness() -> list[Row]:
    errors = []
    for rate in (44_100, 48_000, 96_000):
        for steps, expected in EBU_CASES:
            level = np.concatenate([np.full(round(s * rate), 10 ** (db / 20)) for s, db in steps])
            tone = level * np.sin(2 * np.pi * 1000 * np.arange(level.size) / rate)
            measured = integrated_loudness([np.stack([tone, tone])], rate)
            assert measured is not None
            errors.append(abs(measured - expected))
    coefficients = np.abs(k_weighting(48_000) - np.array([K_SHELF, K_PASS])).max()
    return [
        Row(
            "EBU Tech 3341, cases 1-5, generated as described",
            "integrated loudness at three sample rates: error",
            len(errors),
            max(errors),
            0.1,
            "LU",
        ),
        Row(
            "ITU-R BS.1770, annex 1, tables 1 and 2",
            "K-weighting coefficients at 48 kHz: difference",
            12,
            float(coefficients),
            1e-8,
            "",
        ),
        Row(
            "pyloudnorm, a loudness package",
            "integrated loudness of the three bundled recordings: difference",
            3,
            max(_against_pyloudnorm()),
            0.1,
            "LU",
        ),
    ]


def _against_pyloudnorm() -> Iterator[float]:
    for name in ("fifths", "harmonics", "string"):
        take = read_recording(SAMPLES / f"{name}.flac")
        theirs = pyloudnorm.Meter(take.sample_rate_hz, filter_class="DeMan").integrated_loudness(
            take.samples.T
        )
        ours = integrated_loudness([take.samples], take.sample_rate_hz)
        assert ours is not None
        yield abs(theirs - ours)


def tapers() -> list[Row]:
    shares = [float(fraction_below_wiper(Taper(kind), 5.0)) for kind in ("audio", "two-slope")]  # type: ignore[arg-type]
    return [
        Row(
            "common practice, no source: an audio pot has 10-20 % of its track below the wiper at half",
            "distance of the default laws from 15 %",
            2,
            max(abs(s - 0.15) for s in shares),
            0.05,
            "",
        ),
    ]


def lsoda() -> list[Row]:
    from test_moving import sweep_error_db

    errors = [
        sweep_error_db(read_recording(SAMPLES / f"{n}.flac")) for n in ("fifths", "harmonics")
    ]
    return [
        Row(
            "LSODA (ODEPACK) through scipy, equations written out by hand",
            "1 s sweep 10 to 0 of both real recordings: relative RMS difference",
            2,
            max(errors),
            -70.0,
            "dB",
        ),
    ]


CHECKS: tuple[Callable[[], list[Row]], ...] = (
    spice_ac,
    spice_transient,
    lsoda,
    symbolic,
    attenuator,
    loaded_pot,
    resonance,
    corner,
    preferred,
    codes,
    loudness,
    tapers,
)


@cache
def rows_of(check: Callable[[], list[Row]]) -> tuple[Row, ...]:
    return tuple(check())
