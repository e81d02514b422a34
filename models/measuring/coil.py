"""Finding a pickup's inductance and capacitance from measurements of its output.

The coil is measured by itself: its EMF (a small exciter coil over it, fed
with a sweep) goes through winding resistance and inductance into winding
capacitance, a known added capacitor, and the meter.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import ArrayLike

from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup
from presolder.models.instrument.quantities import format_quantity, require_component
from presolder.models.typing import Array, ComplexArray

# Smallest and largest coil that the fit may answer with; wider than any pickup.
_HENRIES, _FARADS, _EDDY_OHMS = (0.01, 100.0), (1e-12, 5e-9), (1e4, 1e8)
_STARTS_HENRIES = (1.0, 3.0, 8.0)
_READING_ERROR = 0.01


@dataclass(frozen=True, eq=False)
class Response:
    """A measured response of the coil: gain in dB but for a constant, and what hung on it.

    Attributes
    ----------
    frequency_hz, gain_db : ndarray, shape (f,)
    added_farads : float
        The known capacitor across the pickup.
    """

    frequency_hz: Array
    gain_db: Array
    added_farads: float = 0.0


@dataclass(frozen=True)
class Coil:
    """What a measurement says about a pickup.

    Attributes
    ----------
    pickup : Pickup
    inductance_error, capacitance_error : float
        Relative standard errors (from readings: the change for a reading that
        is 1 % off).
    misfit_db : float
        RMS difference between measurement and model; 0 for two readings.
    """

    pickup: Pickup
    inductance_error: float
    capacitance_error: float
    misfit_db: float = 0.0


def coil_response(
    pickup: Pickup, frequency_hz: ArrayLike, meter: Load, added_farads: float = 0.0
) -> ComplexArray:
    """Voltage at the meter per volt of EMF.

    Parameters
    ----------
    pickup : Pickup
    frequency_hz : array_like, shape (f,)
    meter : Load
        What measures.
    added_farads : float
        A capacitor across it.

    Returns
    -------
    ndarray of complex, shape (f,)

    Notes
    -----
    A voltage divider: 1 / (1 + Z_coil Y) with Z_coil = R + (j w L parallel to
    the eddy resistance) and Y = j w C + 1 / R_meter.
    """
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    inductive = s * pickup.inductance_henries
    if pickup.eddy_ohms is not None:
        inductive = inductive * pickup.eddy_ohms / (inductive + pickup.eddy_ohms)
    farads = pickup.capacitance_farads + meter.capacitance_farads + added_farads
    admittance = s * farads + 1.0 / meter.resistance_ohms
    response = 1.0 / (1.0 + (pickup.resistance_ohms + inductive) * admittance)
    return np.asarray(response, dtype=np.complex128)


def peak_hz(pickup: Pickup, meter: Load, added_farads: float = 0.0) -> float:
    """Frequency of the highest output of a coil without eddy loss; 0 if there is no peak.

    Notes
    -----
    Where the derivative of (a - x L C)^2 + x b^2 by x = w^2 is zero, with
    a = 1 + R / R_meter and b = R C + L / R_meter.
    """
    henries = pickup.inductance_henries
    farads = pickup.capacitance_farads + meter.capacitance_farads + added_farads
    a = 1.0 + pickup.resistance_ohms / meter.resistance_ohms
    b = pickup.resistance_ohms * farads + henries / meter.resistance_ohms
    squared = a / (henries * farads) - 0.5 * (b / (henries * farads)) ** 2
    return math.sqrt(max(squared, 0.0)) / (2 * math.pi)


def coil_from_readings(
    resistance_ohms: float, bare_hz: float, loaded_hz: float, added_farads: float, meter: Load
) -> Coil:
    """Inductance and capacitance from two resonance readings.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance.
    bare_hz, loaded_hz : float
        Frequency of the highest output, without and with the capacitor.
    added_farads : float
        The capacitor.
    meter : Load
        What measures; it is there in both readings.

    Returns
    -------
    Coil

    Raises
    ------
    InputError
        If no coil has these readings.

    Notes
    -----
    Without losses L = (1/w_loaded^2 - 1/w_bare^2) / C_added and
    C = 1/(w_bare^2 L). Winding and meter resistance shift the peaks; the two
    equations of `peak_hz` are solved from there.
    """
    require_component("added", added_farads, "farad")
    if not 0 < loaded_hz < bare_hz:
        raise InputError(
            f"loaded reading {loaded_hz:g} Hz must lie above 0 and below the bare one,"
            f" {bare_hz:g} Hz: a capacitor lowers the resonance"
        )
    ohms = resistance_ohms
    pickup = _solve_readings(ohms, bare_hz, loaded_hz, added_farads, meter)
    off_by_a_little = (
        _solve_readings(ohms, bare_hz * (1 + _READING_ERROR), loaded_hz, added_farads, meter),
        _solve_readings(ohms, bare_hz, loaded_hz * (1 - _READING_ERROR), added_farads, meter),
    )
    return Coil(
        pickup,
        math.hypot(
            *(off.inductance_henries / pickup.inductance_henries - 1 for off in off_by_a_little)
        ),
        math.hypot(
            *(off.capacitance_farads / pickup.capacitance_farads - 1 for off in off_by_a_little)
        ),
    )


def _solve_readings(
    ohms: float, bare_hz: float, loaded_hz: float, added_farads: float, meter: Load
) -> Pickup:
    inverse = [1.0 / (2 * math.pi * hz) ** 2 for hz in (bare_hz, loaded_hz)]
    henries = (inverse[1] - inverse[0]) / added_farads
    total_farads = inverse[0] / henries

    def miss(logs: Array) -> list[float]:
        # The meter's capacitance is part of the total here, and taken off at the end.
        coil = Pickup(ohms, float(np.exp(logs[0])), float(np.exp(logs[1])))
        bench = replace(meter, capacitance_farads=0.0)
        return [
            peak_hz(coil, bench) / bare_hz - 1.0,
            peak_hz(coil, bench, added_farads) / loaded_hz - 1.0,
        ]

    logs = np.log([henries, total_farads])
    answer = scipy.optimize.least_squares(
        miss, logs, bounds=(logs - 3.0, logs + 3.0), xtol=1e-14, ftol=1e-14
    )
    henries, total_farads = (float(value) for value in np.exp(answer.x))
    own_farads = total_farads - meter.capacitance_farads
    if np.abs(answer.fun).max() > 1e-6 or own_farads < 0:
        raise InputError(
            f"no coil of {format_quantity(ohms, 'ohm')} peaks at {bare_hz:g} and {loaded_hz:g} Hz"
            f" with {format_quantity(added_farads, 'farad')} added; check the readings and the"
            " meter's values"
        )
    return Pickup(ohms, henries, own_farads)


def coil_from_responses(
    resistance_ohms: float, responses: tuple[Response, ...], meter: Load
) -> Coil:
    """Inductance, capacitance and eddy loss that fit measured responses best.

    Parameters
    ----------
    resistance_ohms : float
        Winding resistance.
    responses : tuple of Response
        One, or several with different added capacitors; each has an unknown
        gain of its own.
    meter : Load
        What measured.

    Returns
    -------
    Coil

    Raises
    ------
    InputError
        If there are too few points.

    Notes
    -----
    Least squares on the decibels, over the logarithms of the values; standard
    errors from the curvature (Bates and Watts, Nonlinear Regression Analysis,
    section 2.3).
    """
    count = sum(response.frequency_hz.size for response in responses)
    if any(response.frequency_hz.size < 8 for response in responses):
        raise InputError("a response needs at least 8 points between 100 Hz and 16 kHz")

    def miss(logs: Array) -> Array:
        return _misfit_db(_coil_of(resistance_ohms, logs), responses, meter)

    bounds = np.log(np.array([_HENRIES, _FARADS, _EDDY_OHMS]).T)
    answers = [
        scipy.optimize.least_squares(
            miss, np.log([henries, 100e-12, 1e6]), bounds=bounds, x_scale=0.3
        )
        for henries in _STARTS_HENRIES
    ]
    best = min(answers, key=lambda answer: float(answer.cost))
    freedom = max(1, count - len(responses) - 3)
    variance = 2.0 * best.cost / freedom
    # The pseudoinverse: an eddy resistance too large to matter has no say.
    jacobian = np.asarray(best.jac, dtype=np.float64)
    covariance = np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-12) * variance
    errors = np.sqrt(np.diag(covariance))
    misfit_db = math.sqrt(2.0 * best.cost / count)
    found = _coil_of(resistance_ohms, best.x)
    return Coil(found, float(errors[0]), float(errors[1]), misfit_db)


def _coil_of(resistance_ohms: float, logs: Array) -> Pickup:
    """The coil with these logarithms of inductance, capacitance and eddy resistance."""
    henries, farads, eddy = (float(value) for value in np.exp(logs))
    return Pickup(resistance_ohms, henries, farads, eddy)


def _misfit_db(pickup: Pickup, responses: tuple[Response, ...], meter: Load) -> Array:
    """Model less measurement at every point, each response less its own mean."""
    rows = []
    for response in responses:
        model = coil_response(pickup, response.frequency_hz, meter, response.added_farads)
        difference = decibels(model) - response.gain_db
        rows.append(difference - difference.mean())
    return np.concatenate(rows)
