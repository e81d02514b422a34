"""What is measured of a pickup, and its values from two resonance readings."""

import math
from dataclasses import dataclass

import numpy as np
import scipy

from presolder.models.circuit.coil import peak_hz
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, require_dial
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.quantities import format_quantity, require_component
from presolder.models.typing import Array, Flags

# Where a pickup may peak at all, with room to spare; common practice, no source.
LOWEST_READING_HZ, HIGHEST_READING_HZ = 20.0, 1e6
_READING_ERROR = 0.01
# What two readings cannot show, eddy losses above all, moves the values so found by as much: of 21
# real pickups that peak, 20 lie within (tests/data/README.md).
_UNSEEN_INDUCTANCE, _UNSEEN_CAPACITANCE = 0.62, 0.85
# And the response near its peak, in dB.
UNSEEN_RESPONSE_DB = 5.0
FEWEST_POINTS = 8
# Smallest and largest henries, farads and eddy ohms that a fit may answer with; wider than any
# pickup.
COIL_LIMITS = ((0.01, 100.0), (1e-12, 5e-9), (5e3, 1e8))
# What is fitted; below there is hum, above nothing that a guitar gives.
LOWEST_HZ, HIGHEST_HZ = 100.0, 16_000.0


@dataclass(frozen=True, eq=False)
class Response:
    """A measured response of the pickup: gain in dB but for a constant, and what hung on it.

    Attributes
    ----------
    frequency_hz, gain_db : ndarray, shape (f,)
        Frequencies rise.
    added_farads : float
        The known capacitor across the output, besides what is always there.
    added_ohms : float
        The known resistor beside it; infinite for none.
    dial : float
        Where the volume knob stood, if the controls were connected.
    """

    frequency_hz: Array
    gain_db: Array
    added_farads: float = 0.0
    added_ohms: float = math.inf
    dial: float = DIAL_MAX

    def __post_init__(self) -> None:
        _require_points(self.frequency_hz)
        Load(self.added_ohms, self.added_farads)
        require_dial("dial", self.dial)


@dataclass(frozen=True, eq=False)
class Impedance:
    """A measured impedance of the pickup by itself.

    Attributes
    ----------
    frequency_hz, ohms, degrees : ndarray, shape (f,)
        Magnitude and phase; frequencies rise.
    """

    frequency_hz: Array
    ohms: Array
    degrees: Array

    def __post_init__(self) -> None:
        _require_points(self.frequency_hz)
        if np.any(self.ohms <= 0):
            raise InputError(f"ohms = {self.ohms.min():g} must be above 0")


def is_inside(frequency_hz: Array) -> Flags:
    """Which frequencies are fitted."""
    return np.asarray((frequency_hz >= LOWEST_HZ) & (frequency_hz <= HIGHEST_HZ))


def _require_points(frequency_hz: Array) -> None:
    """Refuse a measurement that is too short or out of order."""
    if is_inside(frequency_hz).sum() < FEWEST_POINTS:
        raise InputError(
            f"needs at least {FEWEST_POINTS} points between {LOWEST_HZ:g} Hz and"
            f" {HIGHEST_HZ / 1000:g} kHz"
        )
    if np.any(np.diff(frequency_hz) <= 0):
        raise InputError("frequencies must rise")


@dataclass(frozen=True)
class Coil:
    """What a measurement says about a pickup.

    Attributes
    ----------
    pickup : Pickup
    inductance_error, capacitance_error : float
        Relative; the truth lies so near 19 times of 20.
    misfit_db : float
        RMS difference between measurement and model, where there are several
        responses of the differences between them; 0 for two readings.
    second : Pickup or None
        In series with `pickup`, each with its capacitance across it, where no one
        coil fits; what each is by itself is then not settled.
    """

    pickup: Pickup
    inductance_error: float
    capacitance_error: float
    misfit_db: float = 0.0
    second: Pickup | None = None

    @property
    def coils(self) -> tuple[Pickup, ...]:
        """One, or two in series."""
        return (self.pickup,) if self.second is None else (self.pickup, self.second)


def coil_from_readings(
    resistance_ohms: float,
    bare_hz: float,
    loaded_hz: float,
    added_farads: float,
    meter: Load,
    *,
    rising: bool = True,
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
    rising : bool
        Whether the EMF rises with frequency, as from an exciter coil.

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
    equations of `peak_hz` are solved from there. Eddy losses shift them too, and are
    not seen: the errors allow for those of real pickups, and for a slip of 1 %.
    """
    require_component("added", added_farads, "farad")
    if not LOWEST_READING_HZ <= loaded_hz < bare_hz <= HIGHEST_READING_HZ:
        raise InputError(
            f"loaded reading {loaded_hz:g} Hz must lie above {LOWEST_READING_HZ:g} Hz and below the"
            f" bare one, {bare_hz:g} Hz, and that below {HIGHEST_READING_HZ:g} Hz: a capacitor"
            " lowers the resonance"
        )

    def solved(bare_hz: float, loaded_hz: float) -> Pickup:
        return _solve_readings(resistance_ohms, bare_hz, loaded_hz, added_farads, meter, rising)

    pickup = solved(bare_hz, loaded_hz)
    off_by_a_little = (
        solved(bare_hz * (1 + _READING_ERROR), loaded_hz),
        solved(bare_hz, loaded_hz * (1 - _READING_ERROR)),
    )
    return Coil(
        pickup,
        math.hypot(
            _UNSEEN_INDUCTANCE,
            *(off.inductance_henries / pickup.inductance_henries - 1 for off in off_by_a_little),
        ),
        math.hypot(
            _UNSEEN_CAPACITANCE,
            *(off.capacitance_farads / pickup.capacitance_farads - 1 for off in off_by_a_little),
        ),
    )


def _solve_readings(
    ohms: float, bare_hz: float, loaded_hz: float, added_farads: float, meter: Load, rising: bool
) -> Pickup:
    inverse = [1.0 / (2 * math.pi * hz) ** 2 for hz in (bare_hz, loaded_hz)]
    henries = (inverse[1] - inverse[0]) / added_farads
    total_farads = inverse[0] / henries

    def miss(logs: Array) -> list[float]:
        # The meter's capacitance is part of the total here, and taken off at the end.
        coil = Pickup(ohms, float(np.exp(logs[0])), float(np.exp(logs[1])))
        return [
            peak_hz(coil, Load(meter.resistance_ohms, added), rising=rising) / hz - 1.0
            for added, hz in ((0.0, bare_hz), (added_farads, loaded_hz))
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
