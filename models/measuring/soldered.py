"""What an ohmmeter reads while a bypass is soldered in, part by part."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from presolder.models.circuit.branch import GROUND, OUTPUT, Branch, Rheostat, gang_rheostat
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.ohms import ohms_between
from presolder.models.instrument.network import Capacitor, Gang, Network, Resistor
from presolder.models.instrument.onward import Volume
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


@dataclass(frozen=True, eq=False)
class Work:
    """A volume pot that gets the design under audition, ready to be measured at.

    Attributes
    ----------
    name : str
        What to call it beside the others.
    one : Channel or Volume
    wiring : {"lug", "independent"}
    alone : tuple of Branch
        What an ohmmeter sees without the bypass: nothing plugged in, of
        several channels only its own on, the pots before it as they stand.
    nodes : mapping of str to int
        Of its lugs.
    """

    name: str
    one: Channel | Volume
    wiring: VolumeWiring
    alone: tuple[Branch, ...]
    nodes: Mapping[str, int]


def works(rig: Rig) -> tuple[Work, ...]:
    """Every pot that gets the design, in their order."""
    return tuple(
        _work(rig, name, one)
        for name, one in zip(rig.volume_names, rig.volumes, strict=True)
        if one.auditioned
    )


def _work(rig: Rig, name: str, one: Channel | Volume) -> Work:
    if isinstance(one, Channel):
        alone = replace(one, held_at=None, bypass="auditioned", strength=1.0)
        return _measured(Rig((alone,), volume_wiring=rig.volume_wiring), name, one)
    turned = replace(one, held_at=None, bypass="auditioned")
    if one is rig.master:
        bare = Rig(rig.channels, volume_wiring=rig.volume_wiring, master=turned, tone=rig.tone)
        return _measured(bare, name, one)
    # A pedal has nothing plugged into it, its track is all there is.
    side = OUTPUT - 1
    pot = one.volume
    track = tuple(
        Branch("rheostat", *ends, rheostat=Rheostat(pot.resistance_ohms, pot.taper, up))
        for ends, up in (((side, OUTPUT), True), ((OUTPUT, GROUND), False))
    )
    return Work(name, one, "lug", track, _lugs(side, OUTPUT, "lug"))


def _measured(bare: Rig, name: str, one: Channel | Volume) -> Work:
    chain = control_chain(bare, None)
    place, wiring = chain.places[-1], bare.volume_wiring if isinstance(one, Channel) else "lug"
    return Work(name, one, wiring, chain.branches, _lugs(place.start, place.end, wiring))


def _lugs(start: int, end: int, wiring: VolumeWiring) -> dict[str, int]:
    """The nodes of the pot's lugs; with the independent wiring the pickup is at the wiper."""
    if wiring == "independent":
        start, end = end, start
    return {INPUT_LUG: start, WIPER_LUG: end, GROUND_LUG: GROUND}


def probes(work: Work, network: Network) -> tuple[Probe, ...]:
    """A reading after each part that is soldered in.

    Parameters
    ----------
    work : Work
    network : Network

    Returns
    -------
    tuple of Probe
        In the order of `placed_parts`; at the dial where the part shows most.
    """
    branches, nodes, found = work.alone, dict(work.nodes), []
    free = 1 + max(max(branch.plus, branch.minus) for branch in branches)
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


def bare_ohms(work: Work, dial: float) -> float:
    """Between input lug and wiper lug without a bypass."""
    return _between(work.alone, work.nodes[INPUT_LUG], work.nodes[WIPER_LUG], dial)


def gang_ohms(gang: Gang) -> tuple[float, ...]:
    """Of a second section by itself, between the two lugs that are used, at `GANG_DIALS`."""
    return tuple(float(ohms) for ohms in gang.ohms * gang_rheostat(gang).share(GANG_DIALS))


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
        # A joint that nothing reached is open at every dial.
        return 0.0
    return float(np.log(probe.without_ohms / max(probe.ohms, 1e-3))) + 1e-9 * probe.ohms
