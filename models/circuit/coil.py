"""A pickup by itself: its impedance, and what it gives into a load."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.instrument.controls import Load, Pickup
from presolder.models.typing import Array, ComplexArray


def coil_impedance(pickup: Pickup, frequency_hz: ArrayLike) -> ComplexArray:
    """Impedance of the winding, its own capacitance left out.

    Parameters
    ----------
    pickup : Pickup
    frequency_hz : array_like, shape (f,)

    Returns
    -------
    ndarray of complex, shape (f,)
        Ohms.

    Notes
    -----
    R + j w L0 + (j w (L - L0) parallel to the eddy resistance).
    """
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    inner = s * (pickup.inductance_henries - pickup.leakage_henries)
    if pickup.eddy_ohms is not None:
        inner = inner * pickup.eddy_ohms / (inner + pickup.eddy_ohms)
    whole = pickup.resistance_ohms + s * pickup.leakage_henries + inner
    return np.asarray(whole, dtype=np.complex128)


def source_impedance(pickup: Pickup, frequency_hz: ArrayLike) -> ComplexArray:
    """Impedance of a pickup as a source, its own capacitance across it; ohms, shape (f,)."""
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    own = s * pickup.capacitance_farads
    return np.asarray(1.0 / (1.0 / coil_impedance(pickup, frequency_hz) + own))


def admittance(load: Load, frequency_hz: Array) -> ComplexArray:
    """Of a resistance beside a capacitance; siemens, shape (f,)."""
    s = 2j * np.pi * frequency_hz
    return np.asarray(s * load.capacitance_farads + 1.0 / load.resistance_ohms)


def coil_response(pickup: Pickup, frequency_hz: ArrayLike, load: Load) -> ComplexArray:
    """Voltage at the load per volt of EMF.

    Parameters
    ----------
    pickup : Pickup
    frequency_hz : array_like, shape (f,)
    load : Load
        All that hangs on it.

    Returns
    -------
    ndarray of complex, shape (f,)

    Notes
    -----
    A voltage divider: 1 / (1 + Z Y), with Z of `coil_impedance` and Y the
    admittance of winding capacitance and load.
    """
    (response,) = coil_responses(pickup, np.asarray(frequency_hz, dtype=np.float64), (load,))
    return np.asarray(response, dtype=np.complex128)


def coil_responses(pickup: Pickup, frequency_hz: Array, loads: Sequence[Load]) -> ComplexArray:
    """`coil_response` into each of several loads, shape (loads, f)."""
    s = 2j * np.pi * frequency_hz
    siemens = np.array([[1.0 / load.resistance_ohms] for load in loads])
    farads = np.array([[load.capacitance_farads + pickup.capacitance_farads] for load in loads])
    return np.asarray(1.0 / (1.0 + coil_impedance(pickup, frequency_hz) * (siemens + farads * s)))


def peak_hz(pickup: Pickup, load: Load, *, rising: bool = False) -> float:
    """Frequency of the highest output of a coil without eddy loss; 0 if there is no peak.

    Parameters
    ----------
    pickup : Pickup
    load : Load
        All that hangs on it.
    rising : bool
        Whether the EMF rises with frequency, as from an exciter coil, or is the
        same at all.

    Notes
    -----
    With x = w^2, a = 1 + R / R_load and b = R C + L / R_load the output squared
    is 1 / ((a - x L C)^2 + x b^2), times x where the EMF rises. Its derivative
    by x is zero at x = a / (L C) - b^2 / (2 L^2 C^2); where the EMF rises,
    exactly at x = a / (L C).
    """
    henries = pickup.inductance_henries
    farads = pickup.capacitance_farads + load.capacitance_farads
    a = 1.0 + pickup.resistance_ohms / load.resistance_ohms
    squared = a / (henries * farads)
    if not rising:
        b = pickup.resistance_ohms * farads + henries / load.resistance_ohms
        squared -= 0.5 * (b / (henries * farads)) ** 2
    return math.sqrt(max(squared, 0.0)) / (2 * math.pi)
