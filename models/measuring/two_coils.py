"""A pickup that is no one coil: two in series, each with a capacitance of its own.

So are humbuckers whose halves differ: their impedance has two resonances, which no coil has.
"""

from collections.abc import Callable

import numpy as np

from presolder.models.circuit.coil import source_impedance
from presolder.models.instrument.controls import Pickup
from presolder.models.measuring.coil import COIL_LIMITS
from presolder.models.measuring.fitting import Fit, fitted
from presolder.models.typing import Array, ComplexArray

# From an impedance, shape (f,), and relative errors of what is known, to what is left of a
# measurement in dB.
ImpedanceMiss = Callable[[ComplexArray, Array], Array]

_STARTS_HENRIES, _STARTS_RATIOS, _STARTS_EDDY_OHMS = (1.0, 3.0), (0.3, 1.0, 3.0), (1e5, 5e5)
_START_FARADS = (100e-12, 250e-12)
# The first one's share of the winding's resistance, and how far halves differ in it: common
# practice, no source.
_HALF, _UNEVEN = 0.5, 0.1
_OF_ONE, _OF_BOTH = 3, 7


def fitted_pair(
    miss: ImpedanceMiss, frequency_hz: Array, resistance_ohms: float, known_errors: Array
) -> tuple[tuple[Pickup, Pickup], Fit]:
    """The two coils in series that fit best.

    Parameters
    ----------
    miss : callable
        From an impedance, shape (f,), and relative errors, shape (q,), to what
        is left, dB, shape (n,).
    frequency_hz : ndarray, shape (f,)
    resistance_ohms : float
        Of both together.
    known_errors : ndarray, shape (q,)
        Standard deviations of what is known, the winding resistance first.

    Returns
    -------
    coils : tuple of two Pickup
        The one of more inductance first.
    fit : Fit
    """

    def left(values: Array) -> Array:
        off = values[_OF_BOTH:]
        pair = _pair(resistance_ohms * (1.0 + off[0]), values)
        one, other = (source_impedance(coil, frequency_hz) for coil in pair)
        return miss(one + other, off)

    limits = np.concatenate([np.log(COIL_LIMITS * 2), [[0.05, 0.95]]])
    bounds = np.concatenate([limits, np.repeat([[-0.5, 0.5]], known_errors.size, axis=0)])
    expected = np.zeros(len(bounds))
    expected[_OF_BOTH - 1] = _HALF
    spread = np.concatenate([np.full(2 * _OF_ONE, np.inf), [_UNEVEN], known_errors])
    starts = [
        np.concatenate([
            np.log([henries, _START_FARADS[0], eddy, henries * ratio, _START_FARADS[1], eddy]),
            [_HALF],
            np.zeros(known_errors.size),
        ])
        for henries in _STARTS_HENRIES
        for ratio in _STARTS_RATIOS
        for eddy in _STARTS_EDDY_OHMS
    ]  # fmt: skip
    fit = fitted(left, starts, bounds, expected, spread)
    first, second = _pair(resistance_ohms, fit.values)
    if first.inductance_henries < second.inductance_henries:
        first, second = second, first
    return (first, second), fit


def _pair(resistance_ohms: float, values: Array) -> tuple[Pickup, Pickup]:
    shares = (values[_OF_BOTH - 1], 1.0 - values[_OF_BOTH - 1])
    first, second = (
        Pickup(resistance_ohms * float(share), *(float(one) for one in np.exp(own)))
        for share, own in zip(shares, values[: _OF_BOTH - 1].reshape(2, _OF_ONE), strict=True)
    )
    return first, second
