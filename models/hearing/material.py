"""What is played: the spectrum of a take, and how much its loudest second stands out."""

from dataclasses import dataclass

import numpy as np

from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINE_EDGES_HZ
from presolder.models.typing import Array

_WINDOW_SECONDS = 0.2
_SILENT_SHARE = 1e-4


@dataclass(frozen=True, eq=False)
class Material:
    """A take as ears need it.

    Attributes
    ----------
    name : str
        For people.
    line_power : ndarray, shape (112,)
        Mean power at `LINES_HZ` while something sounds; any scale.
    crest_db : float
        Power of its loudest second over that mean.
    """

    name: str
    line_power: Array
    crest_db: float


def material(samples: Array, sample_rate_hz: float, name: str) -> Material:
    """Analyse a take.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)
        Channels are averaged by power.
    sample_rate_hz : float
    name : str

    Returns
    -------
    Material

    Raises
    ------
    InputError
        If it is silent.

    Notes
    -----
    Overlapping Hann windows (Welch, IEEE Trans. Audio Electroacoust. 15, 1967),
    without those 40 dB below the strongest. Each line has the power between
    its edges; below the windows' resolution it is shared out evenly.
    """
    size = round(_WINDOW_SECONDS * sample_rate_hz)
    hop = size // 2
    padded = np.pad(samples, ((0, 0), (0, max(0, size - samples.shape[1]))))
    frames = np.lib.stride_tricks.sliding_window_view(padded, size, axis=1)[:, ::hop]
    spectra = np.square(np.abs(np.fft.rfft(frames * np.hanning(size), axis=-1))).mean(axis=0)
    powers = spectra.sum(axis=-1)
    if not powers.max() > 0:
        raise InputError(f"{name}: silent")
    sounding = spectra[powers > _SILENT_SHARE * powers.max()]
    cumulative = np.concatenate([[0.0], np.cumsum(sounding.mean(axis=0))])
    # A line of the transform stands for the frequencies half a step to either side.
    edges_hz = (np.arange(cumulative.size) - 0.5) * sample_rate_hz / size
    line_power = np.diff(np.interp(LINE_EDGES_HZ, edges_hz, cumulative))
    second = np.convolve(powers, np.ones(min(powers.size, round(2 / _WINDOW_SECONDS))), "valid")
    loudest = second.max() / min(powers.size, round(2 / _WINDOW_SECONDS))
    mean = powers[powers > _SILENT_SHARE * powers.max()].mean()
    return Material(name, line_power, float(10.0 * np.log10(loudest / mean)))
