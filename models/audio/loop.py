"""Make a take last as long as the knob moves: cut it, or loop it with a crossfade."""

from collections.abc import Iterator

import numpy as np

from presolder.models.typing import Array

CROSSFADE_SECONDS = 0.05
SHORTEST_RESTART_SECONDS = 1.0


def fitted_blocks(
    samples: Array, sample_count: int, sample_rate_hz: float, block: int = 1 << 16
) -> Iterator[Array]:
    """Stream a take cut or looped to a length.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)
        The take.
    sample_count : int
        Samples wanted.
    sample_rate_hz : float
        Sample rate.
    block : int
        Longest block to yield.

    Yields
    ------
    ndarray, shape (channels, up to block)
        `sample_count` samples in all. Until the first seam they are the take's
        own samples.

    Notes
    -----
    The seam is an equal-power crossfade of 50 ms (or a quarter of a very short
    take), since the end and the start of a take are unrelated signals. Rather
    than to begin anew for less than a second, it ends, and silence follows.
    """
    length = samples.shape[1]
    if sample_count <= length:
        for first in range(0, sample_count, block):
            yield samples[:, first : min(first + block, sample_count)]
        return
    fade = _seam(length, sample_rate_hz)
    angle = (np.arange(fade) + 0.5) / max(fade, 1) * (np.pi / 2)
    tail = samples[:, length - fade :]
    seam = tail * np.cos(angle) + samples[:, :fade] * np.sin(angle)
    cycle, sounding = length - fade, sounding_count(length, sample_count, sample_rate_hz)
    # Where it is not begun again, it ends as it does, within the seam's time.
    ending = tail * np.square(np.cos(angle))
    for first in range(0, sample_count, block):
        index = np.arange(first, min(first + block, sample_count))
        within = index % cycle
        looped = samples.take(within, axis=1)
        seams = (within < fade) & (index >= cycle)
        looped[:, seams] = seam[:, within[seams]]
        if index[-1] >= sounding - fade and sounding < sample_count:
            last = index >= sounding - fade
            place = np.minimum(index[last] - (sounding - fade), fade)
            padded = np.concatenate([ending, np.zeros((ending.shape[0], 1))], axis=1)
            looped[:, last] = padded[:, place]
        yield looped


def sounding_count(length: int, sample_count: int, sample_rate_hz: float) -> int:
    """How many of the samples wanted sound; the rest is silence.

    A take that would begin anew for less than a second does not.

    Parameters
    ----------
    length, sample_count : int
        Of the take, and wanted.
    sample_rate_hz : float
    """
    if sample_count <= length or length < SHORTEST_RESTART_SECONDS * sample_rate_hz:
        return sample_count
    cycle = length - _seam(length, sample_rate_hz)
    begun = sample_count - (sample_count - 1) // cycle * cycle
    if begun >= SHORTEST_RESTART_SECONDS * sample_rate_hz:
        return sample_count
    return min(sample_count, sample_count - begun + length - cycle)


def _seam(length: int, sample_rate_hz: float) -> int:
    """Samples of the crossfade from a take's end to its beginning."""
    return min(round(CROSSFADE_SECONDS * sample_rate_hz), length // 4)
