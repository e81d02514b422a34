"""The monotone cubic against scipy's."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from presolder.models.cubic import monotone_cubic

VALUES = st.lists(st.floats(-1e3, 1e3).map(lambda v: round(v, 3)), min_size=2, max_size=12)


@given(VALUES, st.integers(0, 2**32 - 1))
def test_through_any_points(values: list[float], seed: int) -> None:
    """Rising, falling, flat and turning; unevenly spaced; at the points and beyond them."""
    random = np.random.default_rng(seed)
    x = np.cumsum(random.uniform(0.01, 2.0, len(values)))
    y = np.array(values)
    at = np.concatenate([x, random.uniform(x[0] - 1, x[-1] + 1, 50)])
    true = PchipInterpolator(x, y)(at)
    assert monotone_cubic(x, y, at) == pytest.approx(true, rel=1e-9, abs=1e-7)


def test_rises_where_its_points_do() -> None:
    x, y = np.array([0.0, 1.0, 2.0, 5.0, 5.5]), np.array([0.0, 0.1, 0.9, 0.91, 1.0])
    assert np.all(np.diff(monotone_cubic(x, y, np.linspace(0, 5.5, 500))) >= 0)
