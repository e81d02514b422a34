"""Second-order sections over a stream of multichannel blocks."""

from collections.abc import Callable, Iterable, Iterator
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.core import filter_sections
from presolder.models.typing import Array


def through_sections(blocks: Iterable[Array], sections: Array) -> Iterator[Array]:
    """Filter a stream, carrying the filters' memory from block to block.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The stream in order.
    sections : ndarray, shape (k, 6)
        Coefficients b0, b1, b2, 1, a1, a2 of each section.

    Yields
    ------
    ndarray, shape (channels, n)
        New arrays.
    """
    channels: list[Callable[[Array, Array], None]] = []
    for block in blocks:
        channels = channels or [running_sections(sections) for _ in block]
        result = np.empty_like(block)
        for run, channel, into in zip(channels, block, result, strict=True):
            run(np.ascontiguousarray(channel), into)
        yield result


def running_sections(sections: Array) -> Callable[[Array, Array], None]:
    """What filters one channel block after block, into an array of the block's shape."""
    return partial(filter_sections, sections, np.zeros((len(sections), 2)))


def power_of_sections(sections: Array, frequency_hz: ArrayLike, sample_rate_hz: float) -> Array:
    """Power gain of second-order sections in series, same shape as the frequencies."""
    back = np.exp(-2j * np.pi * np.asarray(frequency_hz) / sample_rate_hz)
    gain = np.ones_like(back)
    for b0, b1, b2, a0, a1, a2 in sections:
        gain *= (b0 + back * (b1 + back * b2)) / (a0 + back * (a1 + back * a2))
    return np.asarray(np.square(np.abs(gain)), dtype=np.float64)
