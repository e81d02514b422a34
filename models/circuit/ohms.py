"""What an ohmmeter reads between two places of a chain."""

import numpy as np

from presolder.models.circuit.branch import Branch
from presolder.models.errors import InputError
from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
)

# An ohmmeter's own end: what it cannot tell from a short, and from an open circuit.
_SHORT_OHMS = 1e-4
OPEN_OHMS = 1e9


def ohms_between(branches: tuple[Branch, ...], plus: int, minus: int, dial: float) -> float:
    """Direct-current resistance between two nodes with the volume knob at rest.

    Parameters
    ----------
    branches : tuple of Branch
        The chain with nothing plugged in: without cable and input.
    plus, minus : int
        Nodes of the chain.
    dial : float
        0-10.

    Returns
    -------
    float
        Ohms; infinite where an ohmmeter shows an open circuit.

    Raises
    ------
    InputError
        If a node is not in the chain.

    Notes
    -----
    Node equations G v = i for one ampere: inductors and the string's EMF are
    shorts, capacitors are open.
    """
    count = 1 + max(max(branch.plus, branch.minus) for branch in branches)
    if max(plus, minus) >= count:
        raise InputError(f"node {max(plus, minus)} is not in the chain")
    # What is connected to nothing still gets a voltage.
    conductance = np.eye(count) / (1000 * OPEN_OHMS)
    for branch in branches:
        ohms = _ohms(branch, dial)
        if np.isinf(ohms):
            continue
        ends = np.zeros(count)
        ends[branch.plus] += 1.0
        ends[branch.minus] -= 1.0
        conductance += np.outer(ends, ends) / max(ohms, _SHORT_OHMS)
    others = np.arange(count) != minus
    current = np.zeros(count)
    current[plus] = 1.0
    volts = np.linalg.solve(conductance[np.ix_(others, others)], current[others])
    reading = float(volts @ current[others])
    return np.inf if reading > OPEN_OHMS else reading


def _ohms(branch: Branch, dial: float) -> float:
    match branch.kind:
        case "resistor":
            return branch.value
        case "rheostat":
            assert branch.rheostat is not None
            share = float(branch.rheostat.share(np.array([dial]))[0])
            return max(branch.rheostat.ohms * share, branch.rheostat.floor_ohms)
        case "capacitor":
            return float(np.inf)
        case _:
            return 0.0


def direct_ohms(network: Network) -> float:
    """What a network is to direct current; infinite where a capacitor blocks it.

    Parameters
    ----------
    network : Network
        Without gangs, whose resistance depends on the dial.

    Raises
    ------
    InputError
        If there is a gang in it.
    """
    match network:
        case Resistor(ohms):
            return ohms
        case Capacitor():
            return float(np.inf)
        case Gang():
            raise InputError("a bypass with a gang hides the track; read at the lugs instead")
        case Parallel(parts):
            siemens = sum(1.0 / direct_ohms(part) for part in parts)
            return 1.0 / siemens if siemens else float(np.inf)
        case Series(parts):
            return sum(direct_ohms(part) for part in parts)
