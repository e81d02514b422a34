"""How each design cleans up: distortion of tones and of playing as the knob comes down."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.audio.static_curves import driven_volts, first_order_gain, static_curve
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import amplitude, decibels
from presolder.models.instrument.dirt import Curve, Dirt, DirtKind
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import balance
from presolder.models.typing import Array, ComplexArray

REFERENCE_HZ = 330.0
# A low string, the reference and a high note; as usual, and softly.
TONES_HZ = (110.0, 330.0, 880.0)
TOUCHES_DB = (0.0, -12.0)
# Of a period; fewer where the reference tone stands beside.
_POINTS, _FEWER_POINTS = 4096, 1024


@dataclass(frozen=True, eq=False)
class Cleanup:
    """One design's figures over the dial, each of shape (dials,).

    Attributes
    ----------
    dial : ndarray
        Positions.
    thd : ndarray
        Total harmonic distortion of the reference tone, a ratio.
    level_db : ndarray
        RMS of the tone after the stage, re 1 V.
    treble_db : ndarray
        Treble of what reaches the stage: mean gain over 2-4 kHz less that at 500 Hz.
    tones_thd : ndarray, shape (touches, tones, dials)
        Distortion of `TONES_HZ` at `TOUCHES_DB`; of a circuit at the first of these.
    """

    dial: Array
    thd: Array
    level_db: Array
    treble_db: Array
    tones_thd: Array


def total_harmonic_distortion(harmonics: ArrayLike) -> Array:
    """RMS of the harmonics from the second up, over RMS of all from the first.

    Parameters
    ----------
    harmonics : array_like, shape (..., n)
        Amplitudes of the first n harmonics.

    Returns
    -------
    ndarray, shape (...)

    Notes
    -----
    IEC 60268-3, total harmonic distortion: referred to the total output.
    """
    power = np.square(np.abs(np.asarray(harmonics)))
    return np.asarray(np.sqrt(power[..., 1:].sum(axis=-1) / power.sum(axis=-1)), dtype=np.float64)


def tone_harmonics(
    kind: DirtKind | Curve, peak_volts: ArrayLike, points: int = _POINTS
) -> ComplexArray:
    """Harmonic amplitudes of a clipped sine.

    Parameters
    ----------
    kind : str
        The stage's curve.
    peak_volts : array_like, shape (n,)
        Peak of the sine at the curve.
    points : int
        A period, of which a quarter's harmonics are told.

    Returns
    -------
    ndarray of complex, shape (n, points / 4 - 1)
        Peak amplitudes of harmonics 1 and up.
    """
    peak = np.asarray(peak_volts, dtype=np.float64)[..., np.newaxis]
    sine = np.sin(2 * np.pi * np.arange(points) / points)
    spectrum = np.fft.rfft(static_curve(kind, peak * sine)) * (2.0 / points)
    return np.asarray(spectrum[..., 1 : points // 4], dtype=np.complex128)


def clean_up(
    rig: Rig,
    network: Network | None,
    dirt: Dirt,
    dial: Array,
    frequency_hz: float = REFERENCE_HZ,
) -> Cleanup:
    """Distortion, level and treble balance of tones over the dial, through a curve.

    Parameters
    ----------
    rig : Rig
        The instrument; the stage's input replaces its load.
    network : Network or None
        The bypass.
    dirt : Dirt
        The stage. The tone is as strong as takes the stage ``drive_db`` past
        its knee at dial 10.
    dial : ndarray, shape (d,)
        Positions.
    frequency_hz : float
        The reference tone.

    Returns
    -------
    Cleanup
    """
    descriptor = chain_equations(rig.feeding(dirt.load), network)

    def harmonics(tone_hz: float, touch_db: float, points: int) -> ComplexArray:
        gain = transfer(descriptor, tone_hz, np.concatenate([[10.0], dial]))[:, 0]
        peak = driven_volts(dirt) * amplitude(touch_db) * np.abs(gain[1:] / gain[0])
        _, after = first_order_gain(dirt, tone_hz * np.arange(1, points // 4))
        return np.asarray(tone_harmonics(dirt.kind, peak, points) * after)

    tone = harmonics(frequency_hz, 0.0, _POINTS)
    power = 0.5 * np.square(np.abs(tone)).sum(axis=-1)
    _, treble_db = balance(descriptor, dial)
    level_db = 0.5 * decibels(power) + dirt.level_db
    others = [
        [_thd(harmonics(hz, touch, _FEWER_POINTS)) for hz in TONES_HZ] for touch in TOUCHES_DB
    ]
    return Cleanup(dial, _thd(tone), level_db, treble_db, np.array(others))


def _thd(harmonics: ComplexArray) -> Array:
    """Distortion, 0 where all is silent."""
    with np.errstate(invalid="ignore"):
        return np.nan_to_num(total_harmonic_distortion(harmonics))


def falls_through(dial: Array, distortion: Array, threshold: float) -> float | None:
    """Dial at which distortion falls through a threshold as the knob comes down.

    Parameters
    ----------
    dial, distortion : ndarray, shape (d,)
        Dials rising; distortion as a ratio.
    threshold : float

    Returns
    -------
    float or None
        Interpolated between the dials given; the highest given dial if all is
        clean there already, None if it never gets clean.
    """
    dirty = np.flatnonzero(distortion > threshold)
    if dirty.size == 0:
        return float(dial[-1])
    below = int(dirty[0])
    if below == 0:
        return None
    low_thd, high_thd = np.log(np.maximum(distortion[below - 1 : below + 1], 1e-12))
    share = (np.log(threshold) - low_thd) / (high_thd - low_thd)
    low, high = dial[below - 1 : below + 1]
    return float(low + share * (high - low))


def clean_dial(figures: Cleanup, threshold: float) -> float | None:
    """`falls_through` of the reference tone."""
    return falls_through(figures.dial, figures.thd, threshold)
