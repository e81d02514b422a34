"""What is played: the spectrum of a take, and how much its loudest second stands out."""

from dataclasses import dataclass

import numpy as np

from presolder.models.decibels import power_decibels
from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINE_EDGES_HZ
from presolder.models.typing import Array

_WINDOW_SECONDS = 0.2
_SILENT_SHARE = 1e-4
# Before the loudest second, so that what is played through has begun.
_LEAD_SECONDS = 0.25
# Analysed at a time, so that an hour's take needs no more memory than a minute's.
_FRAMES = 8


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
    excerpt : ndarray, shape (n,)
        Its loudest second, of the louder channel, and what comes just before.
    sample_rate_hz : float
    of_string : bool
        Whether it is a pickup's raw EMF, however the rig's own takes are made.
    """

    name: str
    line_power: Array
    crest_db: float
    excerpt: Array
    sample_rate_hz: float
    of_string: bool = False


def material(
    samples: Array, sample_rate_hz: float, name: str, *, of_string: bool = False
) -> Material:
    """Analyse a take.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)
        Channels are averaged by power.
    sample_rate_hz : float
    name : str
    of_string : bool
        As in `Material`.

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
    if samples.shape[1] < size:
        samples = np.pad(samples, ((0, 0), (0, size - samples.shape[1])))
    frames = np.lib.stride_tricks.sliding_window_view(samples, size, axis=1)[:, :: size // 2]
    window = np.hanning(size)
    analysed = [
        _analysed(frames[:, first : first + _FRAMES], window, sample_rate_hz)
        for first in range(0, frames.shape[1], _FRAMES)
    ]
    powers, lines = (np.concatenate([pair[i] for pair in analysed]) for i in (0, 1))
    if not powers.max() > 0:
        raise InputError(f"{name}: silent")
    sounding = powers > _SILENT_SHARE * powers.max()
    second = min(powers.size, round(2 / _WINDOW_SECONDS))
    by_second = np.convolve(powers, np.ones(second), "valid") / second
    crest_db = float(power_decibels(by_second.max() / powers[sounding].mean()))
    first = int(np.argmax(by_second)) * (size // 2)
    begin = max(0, first - round(_LEAD_SECONDS * sample_rate_hz))
    loudest = samples[:, begin : first + (second + 1) * (size // 2)]
    louder = int(np.argmax(np.square(loudest).sum(axis=1)))
    return Material(
        name, lines[sounding].mean(axis=0), crest_db, loudest[louder], sample_rate_hz, of_string
    )


def line_powers(samples: Array, sample_rate_hz: float) -> Array:
    """Mean power at `LINES_HZ`, shape (112,), of one channel; silent windows too."""
    size = min(round(_WINDOW_SECONDS * sample_rate_hz), samples.size)
    frames = np.lib.stride_tricks.sliding_window_view(samples, size)[np.newaxis, :: size // 2]
    _, lines = _analysed(frames, np.hanning(size), sample_rate_hz)
    return np.asarray(lines.mean(axis=0), dtype=np.float64)


def _analysed(frames: Array, window: Array, sample_rate_hz: float) -> tuple[Array, Array]:
    """Power of each frame of shape (channels, n, size), in all and at `LINES_HZ`."""
    size = frames.shape[-1]
    transforms = np.fft.rfft(frames * window, axis=-1)
    # Not by the absolute value, whose root takes as long as the transform.
    spectra = (np.square(transforms.real) + np.square(transforms.imag)).mean(axis=0)
    cumulative = np.zeros((len(spectra), spectra.shape[1] + 1))
    np.cumsum(spectra, axis=-1, out=cumulative[:, 1:])
    # A line of the transform stands for the frequencies half a step to either side.
    place = np.clip(LINE_EDGES_HZ * size / sample_rate_hz + 0.5, 0, cumulative.shape[1] - 1)
    below = np.minimum(place.astype(int), cumulative.shape[1] - 2)
    share = place - below
    at_edges = cumulative[:, below] * (1.0 - share) + cumulative[:, below + 1] * share
    return spectra.sum(axis=-1), np.diff(at_edges, axis=-1)
