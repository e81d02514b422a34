"""What an ohmmeter reads while a bypass is soldered in, part by part."""

from dataclasses import dataclass, replace

import numpy as np

from presolder.models.circuit.branch import GROUND, OUTPUT, Branch, gang_rheostat
from presolder.models.circuit.chain import Chain, control_chain
from presolder.models.circuit.ohms import ohms_between
from presolder.models.instrument.controls import Load
from presolder.models.instrument.network import Capacitor, Gang, Network, Resistor
from presolder.models.instrument.placement import (
    GROUND_LUG,
    INPUT_LUG,
    WIPER_LUG,
    Placed,
    placed_parts,
)
from presolder.models.instrument.rig import Channel, Rig, VolumeWiring

_DIALS = (0.0, 5.0)
GANG_DIALS = (10.0, 5.0, 0.0)
# With the track in the way a part that changes the reading by less is not seen.
TELLING_RATIO = 1.1


@dataclass(frozen=True)
class Probe:
    """A reading to take when a part has been soldered.

    Attributes
    ----------
    part : Placed
    dial : float
        Where the volume knob stands.
    ohms : float
        Between the part's two ends, everything up to it being there.
    without_ohms : float
        The same if the part were not.
    """

    part: Placed
    dial: float
    ohms: float
    without_ohms: float

    @property
    def tells(self) -> bool:
        """Whether the reading shows that the part is there."""
        if np.isinf(self.ohms) or np.isinf(self.without_ohms):
            return self.ohms != self.without_ohms
        return bool(self.without_ohms > TELLING_RATIO * self.ohms)


def probes(channel: Channel, wiring: VolumeWiring, network: Network) -> tuple[Probe, ...]:
    """A reading after each part, nothing plugged in and only this channel on.

    Parameters
    ----------
    channel : Channel
        Whose volume pot gets the network.
    wiring : {"lug", "independent"}
    network : Network

    Returns
    -------
    tuple of Probe
        In the order of `placed_parts`; at the dial where the part shows most.
    """
    chain = _bare(channel, wiring)
    free = 1 + max(max(branch.plus, branch.minus) for branch in chain.branches)
    nodes = _lugs(chain, wiring)
    branches, found = chain.branches, []
    for part in placed_parts(network):
        for place in (part.start, part.end):
            if place not in nodes:
                nodes[place] = free
                free += 1
        ends = nodes[part.start], nodes[part.end]
        grown = (*branches, _branch(part, *ends))
        tried = []
        for dial in _DIALS:
            with_part = _between(grown, *ends, dial)
            tried.append(Probe(part, dial, with_part, _between(branches, *ends, dial)))
        found.append(max(tried, key=_shows))
        branches = grown
    return tuple(found)


def bare_ohms(channel: Channel, wiring: VolumeWiring, dial: float) -> float:
    """Between input lug and wiper lug of a channel without a bypass, nothing plugged in."""
    chain = _bare(channel, wiring)
    nodes = _lugs(chain, wiring)
    return _between(chain.branches, nodes[INPUT_LUG], nodes[WIPER_LUG], dial)


def gang_ohms(gang: Gang) -> tuple[float, ...]:
    """Of a second section by itself, between the two lugs that are used, at `GANG_DIALS`."""
    return tuple(float(ohms) for ohms in gang.ohms * gang_rheostat(gang).share(GANG_DIALS))


def _bare(channel: Channel, wiring: VolumeWiring) -> Chain:
    alone = replace(channel, held_at=None, bypass="auditioned", strength=1.0)
    return control_chain(Rig((alone,), 0.0, Load(), volume_wiring=wiring), None)


def _lugs(chain: Chain, wiring: VolumeWiring) -> dict[str, int]:
    """The nodes of the pot's lugs; with the independent wiring the pickup is at the wiper."""
    ends = (chain.sides[0], OUTPUT)
    start, end = ends if wiring == "lug" else reversed(ends)
    return {INPUT_LUG: start, WIPER_LUG: end, GROUND_LUG: GROUND}


def _branch(part: Placed, plus: int, minus: int) -> Branch:
    match part.leaf:
        case Resistor(ohms):
            return Branch("resistor", plus, minus, ohms)
        case Capacitor(farads):
            return Branch("capacitor", plus, minus, farads)
        case Gang():
            return Branch("rheostat", plus, minus, rheostat=gang_rheostat(part.leaf))


def _between(branches: tuple[Branch, ...], plus: int, minus: int, dial: float) -> float:
    # A joint that nothing reaches yet is no node of the chain.
    if max(plus, minus) > max(max(branch.plus, branch.minus) for branch in branches):
        return float(np.inf)
    return ohms_between(branches, plus, minus, dial)


def _shows(probe: Probe) -> float:
    """How clearly a part shows; of what does not show, the higher reading."""
    if np.isinf(probe.without_ohms):
        return 10.0 if np.isfinite(probe.ohms) else 0.0
    return float(np.log(probe.without_ohms / max(probe.ohms, 1e-3))) + 1e-9 * probe.ohms
