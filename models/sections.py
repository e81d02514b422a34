"""Second-order sections over a stream of multichannel blocks."""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray


def through_sections(
    blocks: Iterable[NDArray[np.float64]], sections: NDArray[np.float64]
) -> Iterator[NDArray[np.float64]]:
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
    # Half a second to import, which only rendering should pay.
    from presolder.models.kernels import filter_sections

    memory: list[NDArray[np.float64]] = []
    for block in blocks:
        memory = memory or [np.zeros((len(sections), 2)) for _ in block]
        result = np.empty_like(block)
        for channel, channel_memory, into in zip(block, memory, result, strict=True):
            filter_sections(sections, channel_memory, np.ascontiguousarray(channel), into)
        yield result
