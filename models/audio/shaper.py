"""The per-sample loop of the clipping stage, compiled by numba."""

from numba import njit

from presolder.models.typing import Array


@njit(cache=True, nogil=True)
def shape_averaged(
    integral: Array,
    curve: Array,
    first: float,
    step: float,
    previous: float,
    signal: Array,
    output: Array,
) -> float:
    """Pass a signal through a static curve, averaged between samples.

    Between two samples the signal is taken as a straight line, and the output
    is the mean of the curve along it, from the difference of the curve's
    integral: first-order antiderivative antialiasing.

    Parameters
    ----------
    integral, curve : ndarray, shape (k,)
        The curve and its antiderivative at ``first + i * step``. Between nodes
        the antiderivative is the cubic with these values and slopes; outside
        them the curve goes on as its end value.
    first, step : float
        Input of the first node, and spacing.
    previous : float
        Sample before the block.
    signal, output : ndarray, shape (n,)
        Input, and where the result is written.

    Returns
    -------
    float
        The last sample of the block.
    """
    last = curve.shape[0] - 1
    end = first + last * step
    nearly_equal = 1e-3 * step

    def antiderivative(x: float) -> float:
        if x <= first:
            return float(integral[0] + (x - first) * curve[0])
        if x >= end:
            return float(integral[last] + (x - end) * curve[last])
        place = (x - first) / step
        i = min(int(place), last - 1)
        t = place - i
        rise = integral[i + 1] - integral[i]
        start, stop = step * curve[i], step * curve[i + 1]
        bend = start + stop - 2.0 * rise
        return float(integral[i] + t * (start + t * ((rise - start) - bend + t * bend)))

    here = antiderivative(previous)
    for n in range(signal.shape[0]):
        x = signal[n]
        there = antiderivative(x)
        difference = x - previous
        if abs(difference) > nearly_equal:
            output[n] = (there - here) / difference
        else:
            middle = 0.5 * (x + previous)
            output[n] = (
                antiderivative(middle + nearly_equal) - antiderivative(middle - nearly_equal)
            ) / (2.0 * nearly_equal)
        previous, here = x, there
    return float(previous)
