"""A curve through points that rises and falls only where they do."""

import numpy as np

from presolder.models.typing import Array


def monotone_cubic(x: Array, y: Array, at: Array) -> Array:
    """Interpolate by cubics without overshoot.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Rising; at least two.
    y : ndarray, shape (n,)
    at : ndarray
        Where the curve is wanted; beyond the points its end pieces go on.

    Returns
    -------
    ndarray
        Same shape as `at`.

    Notes
    -----
    Slopes at the points are weighted harmonic means of those beside them
    (Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5, 1984); at the ends they
    come from three points, kept to the data's shape (Moler, Numerical Computing
    with MATLAB, section 3.6). The library that has this takes half a second to
    load, more than most commands have to compute.
    """
    step, rise = np.diff(x), np.diff(y) / np.diff(x)
    slopes = np.full(x.size, rise[0])
    if x.size > 2:
        before, after = rise[:-1], rise[1:]
        weights = np.array([2.0 * step[1:] + step[:-1], step[1:] + 2.0 * step[:-1]])
        turns = before * after <= 0.0
        safe = np.where(turns, 1.0, np.array([before, after]))
        slopes[1:-1] = np.where(turns, 0.0, weights.sum(axis=0) / (weights / safe).sum(axis=0))
        slopes[0] = _end_slope(step[0], step[1], rise[0], rise[1])
        slopes[-1] = _end_slope(step[-1], step[-2], rise[-1], rise[-2])
    piece = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    along, width, climb = at - x[piece], step[piece], rise[piece]
    start, stop = slopes[piece], slopes[piece + 1]
    square = (3.0 * climb - 2.0 * start - stop) / width
    cube = (start + stop - 2.0 * climb) / width**2
    return np.asarray(y[piece] + along * (start + along * (square + along * cube)))


def _end_slope(near: float, far: float, rise_near: float, rise_far: float) -> float:
    """Of the parabola through the last three points, so far as the data go that way."""
    slope = ((2.0 * near + far) * rise_near - near * rise_far) / (near + far)
    if slope * rise_near <= 0.0:
        return 0.0
    if rise_near * rise_far <= 0.0 and abs(slope) > 3.0 * abs(rise_near):
        return 3.0 * rise_near
    return slope
