"""Blocks made in a thread: all of them, in order, and an error where it belongs."""

from collections.abc import Iterator

import pytest

from presolder.models.audio.ahead import ahead
from presolder.models.errors import InputError


def test_all_blocks_in_order() -> None:
    assert list(ahead(iter(range(50)))) == list(range(50))
    assert list(ahead(iter(()))) == []


def test_an_error_comes_where_its_block_would_have() -> None:
    def blocks() -> Iterator[int]:
        yield from (1, 2)
        raise InputError("no solution")

    found = []
    with pytest.raises(InputError, match="no solution"):
        for block in ahead(blocks()):
            found.append(block)
    assert found == [1, 2]
