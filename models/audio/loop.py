"""Make a take last as long as the knob moves: cut it, or loop it with a crossfade."""

from collections.abc import Iterator

import numpy as np

from presolder.models.typing import Array

CROSSFADE_SECONDS = 0.05


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
    take), since the end and the start of a take are unrelated signals.
    """
    length = samples.shape[1]
    if sample_count <= length:
        for first in range(0, sample_count, block):
            yield samples[:, first : min(first + block, sample_count)]
        return
    fade = min(round(CROSSFADE_SECONDS * sample_rate_hz), length // 4)
    angle = (np.arange(fade) + 0.5) / max(fade, 1) * (np.pi / 2)
    seam = samples[:, length - fade :] * np.cos(angle) + samples[:, :fade] * np.sin(angle)
    cycle = length - fade
    for first in range(0, sample_count, block):
        index = np.arange(first, min(first + block, sample_count))
        within = index % cycle
        looped = samples.take(within, axis=1)
        seams = (within < fade) & (index >= cycle)
        looped[:, seams] = seam[:, within[seams]]
        yield looped
