"""What an ohmmeter reads while a bypass is soldered in, part by part."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from presolder.models.circuit.branch import (
    GROUND,
    OUTPUT,
    Branch,
    Rheostat,
    branch_of,
    gang_rheostat,
)
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.ohms import ohms_between
from presolder.models.instrument.controls import Load
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Gang, Network
from presolder.models.instrument.onward import Volume
from presolder.models.instrument.placement import (
    GROUND_LUG,
    INPUT_LUG,
    WIPER_LUG,
    Placed,
    placed_parts,
)
from presolder.models.instrument.rig import Capture, Channel, Rig, VolumeWiring

_DIALS = (0.0, 5.0)
# Where the other volumes may be set for the work.
_OTHERS = (10.0, 0.0)
# Pots as they are sold: common practice, no source.
_STRAYED = (0.8, 1.0, 1.2)
GANG_DIALS = (10.0, 5.0, 0.0)
# With the track in the way a part that changes the reading by less is not seen.
TELLING_RATIO = 1.1


@dataclass(frozen=True)
class Ohms:
    """What a meter reads: with pots as marked, and as far off as they are sold."""

    low: float
    middle: float
    high: float


Found = Literal["fits", "untold", "as without", "short", "open", "neither"]
# A meter's own error and the resistance of its leads: common practice, no source.
_METER_ERROR, _LEADS_OHMS = 0.03, 2.0


def found_by(read: float, expected: Ohms, without: Ohms | None = None) -> Found:
    """What a reading says of the work.

    Parameters
    ----------
    read : float
        Ohms; infinite for open.
    expected, without : Ohms
        With the work done right, and without what was soldered last.

    Returns
    -------
    {"fits", "untold", "as without", "short", "open", "neither"}
        ``untold`` where it fits with the part and without it.
    """
    fits, unfitted = _within(read, expected), without is not None and _within(read, without)
    if fits:
        return "untold" if unfitted else "fits"
    if unfitted:
        return "as without"
    if np.isinf(read):
        return "open"
    return "short" if read <= _LEADS_OHMS else "neither"


def _within(read: float, ohms: Ohms) -> bool:
    low, high = ohms.low / (1 + _METER_ERROR), ohms.high * (1 + _METER_ERROR) + _LEADS_OHMS
    return low <= read <= high


@dataclass(frozen=True)
class Probe:
    """A reading to take when a part has been soldered.

    Attributes
    ----------
    part : Placed
    dial : float
        Where the volume knob stands.
    ohms : Ohms
        Between the part's two ends, everything up to it being there.
    without : Ohms
        The same if the part were not.
    """

    part: Placed
    dial: float
    ohms: Ohms
    without: Ohms

    @property
    def tells(self) -> bool:
        """Whether the reading shows that the part is there."""
        if np.isinf(self.ohms.middle) or np.isinf(self.without.middle):
            return self.ohms.middle != self.without.middle
        return bool(self.without.middle > TELLING_RATIO * self.ohms.middle)


@dataclass(frozen=True, eq=False)
class Work:
    """A volume pot that gets the design under audition, ready to be measured at.

    Attributes
    ----------
    name : str
        What to call it beside the others.
    one : Channel or Volume
    wiring : {"lug", "independent"}
    before : tuple of Branch
        What an ohmmeter sees before the work begins: the guitar as it stands,
        nothing plugged in, the work at earlier pots done.
    alone : tuple of Branch
        The same with nothing across this pot.
    nodes : mapping of str to int
        Of its lugs.
    others_at : float or None
        Where the other channels' volumes stand; None if there are none.
    """

    name: str
    one: Channel | Volume
    wiring: VolumeWiring
    before: tuple[Branch, ...]
    alone: tuple[Branch, ...]
    nodes: Mapping[str, int]
    others_at: float | None = None


def works(rig: Rig, network: Network | None = None) -> tuple[Work, ...]:
    """Every pot that gets the design, in their order.

    Parameters
    ----------
    rig : Rig
        As it stands.
    network : Network or None
        The design. The other volumes are set where its parts show most.
    """
    return tuple(
        _work(rig, name, at, network)
        for at, (name, one) in enumerate(zip(rig.volume_names, rig.volumes, strict=True))
        if one.auditioned
    )


def _work(rig: Rig, name: str, at: int, network: Network | None) -> Work:
    one = rig.volumes[at]
    if rig.pedal is not None and one is rig.pedal.volume:
        # Nothing is plugged into it, so its track is all there is.
        side, pot = OUTPUT - 1, one.volume
        track = tuple(
            Branch("rheostat", *ends, rheostat=Rheostat(pot.resistance_ohms, pot.taper, up))
            for ends, up in (((side, OUTPUT), True), ((OUTPUT, GROUND), False))
        )
        return Work(name, one, "lug", track, track, _lugs(side, OUTPUT, "lug"))
    free = isinstance(one, Channel) and len(rig.channels) > 1 and rig.blend_dial is None
    tried = [_standing(rig, name, at, network, dial) for dial in (_OTHERS if free else (None,))]
    if network is None:
        return tried[0]
    return max(tried, key=lambda work: sum(map(_shows, probes(work, network))))


def _standing(
    rig: Rig, name: str, at: int, network: Network | None, others_at: float | None
) -> Work:
    """The whole guitar with one pot turned, and the others where they stand or are set."""
    old, made = rig.take.network, []
    for k, other in enumerate(rig.volumes):
        # Of those that get the design, the earlier ones have it by now.
        fitted = (network if k < at else old) if other.auditioned else other.bypass
        stands = DIAL_MAX if other.held_at is None else other.held_at
        if others_at is not None and isinstance(other, Channel):
            stands = others_at
        made.append(replace(other, bypass=fitted, held_at=stands))
    made[at] = replace(rig.volumes[at], bypass="auditioned", held_at=None)
    plain = replace(
        rig,
        cable_farads=0.0,
        load=Load(),
        take=Capture("string"),
        dirt=None,
        pedal=None,
        buffer=None,
    )
    whole = plain.with_volumes(tuple(made[: len(plain.volumes)]))
    chain, wiring = control_chain(whole, None), rig.volume_wiring
    if not isinstance(rig.volumes[at], Channel):
        wiring = "lug"
    nodes = _lugs(chain.places[0].start, chain.places[0].end, wiring)
    before = control_chain(whole, old).branches
    return Work(name, rig.volumes[at], wiring, before, chain.branches, nodes, others_at)


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
    branches, found = work.alone, []
    for part, added in _added(work, network):
        grown, ends = (*branches, added), (added.plus, added.minus)
        tried = [
            Probe(part, dial, _between(grown, *ends, dial), _between(branches, *ends, dial))
            for dial in _DIALS
        ]
        found.append(max(tried, key=_shows))
        branches = grown
    return tuple(found)


def _added(work: Work, network: Network | None) -> Iterator[tuple[Placed, Branch]]:
    """Each part of a design, and the branch that it becomes across this pot."""
    nodes = dict(work.nodes)
    free = 1 + max(max(branch.plus, branch.minus) for branch in work.alone)
    for part in placed_parts(network):
        for place in (part.start, part.end):
            if place not in nodes:
                nodes[place] = free
                free += 1
        yield part, branch_of(part.leaf, nodes[part.start], nodes[part.end])


@dataclass(frozen=True)
class Across:
    """What is read from input lug to wiper lug: before the work, with nothing there, and after."""

    dial: float
    before: Ohms
    without: Ohms
    after: Ohms


def across(work: Work, network: Network | None) -> Across:
    """The reading from lug to lug that shows most of the work, at the dial where it does."""
    ends = work.nodes[INPUT_LUG], work.nodes[WIPER_LUG]
    whole = (*work.alone, *(added for _, added in _added(work, network)))

    def shows(read: Across) -> tuple[float, float]:
        return read.without.middle / max(read.after.middle, 1e-3), read.without.middle

    states = work.before, work.alone, whole
    read = (Across(dial, *(_between(one, *ends, dial) for one in states)) for dial in _DIALS)
    return max(read, key=shows)


def gang_ohms(gang: Gang) -> tuple[float, ...]:
    """Of a second section by itself, between the two lugs that are used, at `GANG_DIALS`."""
    return tuple(float(ohms) for ohms in gang.ohms * gang_rheostat(gang).share(GANG_DIALS))


def _between(branches: tuple[Branch, ...], plus: int, minus: int, dial: float) -> Ohms:
    # A joint that nothing reaches yet is no node of the chain.
    if max(plus, minus) > max(max(branch.plus, branch.minus) for branch in branches):
        return Ohms(np.inf, np.inf, np.inf)
    return Ohms(*(ohms_between(_strayed(branches, by), plus, minus, dial) for by in _STRAYED))


def _strayed(branches: tuple[Branch, ...], by: float) -> tuple[Branch, ...]:
    """With all pots off by a factor."""
    return tuple(
        branch
        if branch.rheostat is None
        else replace(branch, rheostat=replace(branch.rheostat, ohms=by * branch.rheostat.ohms))
        for branch in branches
    )


def _shows(probe: Probe) -> float:
    """How clearly a part shows; of what does not show, the higher reading."""
    if np.isinf(probe.without.middle):
        # A joint that nothing reached is open at every dial.
        return 0.0
    ratio = probe.without.middle / max(probe.ohms.middle, 1e-3)
    return float(np.log(ratio)) + 1e-9 * probe.ohms.middle
