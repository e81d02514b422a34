"""The small charts and the sentences on the cards of the page."""

import re
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ears import ear_of
from presolder.models.instrument.expression import parse_expression
from presolder.models.judging.merit import merit
from presolder.render.files.rig_file import find_rig
from presolder.render.listening.page import chart, sentence


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


def test_the_chart_has_its_points_over_their_numbers() -> None:
    """And keeps within its frame what is louder or softer than it reaches."""
    dial = np.array([2.0, 4.0, 8.0])
    change = SimpleNamespace(
        brighter_db=np.array([99.0, 0.0, 0.0]), duller_db=np.array([0.0, 0.0, 99.0])
    )
    figure: Any = SimpleNamespace(dial=dial, phon=np.array([0.0, 60.0, 200.0]), change=change)
    svg = chart(figure, 60.0, "a")
    width, height = (float(x) for x in svg.split('viewBox="0 0 ')[1].split('"')[0].split())
    ticks = {text: float(x) for x, text in re.findall(r'<text x="(\S+)"[^>]*>(\d+)</text>', svg)}
    assert list(ticks) == ["0", "2", "4", "6", "8"]
    for line in re.findall(r'points="([^"]+)"', svg):
        points = [tuple(map(float, point.split(","))) for point in line.split()]
        assert [x for x, _ in points] == [ticks["2"], ticks["4"], ticks["8"]]
        assert all(0 <= x <= width and 0 <= y <= height - 18 for x, y in points)
    steps = np.diff(list(ticks.values()))
    assert np.ptp(steps) < 0.11 and width / 6 < steps[0] < width / 5


def test_the_sentence_of_a_design() -> None:
    """A resistor across the lugs is louder than an ideal knob; one that spoils the knob says so."""
    ear = ear_of(find_rig("humbucker-500k"))
    across = merit(ear, parse_expression("220k || 470p"))
    by_hand = float(across.taper_shift_phon @ across.heard)
    assert by_hand > 1.0
    assert f", {by_hand:.0f} phon louder than an ideal knob leaves it; it is " in sentence(across)
    assert f"{across.louder_at_one_phon:.0f} phon louder at 1 than the bare pot." in sentence(
        across
    )
    plain = replace(across, spoilt=())
    turned = replace(plain, taper_shift_phon=-across.taper_shift_phon)
    assert sentence(turned).endswith(f", {by_hand:.0f} phon softer than an ideal knob leaves it.")
    level = replace(plain, taper_shift_phon=0.0 * across.taper_shift_phon)
    assert sentence(level).endswith(", as loud as an ideal knob leaves it.")
    assert sentence(merit(ear, None)).startswith("With the knob at ")
