"""Third-octave band levels of recordings, and what a chain does to them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from presolder.models.decibels import power, power_decibels
from presolder.models.errors import InputError
from presolder.models.typing import Array

# Exact centre frequencies of IEC 61260-1, base ten: 1 kHz times 10^(k/10).
BAND_HZ = 1000.0 * 10.0 ** (np.arange(-8, 9) / 10.0)
_EDGE = 10.0 ** (1.0 / 20.0)
_SEGMENT_SECONDS = 0.25
# Bands this far below a take's strongest one are noise as likely as not.
_QUIETEST_DB = 60.0


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Power of one take in its bands and in the lines that they are made of.

    Attributes
    ----------
    line_hz, line_power : ndarray, shape (n,)
        The lines inside any band.
    line_band : ndarray of int, shape (n,)
        The band that each line is in.
    band_db : ndarray, shape (b,)
        Level of each band of `BAND_HZ`.
    """

    line_hz: Array
    line_power: Array
    line_band: NDArray[np.intp]
    band_db: Array


def spectrum(samples: Array, sample_rate_hz: float) -> Spectrum:
    """Mean power spectrum of a take.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        At least a second.
    sample_rate_hz : float

    Returns
    -------
    Spectrum

    Raises
    ------
    InputError
        If the take is too short, or silent in a band that others would need.

    Notes
    -----
    Overlapping Hann windows (Welch, IEEE Trans. Audio Electroacoust. 15, 1967).
    """
    size = int(_SEGMENT_SECONDS * sample_rate_hz)
    if samples.size < 4 * size:
        raise InputError(f"only {samples.size / sample_rate_hz:.2f} s long; at least 1 s is needed")
    window = np.hanning(size)
    starts = np.arange(0, samples.size - size + 1, size // 2)
    power = np.zeros(size // 2 + 1)
    for start in starts:
        power += np.square(np.abs(np.fft.rfft(window * samples[start : start + size])))
    hz = np.asarray(np.fft.rfftfreq(size, 1.0 / sample_rate_hz), dtype=np.float64)
    edges = np.append(BAND_HZ / _EDGE, BAND_HZ[-1] * _EDGE)
    band = np.searchsorted(edges, hz, side="right") - 1
    inside = (band >= 0) & (band < BAND_HZ.size)
    sums = np.bincount(band[inside], power[inside], BAND_HZ.size)
    if not np.any(sums > 0):
        raise InputError("is silent")
    # Power per sample, so that takes of unequal rates compare.
    levels = power_decibels(sums / starts.size / np.square(window.sum()))
    return Spectrum(hz[inside], power[inside], band[inside], levels)


def usable(spectra: list[Spectrum]) -> NDArray[np.bool_]:
    """Bands that stand out of the noise in every take, shape (b,)."""
    levels = np.array([one.band_db for one in spectra])
    return np.asarray(np.all(levels > levels.max(axis=1, keepdims=True) - _QUIETEST_DB, axis=0))


def band_weights(reference: Spectrum, frequency_hz: Array) -> Array:
    """How a take's bands are made up: the share of each frequency in each band.

    Parameters
    ----------
    reference : Spectrum
        The take before a change of response.
    frequency_hz : ndarray, shape (f,)
        Rising; those at which the change is known. Between them power is
        interpolated.

    Returns
    -------
    ndarray, shape (f, b)
        What a change of power at these frequencies is multiplied by, to give
        the change of power of each band; NaN in bands that are empty.
    """
    lines = np.log(reference.line_hz)
    grid = np.log(frequency_hz)
    right = np.clip(np.searchsorted(grid, lines), 1, grid.size - 1)
    share = np.clip((lines - grid[right - 1]) / (grid[right] - grid[right - 1]), 0.0, 1.0)
    weights = np.zeros((grid.size, BAND_HZ.size))
    np.add.at(weights, (right - 1, reference.line_band), (1.0 - share) * reference.line_power)
    np.add.at(weights, (right, reference.line_band), share * reference.line_power)
    with np.errstate(invalid="ignore"):
        return np.asarray(weights / weights.sum(axis=0))


def band_gain_db(reference: Spectrum, frequency_hz: Array, ratio_db: Array) -> Array:
    """What a change of response does to each band of a take.

    Parameters
    ----------
    reference : Spectrum
        The take before the change.
    frequency_hz : ndarray, shape (f,)
        Rising.
    ratio_db : ndarray, shape (d, f)
        Response after over response before.

    Returns
    -------
    ndarray, shape (d, b)
    """
    return power_decibels(power(ratio_db) @ band_weights(reference, frequency_hz))
