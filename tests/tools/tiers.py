"""Which of many like cases are played through each time."""

from collections.abc import Callable, Iterable
from typing import Any

import pytest


def some(cases: Iterable[Any], kept: Callable[[Any], bool]) -> list[Any]:
    """All of the cases, those that are not kept with ``-m thorough`` only."""
    return [
        case if kept(case) else pytest.param(*(case if isinstance(case, tuple) else (case,)),
                                             marks=pytest.mark.thorough)
        for case in cases
    ]  # fmt: skip
