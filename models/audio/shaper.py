"""The per-sample loop of the clipping stage, compiled by numba."""

import numpy as np

from presolder.models.compiled import compiled
from presolder.models.typing import Array

# Gauss-Legendre points on 0 to 1 and their weights: exact to the fifth order.
_POINTS = np.array([0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18.0


@compiled
def _between(curves: Array, row: int, first: float, step: float, x: float) -> float:
    """F1 or F2 between nodes: the cubic with its values and slopes there."""
    place = (x - first) / step
    i = min(int(place), curves.shape[1] - 2)
    t = place - i
    rise = curves[row, i + 1] - curves[row, i]
    start, stop = step * curves[row - 1, i], step * curves[row - 1, i + 1]
    bend = start + stop - 2.0 * rise
    return float(curves[row, i] + t * (start + t * ((rise - start) - bend + t * bend)))


@compiled
def _integrals(curves: Array, first: float, step: float, x: float) -> tuple[float, float]:
    """F1 and F2 at x."""
    last = curves.shape[1] - 1
    end = first + last * step
    if first < x < end:
        return _between(curves, 1, first, step, x), _between(curves, 2, first, step, x)
    near, beyond = (0, x - first) if x <= first else (last, x - end)
    once = curves[1, near] + beyond * curves[0, near]
    twice = curves[2, near] + beyond * (curves[1, near] + 0.5 * beyond * curves[0, near])
    return float(once), float(twice)


@compiled
def _curve(curves: Array, first: float, step: float, x: float) -> float:
    """The curve itself, along straight lines from node to node."""
    last = curves.shape[1] - 1
    place = min(max((x - first) / step, 0.0), float(last))
    i = min(int(place), last - 1)
    return float(curves[0, i] + (place - i) * (curves[0, i + 1] - curves[0, i]))


@compiled
def shape_averaged(
    curves: Array, first: float, step: float, short: float, signal: Array, output: Array
) -> None:
    """Pass a signal that is a ring through a static curve, averaged round each sample.

    Between two samples the signal is taken as a straight line, and the output
    is the mean of the curve along it, weighted by a triangle that ends at both
    neighbours. Along a line from x by d that is, for the sample before,
    (F2(x + d) - F2(x) - d F1(x)) / d^2, with F1 the curve's antiderivative and F2
    that of F1.

    Parameters
    ----------
    curves : ndarray, shape (3, k)
        The curve, F1 and F2 at ``first + i * step``. Outside them the curve
        goes on as its end value.
    first, step : float
        Input of the first node, and spacing.
    short : float
        Lines shorter than this are taken by quadrature, since the differences
        of F2 over d^2 would lose their figures.
    signal, output : ndarray, shape (n,)
        Input, and where the result is written. The line before the first sample
        starts at the last.
    """
    previous = signal[-1]
    here, here_twice = _integrals(curves, first, step, previous)
    output[:] = 0.0
    for n in range(signal.shape[0]):
        x = signal[n]
        difference = x - previous
        there, there_twice = _integrals(curves, first, step, x)
        if abs(difference) > short:
            change = there_twice - here_twice
            output[n - 1] += (change - difference * here) / difference**2
            output[n] += (difference * there - change) / difference**2
        else:
            for k in range(3):
                at = previous + _POINTS[k] * difference
                value = _WEIGHTS[k] * _curve(curves, first, step, at)
                output[n - 1] += (1.0 - _POINTS[k]) * value
                output[n] += _POINTS[k] * value
        previous, here, here_twice = x, there, there_twice
