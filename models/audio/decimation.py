"""From several steps a sample back to the audio rate."""

from collections.abc import Iterable, Iterator

import numpy as np

from presolder.models.audio.emf import BAND_LIMIT_REACH, band_limit
from presolder.models.audio.overlap import windowed
from presolder.models.typing import Array

_WINDOW = 1 << 13


def decimated(blocks: Iterable[Array], factor: int, sample_rate_hz: float) -> Iterator[Array]:
    """Stream audio of `factor` steps a sample down to the samples.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n * factor)
        The last step of each sample is the sample's own instant.
    factor : int
    sample_rate_hz : float
        Of the result.

    Yields
    ------
    ndarray, shape (channels, n)
        Sample-aligned, without delay.
    """
    bins = np.linspace(0.0, 0.5 * sample_rate_hz, _WINDOW // 2 + 1)
    later_s = (factor - 1) / (factor * sample_rate_hz)
    low_pass = band_limit(bins, sample_rate_hz) * np.exp(2j * np.pi * bins * later_s) / factor
    margin = BAND_LIMIT_REACH * factor
    for window, count in windowed(blocks, _WINDOW * factor, margin, margin):
        spectrum = np.fft.rfft(window)[:, : bins.size] * low_pass
        kept = slice(BAND_LIMIT_REACH, BAND_LIMIT_REACH + count // factor)
        yield np.fft.irfft(spectrum, _WINDOW)[:, kept].copy()
