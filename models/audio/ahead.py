"""Blocks of audio made in a thread of their own while the one before is used."""

from collections.abc import Iterator
from typing import TypeVar

T = TypeVar("T")


def ahead(blocks: Iterator[T]) -> Iterator[T]:
    """Make the next block while this one is used; what comes out is the same.

    Worth it where both sides compute without the interpreter's lock, as
    compiled loops and Fourier transforms do.

    Parameters
    ----------
    blocks : iterator
        Used from one other thread only.

    Yields
    ------
    object
        The blocks in their order; an error arises where its block would have come.
    """
    # Here, so that only circuits wait for the library.
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415

    with ThreadPoolExecutor(1) as maker:
        coming = maker.submit(next, blocks, None)
        while (block := coming.result()) is not None:
            coming = maker.submit(next, blocks, None)
            yield block
