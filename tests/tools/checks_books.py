"""Checks against textbooks and standards."""

import subprocess
from collections.abc import Iterator

import eseries
import numpy as np
import pyloudnorm
import scipy

from check_row import Row
from presolder.models.audio.loudness import integrated_loudness, k_weighting
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.instrument.law import Taper, fraction_below_wiper
from presolder.models.instrument.network import Capacitor
from presolder.models.instrument.preferred import preferred_decade
from presolder.models.instrument.quantities import Unit, parse_quantity
from presolder.models.typing import Array
from presolder.render.files.audio import read_recording
from rigs import single
from takes import SAMPLES

# A pickup that is as good as an ideal source, for the textbook cases.
IDEAL = Pickup(1e-2, 1e-6)
LINEAR = Taper("linear")


def attenuator() -> list[Row]:
    worst, dials = 0.0, np.array([2.0, 4.0, 6.0, 8.0])
    frequency_hz = np.geomspace(20, 20_000, 50)
    cable, track = 470e-12, 500e3
    for dial in dials:
        lower, upper = track * dial / 10, track * (1 - dial / 10)
        rig = single(IDEAL, Pot(track, LINEAR), cable=cable)
        network = Capacitor(cable * lower / upper)
        gain_db = decibels(transfer(chain_equations(rig, network), frequency_hz, dial)[0])
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
        rig = single(IDEAL, Pot(track, LINEAR), load=Load(track / ratio))
        x = dials / 10
        textbook = x / (1 + ratio * x * (1 - x))
        ours = np.abs(transfer(chain_equations(rig, None), 20.0, dials)[:, 0])
        worst = max(worst, float(np.abs(ours / textbook - 1).max()))
    rig = single(IDEAL, Pot(track, LINEAR), load=Load(track / 0.01))
    error = dials / 10 - np.abs(transfer(chain_equations(rig, None), 20.0, dials)[:, 0])
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
            rig = single(
                Pickup(resistance, henries), Pot(1e10, LINEAR), cable=farads, load=Load(load)
            )
            ours = abs(transfer(chain_equations(rig, None), resonance_hz, 10.0)[0, 0])
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
        rig = single(Pickup(ohms, 1e-6), Pot(1e10, LINEAR), cable=farads)
        gain_db = decibels(
            transfer(chain_equations(rig, None), 1 / (2 * np.pi * ohms * farads), 10.0)
        )
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

# Meters are not told apart by less.
_UNTOLD_LU = 0.001


def loudness() -> list[Row]:
    errors = []
    for rate in (44_100, 48_000, 96_000):
        for steps, expected in EBU_CASES:
            level = np.concatenate([np.full(round(s * rate), 10 ** (db / 20)) for s, db in steps])
            tone = level * np.sin(2 * np.pi * 1000 * np.arange(level.size) / rate)
            measured = integrated_loudness([np.stack([tone, tone])], rate)
            assert measured is not None
            errors.append(abs(measured - expected))
    by_package, by_program = (max(_UNTOLD_LU, *found) for found in zip(*_by_meters(), strict=True))
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
            "integrated loudness of the three bundled recordings, as they are and at 44.1 kHz:"
            " difference",
            6,
            by_package,
            0.01,
            "LU",
        ),
        Row(
            "ffmpeg's ebur128, a meter after EBU R 128",
            "integrated loudness of the same: difference",
            6,
            by_program,
            0.01,
            "LU",
        ),
    ]


def _by_meters() -> Iterator[tuple[float, float]]:
    """How far a package and a program are from ours, for each take at each rate."""
    for name in ("phrase", "string", "chords"):
        take = read_recording(SAMPLES / f"{name}.flac")
        assert take.sample_rate_hz == 48_000
        at_44 = scipy.signal.resample_poly(take.samples, 147, 160, axis=1)
        for rate, samples in ((48_000, take.samples), (44_100, at_44)):
            ours = integrated_loudness([samples], rate)
            assert ours is not None
            meter = pyloudnorm.Meter(rate, filter_class="DeMan")
            theirs = (meter.integrated_loudness(samples.T), _by_ffmpeg(samples, rate))
            yield abs(theirs[0] - ours), abs(theirs[1] - ours)


def _by_ffmpeg(samples: Array, rate: int) -> float:
    """Its last word on a recording, to three decimals."""
    told = "ebur128=metadata=1,ametadata=print:key=lavfi.r128.I:file=-"
    form = ("-f", "f64le", "-ar", str(rate), "-ac", str(len(samples)))
    found = subprocess.run(
        ["ffmpeg", "-v", "error", *form, "-i", "-", "-af", told, "-f", "null", "/dev/null"],
        input=samples.T.tobytes(), capture_output=True, check=True,
    )  # fmt: skip
    return float(found.stdout.decode().split("lavfi.r128.I=")[-1])


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
