"""How each design cleans up: distortion of a tone as the knob comes down."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.audio.curves import driven_volts, first_order_gain, static_curve
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.dirt import Dirt, DirtKind
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import balance
from presolder.models.typing import Array, ComplexArray

REFERENCE_HZ = 330.0
_POINTS = 4096


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
    """

    dial: Array
    thd: Array
    level_db: Array
    treble_db: Array


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


def tone_harmonics(kind: DirtKind, peak_volts: ArrayLike) -> ComplexArray:
    """Harmonic amplitudes of a clipped sine, from the second of many points a period.

    Parameters
    ----------
    kind : str
        The stage's curve.
    peak_volts : array_like, shape (n,)
        Peak of the sine at the curve.

    Returns
    -------
    ndarray of complex, shape (n, 1023)
        Peak amplitudes of harmonics 1 and up.
    """
    peak = np.asarray(peak_volts, dtype=np.float64)[..., np.newaxis]
    sine = np.sin(2 * np.pi * np.arange(_POINTS) / _POINTS)
    spectrum = np.fft.rfft(static_curve(kind, peak * sine)) * (2.0 / _POINTS)
    return np.asarray(spectrum[..., 1 : _POINTS // 4], dtype=np.complex128)


def clean_up(
    rig: Rig,
    network: Network | None,
    dirt: Dirt,
    dial: Array,
    frequency_hz: float = REFERENCE_HZ,
) -> Cleanup:
    """Distortion, level and treble balance of a reference tone over the dial.

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
        The tone.

    Returns
    -------
    Cleanup
    """
    descriptor = chain_equations(rig.feeding(dirt.load), network)
    gain = transfer(descriptor, frequency_hz, np.concatenate([[10.0], dial]))[:, 0]
    _, after = first_order_gain(dirt, frequency_hz * np.arange(1, _POINTS // 4))
    harmonics = tone_harmonics(dirt.kind, driven_volts(dirt) * np.abs(gain[1:] / gain[0])) * after
    power = 0.5 * np.square(np.abs(harmonics)).sum(axis=-1)
    with np.errstate(invalid="ignore"):
        thd = np.nan_to_num(total_harmonic_distortion(harmonics))
    _, treble_db = balance(descriptor, dial)
    level_db = 0.5 * decibels(power) + dirt.level_db
    return Cleanup(dial, thd, level_db, treble_db)


def clean_dial(figures: Cleanup, threshold: float) -> float | None:
    """Dial at which distortion falls through a threshold as the knob comes down.

    Parameters
    ----------
    figures : Cleanup
        With rising dials.
    threshold : float
        Distortion as a ratio.

    Returns
    -------
    float or None
        Interpolated between the dials given; the highest given dial if the
        tone is clean there already, None if it never gets clean.
    """
    dirty = np.flatnonzero(figures.thd > threshold)
    if dirty.size == 0:
        return float(figures.dial[-1])
    below = int(dirty[0])
    if below == 0:
        return None
    thd = np.log(np.maximum(figures.thd[below - 1 : below + 1], 1e-12))
    share = (np.log(threshold) - thd[0]) / (thd[1] - thd[0])
    low, high = figures.dial[below - 1 : below + 1]
    return float(low + share * (high - low))
