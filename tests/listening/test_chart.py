"""The small charts on the cards of the page."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from presolder.render.listening.page import chart


def test_the_chart_of_a_design_lies_where_it_says() -> None:
    """As loud as at 10 and as bright is the zero line; louder is higher up."""
    dial = np.array([2.0, 5.0, 8.0])

    def drawn(phon: float, brighter: float) -> tuple[list[float], float]:
        change = SimpleNamespace(brighter_db=np.full(3, brighter), duller_db=np.zeros(3))
        figure: Any = SimpleNamespace(dial=dial, phon=np.full(3, phon), change=change)
        svg = chart(figure, 60.0, "a")
        lines = [part.split('"')[0] for part in svg.split('points="')[1:]]
        heights = [[float(point.split(",")[1]) for point in line.split()] for line in lines]
        assert all(len(set(line)) == 1 for line in heights)
        return [line[0] for line in heights], float(svg.split('y1="')[1].split('"')[0])

    (loudness, treble), zero = drawn(60.0, 0.0)
    assert loudness == treble == zero
    (loudness, treble), _ = drawn(50.0, 3.0)
    assert loudness > zero > treble
    # Ten phon and three decibels by one scale.
    assert (loudness - zero) / (zero - treble) == pytest.approx(10 / 3, rel=0.02)
