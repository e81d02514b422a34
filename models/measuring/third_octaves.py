"""Third-octave band levels of recordings, and what a chain does to them."""

from dataclasses import dataclass

import numpy as np
import scipy
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
# Noise is looked for in so many of a take's windows, the quietest, band by band; a band that is
# more than half of it tells nothing. How well it is known: common practice, no source.
_QUIET_SHARE, _MOST_NOISE, _NOISE_KNOWN = 0.1, 0.5, 0.35
# A Hann window's lines are so many to a number of its own (Harris, Proc. IEEE 66, 1978).
_LINES_A_NUMBER = 1.5


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
    noise_share : ndarray, shape (b,)
        How much of its power is noise, as far as its quietest moments tell.
    """

    line_hz: Array
    line_power: Array
    line_band: NDArray[np.intp]
    band_db: Array
    noise_share: Array

    @property
    def signal_db(self) -> Array:
        """Level of each band without its noise; NaN where it does not stand out of it."""
        told = self.noise_share <= _MOST_NOISE
        told &= self.band_db > self.band_db.max() - _QUIETEST_DB
        return np.where(told, self.band_db + power_decibels(1.0 - self.noise_share * told), np.nan)

    @property
    def noise_db(self) -> Array:
        """How uncertain noise makes that level, as a standard deviation in dB."""
        share = np.minimum(self.noise_share, _MOST_NOISE)
        return np.asarray(10.0 / np.log(10.0) * _NOISE_KNOWN * share / (1.0 - share))


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
    Of steady noise the quietest tenth of the windows has less than the mean, by
    what the chi-squared distribution of a band's power says.
    """
    size = int(_SEGMENT_SECONDS * sample_rate_hz)
    if samples.size < 4 * size:
        raise InputError(f"only {samples.size / sample_rate_hz:.2f} s long; at least 1 s is needed")
    window = np.hanning(size)
    starts = np.arange(0, samples.size - size + 1, size // 2)
    hz = np.asarray(np.fft.rfftfreq(size, 1.0 / sample_rate_hz), dtype=np.float64)
    edges = np.append(BAND_HZ / _EDGE, BAND_HZ[-1] * _EDGE)
    band = np.searchsorted(edges, hz, side="right") - 1
    inside = (band >= 0) & (band < BAND_HZ.size)
    power, each = np.zeros(int(inside.sum())), np.zeros((starts.size, BAND_HZ.size))
    for i, start in enumerate(starts):
        lines = np.square(np.abs(np.fft.rfft(window * samples[start : start + size])[inside]))
        power += lines
        each[i] = np.bincount(band[inside], lines, BAND_HZ.size)
    sums = each.sum(axis=0)
    if not np.any(sums > 0):
        raise InputError("is silent")
    # Power per sample, so that takes of unequal rates compare.
    levels = power_decibels(sums / starts.size / np.square(window.sum()))
    count = np.bincount(band[inside], minlength=BAND_HZ.size)
    return Spectrum(hz[inside], power, band[inside], levels, _noise_share(each, count))


def _noise_share(each: Array, lines: NDArray[np.intp]) -> Array:
    """The share of noise in bands of so many lines, by their power in each window, (n, b)."""
    quiet = max(2, int(_QUIET_SHARE * len(each)))
    least = np.sort(each, axis=0)[:quiet].mean(axis=0)
    freedom = 2.0 * np.maximum(lines / _LINES_A_NUMBER, 1.0)
    share = quiet / len(each)
    below = chi_squared_at(share, freedom)
    # The mean of a chi-squared below a quantile, over the whole mean.
    expected = scipy.special.chdtr(freedom + 2.0, below) / share
    mean = np.maximum(each.mean(axis=0), np.finfo(float).tiny)
    return np.asarray(np.minimum(least / expected / mean, 1.0))


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


def chi_squared_at(probability: float, freedom: float | Array) -> Array:
    """Below which a sum of so many squared normal numbers lies with this probability."""
    # As scipy.stats has it, which takes a second to load.
    return np.asarray(2.0 * scipy.special.gammaincinv(0.5 * np.asarray(freedom), probability))
