"""The ends of a sound, which come in and go out within a hundredth of a second at any level."""

from collections.abc import Iterable, Iterator

import numpy as np

from presolder.models.typing import Array

FADE_SECONDS = 0.01


def faded(blocks: Iterable[Array], sample_count: int, sample_rate_hz: float) -> Iterator[Array]:
    """Fade a stream in and out, wherever its knob stands.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        So many samples in all.
    sample_count : int
    sample_rate_hz : float

    Yields
    ------
    ndarray, shape (channels, n)
        Its own where something is changed.
    """
    fade = min(round(FADE_SECONDS * sample_rate_hz), sample_count // 2)
    first = 0
    for block in blocks:
        last = first + block.shape[1]
        if first < fade or last > sample_count - fade:
            shaped = block.copy()
            # Both ends may lie in one block.
            for start, stop in ((first, min(last, fade)), (max(first, sample_count - fade), last)):
                place = np.arange(start, stop) + 0.5
                nearest = np.minimum(place, sample_count - place) / max(fade, 1)
                # The half of a raised cosine.
                gain = np.square(np.sin(0.5 * np.pi * np.clip(nearest, 0.0, 1.0)))
                shaped[:, start - first : max(start, stop) - first] *= gain
            yield shaped
        else:
            yield block
        first = last
