"""Where the knob stands, by hand."""

import numpy as np
import pytest

from presolder.models.audio.knob import KnobPath, dials_of_steps

# At 10 samples a second: down 6 in a second, up 4 in two, a rest, and a jerk within a sample.
PATH = KnobPath((0.0, 1.0, 3.0, 4.0, 4.05), (10.0, 4.0, 8.0, 8.0, 2.0))


def by_hand(time_s: float) -> float:
    if time_s < 1:
        return 10 - 6 * max(time_s, 0)
    if time_s < 3:
        return 4 + 2 * (time_s - 1)
    return 8.0 if time_s < 4 else max(8 - 120 * (time_s - 4), 2.0)


@pytest.mark.parametrize("first", [0, 1, 9, 11, 12, 29, 31, 35, 39, 41, 60])
@pytest.mark.parametrize("count", [0, 1, 5, 18, 60])
def test_dials_in_the_middle_of_steps(first: int, count: int) -> None:
    """A step that ends on sample k has its middle half a sample before: within any stretch."""
    found = dials_of_steps(PATH, first, count, 10.0)
    wanted = [by_hand((first - 0.5 + k) / 10) for k in range(count)]
    assert found.shape == (count,)
    assert found == pytest.approx(np.array(wanted), abs=1e-9)
