"""A cable's capacitance from where the guitar resonates with it, or from its length."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.coil import Response
from presolder.models.measuring.coil_fit import differences, in_common
from presolder.models.measuring.fitting import Fit, fitted
from presolder.models.typing import Array

CableKind = Literal["ordinary", "low-capacitance", "coiled"]
# Capacitance a metre with how far cables of a kind stray: common practice, no source.
PICOFARADS_PER_M: dict[CableKind, tuple[float, float]] = {
    "ordinary": (110.0, 0.35),
    "low-capacitance": (70.0, 0.25),
    "coiled": (160.0, 0.4),
}
# Standard deviations: of a resonance as read, of a known capacitor, and of what a rig file that
# was not measured says of inductance and winding capacitance.
_READING, _KNOWN, _INDUCTANCE, _WINDING = 0.005, 0.01, 0.2, 0.3
_NORMAL_95 = 1.96
_PEAK_HZ = np.geomspace(500.0, 20_000.0, 500)
_START_FARADS = 500e-12
_BOUNDS_FARADS = (1e-12, 2e-8)


@dataclass(frozen=True)
class Hung:
    """What hung on the jack: the cable that is sought, a known capacitor, both or neither."""

    cable: bool
    known_farads: float = 0.0


@dataclass(frozen=True)
class Resonance:
    """The frequency of the highest output with something on the jack, EMF rising with frequency."""

    peak_hz: float
    hung: Hung


@dataclass(frozen=True)
class Cable:
    """What was found of a cable.

    Attributes
    ----------
    farads : float
    error : float
        Relative; the truth lies so near 19 times of 20, or as cables of its
        kind stray.
    metres : float or None
        Its length, if told.
    """

    farads: float
    error: float
    metres: float | None = None


def cable_by_length(metres: float, kind: CableKind) -> Cable:
    """What is typical of a cable of a length.

    Parameters
    ----------
    metres : float
    kind : {"ordinary", "low-capacitance", "coiled"}

    Returns
    -------
    Cable

    Raises
    ------
    InputError
        If the length is not above 0, or the kind unknown.
    """
    if not 0 < metres < 1000:
        raise InputError(f"length = {metres:g} m must lie above 0 and below 1000 m")
    if kind not in PICOFARADS_PER_M:
        raise InputError(f"kind = {kind!r} must be one of {', '.join(PICOFARADS_PER_M)}")
    picofarads, error = PICOFARADS_PER_M[kind]
    return Cable(metres * picofarads * 1e-12, error, metres)


def cable_from_readings(rig: Rig, readings: Sequence[Resonance]) -> Cable:
    """A cable's capacitance from resonances read at the jack, all knobs at 10.

    Parameters
    ----------
    rig : Rig
        The guitar into the measuring input; its own cable does not matter.
    readings : sequence of Resonance
        Two at least, one with the cable; one of the others with a known
        capacitor or another, known cable.

    Returns
    -------
    Cable

    Raises
    ------
    InputError
        If the readings cannot tell.

    Notes
    -----
    Resonances go as 1 / sqrt(L C) with C of winding, input and what hangs on
    the jack; the highest output of the whole chain is solved for, inductance
    and winding capacitance being what the rig file says within its doubt.
    """
    _require_enough([reading.hung for reading in readings])
    if any(not 300 <= reading.peak_hz <= 20_000 for reading in readings):
        raise InputError("resonances must lie between 300 Hz and 20 kHz")

    def miss(values: Array) -> Array:
        peaks = [_peak_hz(_as_hung(rig, values, reading.hung)) for reading in readings]
        seen = np.array([reading.peak_hz for reading in readings])
        return np.asarray(np.log(np.array(peaks) / seen) / _READING)

    # Misses are counted in errors of a reading.
    found = _fitted(miss, (_START_FARADS,), noise=1.0)
    if np.abs(miss(found.values)).max() > 4.0:
        raise InputError(
            "no cable gives these readings with this guitar; check them, the knobs at 10, and the"
            " rig file"
        )
    return _as_cable(found)


def cable_from_responses(rig: Rig, responses: Sequence[tuple[Response, Hung]]) -> Cable:
    """A cable's capacitance from responses at the jack, all knobs at 10.

    Parameters
    ----------
    rig : Rig
        As for `cable_from_readings`.
    responses : sequence of (Response, Hung)
        Two at least, as for `cable_from_readings`; what drove the pickup drops
        out.

    Returns
    -------
    Cable

    Raises
    ------
    InputError
        If the responses cannot tell.

    Notes
    -----
    Least squares on the decibels, as `coil_from_responses`.
    """
    _require_enough([hung for _, hung in responses])
    hz, seen = in_common([response for response, _ in responses])

    def miss(values: Array) -> Array:
        model = [_gain_db(_as_hung(rig, values, hung), hz) for _, hung in responses]
        return differences(np.array(model) - seen)

    return _as_cable(_fitted(miss, (2e-10, _START_FARADS, 1.2e-9)))


def _fitted(
    miss: Callable[[Array], Array], starts_farads: Sequence[float], noise: float | None = None
) -> Fit:
    """The cable's logarithm, and by how much inductance, winding and known capacitor are off."""
    bounds = np.array([np.log(_BOUNDS_FARADS), (-1.5, 1.5), (-2.0, 2.0), (-0.1, 0.1)])
    starts = [np.array([np.log(farads), 0.0, 0.0, 0.0]) for farads in starts_farads]
    spread = np.array([np.inf, _INDUCTANCE, _WINDING, _KNOWN])
    return fitted(miss, starts, bounds, np.zeros(4), spread, noise)


def _as_cable(found: Fit) -> Cable:
    error = _NORMAL_95 * float(np.sqrt(found.covariance[0, 0]))
    return Cable(float(np.exp(found.values[0])), error)


def _require_enough(hung: Sequence[Hung]) -> None:
    with_cable = [one for one in hung if one.cable]
    if not with_cable or len(set(hung)) < 2:
        raise InputError(
            "at least two are needed, one with the cable, and one with something else on the jack:"
            " a known capacitor, the cable and a known capacitor, or nothing"
        )
    if not any(one.known_farads for one in hung):
        raise InputError(
            "a known capacitor, or a cable of known capacitance, is needed in one of them"
        )


def _as_hung(rig: Rig, values: Array, hung: Hung) -> Rig:
    """The guitar with inductance and winding capacitance off, and this on its jack."""
    cable, inductance, winding, known = (float(value) for value in values)
    pickup = rig.coil
    off = replace(
        pickup.wound(float(np.exp(inductance))),
        capacitance_farads=pickup.capacitance_farads * float(np.exp(winding)),
    )
    farads = hung.known_farads * (1.0 + known) + (float(np.exp(cable)) if hung.cable else 0.0)
    return replace(rig.with_first(replace(rig.first, pickup=off)), cable_farads=farads)


def _gain_db(rig: Rig, hz: Array) -> Array:
    return decibels(transfer(assemble(control_chain(rig, None).branches), hz, DIAL_MAX)[0])


def _peak_hz(rig: Rig) -> float:
    """Where the output is highest for an EMF that rises with frequency."""
    gain = _gain_db(rig, _PEAK_HZ) + 20.0 * np.log10(_PEAK_HZ)
    best = int(np.clip(np.argmax(gain), 1, gain.size - 2))
    # The parabola through the highest point and its neighbours.
    before, at, after = gain[best - 1 : best + 2]
    bend = before - 2.0 * at + after
    shift = 0.0 if bend == 0 else 0.5 * (before - after) / bend
    step = np.log(_PEAK_HZ[1] / _PEAK_HZ[0])
    return float(_PEAK_HZ[best] * np.exp(np.clip(shift, -1.0, 1.0) * step))
