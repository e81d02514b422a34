"""What would tell faults apart that the takes cannot: an ohmmeter reading, or one more take."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from presolder.models.circuit.branch import GROUND, OUTPUT
from presolder.models.circuit.ohms import OPEN_OHMS, ohms_between
from presolder.models.instrument.controls import Load
from presolder.models.measuring.faults import Guitar
from presolder.models.typing import Array

Place = Literal["jack", "lugs", "lugs with the pickup lifted"]
# Where an ohmmeter can be put, the closed guitar's jack first: tip to sleeve, or the volume
# pot's input lug to its wiper lug, the pickups' hot leads soldered on or lifted.
_PLACES: tuple[Place, ...] = ("jack", "lugs", "lugs with the pickup lifted")
_DIALS = (10.0, 5.0, 0.0)
# Readings that differ by this are told apart, whatever parts stray by.
_CLEAR_RATIO = 1.5
_FEWEST_OHMS = 10.0
_CANDIDATE_DIALS = np.arange(1.0, 10.0)


@dataclass(frozen=True)
class Reading:
    """An ohmmeter reading that tells faults apart.

    Attributes
    ----------
    place : {"jack", "lugs", "lugs with the pickup lifted"}
        Tip to sleeve, or input lug to wiper lug.
    dial : float
        Of the volume knob.
    ohms : tuple of float
        What is read, for each fault in question; infinite for an open circuit.
    """

    place: Place
    dial: float
    ohms: tuple[float, ...]


def reading(guitar: Guitar, place: Place, dial: float) -> float:
    """What an ohmmeter shows on a guitar that is not plugged in.

    Parameters
    ----------
    guitar : Guitar
    place : {"jack", "lugs", "lugs with the pickup lifted"}
    dial : float

    Returns
    -------
    float
        Ohms; infinite for an open circuit.
    """
    unplugged = replace(guitar.rig, cable_farads=0.0, load=Load())
    chain = replace(guitar, rig=unplugged).chain()
    ends = (OUTPUT, GROUND) if place == "jack" else (chain.places[0].start, chain.places[0].end)
    lifted = place == "lugs with the pickup lifted"
    branches = tuple(b for b in chain.branches if not (lifted and b.kind == "source"))
    return ohms_between(branches, *ends, dial)


def telling_reading(guitars: Sequence[Guitar]) -> Reading | None:
    """The reading that tells most of these guitars apart; None if none does.

    Parameters
    ----------
    guitars : sequence of Guitar
        With one fault each.
    """
    best, most = None, 0
    for place in _PLACES:
        for dial in _DIALS:
            ohms = tuple(reading(guitar, place, dial) for guitar in guitars)
            logs = np.log(np.clip(ohms, _FEWEST_OHMS, OPEN_OHMS))
            apart = int((np.abs(logs[:, None] - logs) > np.log(_CLEAR_RATIO)).sum())
            if apart > most:
                best, most = Reading(place, dial, ohms), apart
    return best


def telling_dial(dial: Array, apart: Callable[[Array], float], clear_chi2: float) -> float | None:
    """The dial at which one more take would tell two guitars apart, if clearly.

    Parameters
    ----------
    dial : ndarray, shape (t,)
        Of the takes there are.
    apart : callable
        How far the two lie apart in takes at these dials, as a chi-squared.
    clear_chi2 : float
        From where on that is clear.
    """
    free = [float(d) for d in _CANDIDATE_DIALS if np.abs(dial - d).min() >= 0.9]
    told = [apart(np.append(dial, candidate)) for candidate in free]
    if not told or max(told) < clear_chi2:
        return None
    return free[int(np.argmax(told))]
