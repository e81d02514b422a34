"""The path of the volume knob over time."""

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.errors import InputError
from presolder.models.instrument.controls import require_dial
from presolder.models.typing import Array

LONGEST_SECONDS = 3600.0
SHORTEST_SECONDS = 0.1


@dataclass(frozen=True)
class KnobPath:
    """Dial positions joined by straight lines.

    Attributes
    ----------
    times_s : tuple of float
        Rising, from 0.
    dials : tuple of float
        Dial position at each of them, 0-10.

    Raises
    ------
    InputError
        If times do not rise from 0, a dial is outside 0-10, or the path is
        shorter than 0.1 s or longer than an hour.
    """

    times_s: tuple[float, ...]
    dials: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.times_s) != len(self.dials) or len(self.times_s) < 2:
            raise InputError("a knob path needs at least two points of time_s,dial")
        if not np.all(np.isfinite(self.times_s)) or self.times_s[0] != 0:
            raise InputError(f"a knob path's times must start at 0, got {self.times_s[0]:g}")
        for earlier, later in zip(self.times_s, self.times_s[1:], strict=False):
            if later <= earlier:
                raise InputError(
                    f"a knob path's times must rise from point to point, got {later:g} s"
                    f" after {earlier:g} s"
                )
        for dial in self.dials:
            require_dial("dial", dial)
        if not SHORTEST_SECONDS <= self.times_s[-1] <= LONGEST_SECONDS:
            raise InputError(
                f"a knob path of {self.times_s[-1]:g} s is out of range; accepted:"
                f" {SHORTEST_SECONDS:g} to {LONGEST_SECONDS:g} s"
            )

    @property
    def duration_s(self) -> float:
        """Length of the path in seconds."""
        return self.times_s[-1]


def steady_turn(start: float, stop: float, travel_s: float, rest_s: float) -> KnobPath:
    """A turn at constant speed with a rest at both ends.

    Parameters
    ----------
    start, stop : float
        Dial positions.
    travel_s, rest_s : float
        Seconds turning, and seconds resting before and after.

    Raises
    ------
    InputError
        If a time is negative or not finite, or the path is not usable.
    """
    for name, seconds in (("travel", travel_s), ("rest", rest_s)):
        if not 0 <= seconds <= LONGEST_SECONDS:
            raise InputError(f"{name} = {seconds:g} s must lie between 0 and {LONGEST_SECONDS:g} s")
    points = [
        (0.0, start),
        (rest_s, start),
        (rest_s + travel_s, stop),
        (2 * rest_s + travel_s, stop),
    ]
    if travel_s == 0 and start != stop:
        raise InputError("travel = 0 s needs the same dial at both ends")
    distinct = [point for i, point in enumerate(points) if i == 0 or point[0] > points[i - 1][0]]
    if len(distinct) < 2:
        raise InputError("travel and rest are both 0 s, so there is nothing to hear")
    times, dials = zip(*distinct, strict=True)
    return KnobPath(times, dials)


def dial_at(path: KnobPath, time_s: ArrayLike) -> Array:
    """Dial position at each time; held before the first point and after the last.

    Parameters
    ----------
    path : KnobPath
        The knob's path.
    time_s : array_like
        Seconds, any shape.

    Returns
    -------
    ndarray of float
        Same shape as `time_s`.
    """
    return np.interp(np.asarray(time_s, dtype=np.float64), path.times_s, path.dials)


def dials_of_steps(path: KnobPath, first: int, count: int, sample_rate_hz: float) -> Array:
    """Dial position at the middle of each step that ends on a sample, as of `dial_at`.

    Parameters
    ----------
    path : KnobPath
        The knob's path.
    first, count : int
        The first sample, and how many.
    sample_rate_hz : float
        Sample rate.

    Returns
    -------
    ndarray, shape (count,)
        Along one straight stretch without looking each up, which takes a fifth of the time.
    """
    middle_s = np.arange(first - 0.5, first + count - 0.5)[:count] / sample_rate_hz
    if count:
        times, dials = path.times_s, path.dials
        stretch = bisect_right(times, middle_s[0]) - 1
        if 0 <= stretch < len(times) - 1 and middle_s[-1] < times[stretch + 1]:
            slope = (dials[stretch + 1] - dials[stretch]) / (times[stretch + 1] - times[stretch])
            middle_s -= times[stretch]
            middle_s *= slope
            middle_s += dials[stretch]
            return middle_s
    return dial_at(path, middle_s)


def whole_dials(path: KnobPath) -> list[tuple[float, int]]:
    """When a path reaches each whole number, as (seconds, dial); where it rests, once."""
    found: list[tuple[float, int]] = []
    points = zip(path.times_s, path.dials, strict=True)
    for (start_s, start), (stop_s, stop) in pairwise(points):
        low, high = sorted((start, stop))
        passed = np.arange(np.ceil(low), np.floor(high) + 1.0)
        if stop < start:
            passed = passed[::-1]
        share = (passed - start) / (stop - start) if stop != start else np.zeros(passed.size)
        for at, dial in zip(share, passed.astype(int).tolist(), strict=True):
            time_s = start_s + float(at) * (stop_s - start_s)
            # A point between two stretches belongs to both.
            if not found or found[-1][1] != dial:
                found.append((time_s, dial))
    return found


# What is listened to where nothing else is asked for.
SWEEP = steady_turn(10.0, 0.0, 8.0, 1.0)
