"""From a rig and a bypass network to the list of parts between string and input."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count
from typing import Literal

import numpy as np

from presolder.models.circuit.branch import (
    GROUND,
    OUTPUT,
    Branch,
    Device,
    Rheostat,
    branch_of,
)
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.decibels import amplitude
from presolder.models.instrument.controls import Pickup, Tone
from presolder.models.instrument.law import fraction_below_wiper
from presolder.models.instrument.network import (
    CONTACT_OHMS,
    Network,
    Parallel,
    Series,
)
from presolder.models.instrument.onward import Buffer, Volume
from presolder.models.instrument.rig import Channel, Rig, VolumeWiring
from presolder.models.instrument.source import (
    CoilsInParallel,
    CoilsInSeries,
    Piezo,
    Source,
    Wound,
)
from presolder.models.instrument.string import String

# The first channel's; further ones get the next free node.
PICKUP_SIDE = 1
_FIRST_FREE_NODE = 3
# Between which lugs the bypass lies; all but the first are mistakes.
BypassLugs = Literal["input-wiper", "input-ground", "wiper-ground"]


@dataclass(frozen=True)
class Place:
    """Where the design under audition goes: between two nodes, beside a knob.

    Attributes
    ----------
    start, end : int
        The input lug and the wiper lug; with the independent wiring the other way round.
    held_at : float or None
        Where the knob stands if it does not follow the dial.
    """

    start: int
    end: int
    held_at: float | None


@dataclass(frozen=True)
class Chain:
    """A control chain as a circuit.

    Attributes
    ----------
    branches : tuple of Branch
        Node 0 is ground, 2 the output, which is the input at the far end.
    places : tuple of Place
        One for each volume that gets the design under audition.
    devices : tuple of Diode or Transistor
        Of the stage that the guitar feeds, whose branches are among the others.
    stage_output : int
        The node where the stage is listened to; without one, the output.
    """

    branches: tuple[Branch, ...]
    places: tuple[Place, ...]
    devices: tuple[Device, ...] = ()
    stage_output: int = OUTPUT


def control_chain(rig: Rig, network: Network | None, lugs: BypassLugs = "input-wiper") -> Chain:
    """List the branches of the whole chain, string to input.

    Parameters
    ----------
    rig : Rig
        The instrument and what it feeds.
    network : Network or None
        Bypass between input lug and wiper; None is the bare pot.
    lugs : {"input-wiper", "input-ground", "wiper-ground"}
        Where the bypass lies instead, by mistake, when a fault is looked for.

    Returns
    -------
    Chain
    """
    onward = [one for one in (rig.master, rig.buffer, rig.pedal) if one is not None]
    free = count(_FIRST_FREE_NODE)
    # Where what the sound goes through next begins; the last ends at the output.
    nodes = iter([*(next(free) for _ in onward), OUTPUT])
    draft = _Draft(network, lugs, rig.volume_wiring, free, rig.take.string, [], [])
    here = next(nodes)
    for channel in rig.channels:
        draft.add_channel(channel, here)
    there = here if rig.master is None else next(nodes)
    draft.branches.extend(_tone(rig.tone, here, there, free))
    if rig.master is not None:
        draft.add_volume(rig.master, here, there, "lug")
    here = there
    if rig.buffer is not None and rig.buffer.place == "guitar":
        there = next(nodes)
        draft.branches.extend(_buffer(rig.buffer, here, there, free))
        here = there
    # What a cable feeds without anything between them lies beside it.
    beside_farads = rig.load.capacitance_farads if here == OUTPUT else 0.0
    draft.branches.extend(_capacitor(here, rig.cable_farads + beside_farads, "cable"))
    if rig.buffer is not None and rig.buffer.place == "cable":
        there = next(nodes)
        draft.branches.extend(_buffer(rig.buffer, here, there, free))
        here = there
    if rig.pedal is not None:
        draft.add_volume(rig.pedal.volume, here, OUTPUT, "lug")
        draft.branches.extend(_capacitor(OUTPUT, rig.pedal.cable_farads))
    draft.branches.extend(_capacitor(OUTPUT, rig.load.capacitance_farads - beside_farads))
    if np.isfinite(rig.load.resistance_ohms):
        ohms = rig.load.resistance_ohms
        draft.branches.append(Branch("resistor", OUTPUT, GROUND, ohms, part="input"))
    places = tuple(draft.places)
    if rig.load.stage is None:
        return Chain(tuple(draft.branches), places)
    stage = stage_parts(rig.load.stage, OUTPUT, free)
    return Chain((*draft.branches, *stage.branches), places, stage.devices, stage.output)


@dataclass(frozen=True)
class _Draft:
    """A chain in the making; its lists grow."""

    network: Network | None
    lugs: BypassLugs
    wiring: VolumeWiring
    free: Iterator[int]
    string: String | None
    branches: list[Branch]
    places: list[Place]

    def add_channel(self, channel: Channel, joined: int) -> None:
        """From a source to where the channels join."""
        side = next(self.free) if self.branches else PICKUP_SIDE
        feed = _Feed(self.free, self.string)
        self.branches.extend(_source(channel.pickup, side, GROUND, channel.strength, feed))
        self.add_volume(channel, side, joined, self.wiring, channel.tone)

    def add_volume(
        self,
        one: Channel | Volume,
        side: int,
        onward: int,
        wiring: VolumeWiring,
        tone: Tone | None = None,
    ) -> None:
        """A pot with its bypass; the track's lower part ends where the wiper is wired."""
        pot, wiper = one.volume, onward if wiring == "lug" else side
        # Two pots that both stand at 0 must not be two ideal shorts across one node.
        another = any(branch.kind == "rheostat" for branch in self.branches)
        floor_ohms = CONTACT_OHMS if another else 0.0
        upper = Rheostat(pot.resistance_ohms, pot.taper, True, held_at=one.held_at)
        lower = Rheostat(pot.resistance_ohms, pot.taper, False, floor_ohms, one.held_at)
        self.branches.append(Branch("rheostat", side, onward, rheostat=upper))
        self.branches.append(Branch("rheostat", wiper, GROUND, rheostat=lower))
        self.branches.extend(_tone(tone, side, onward, self.free))
        place = Place(side, onward, one.held_at)
        if one.auditioned:
            self.places.append(place)
        fitted = one.fitted(self.network)
        if fitted is not None:
            start, end = self.ends(place, wiring)
            part = "bypass" if one.auditioned else ""
            for branch in _between(fitted, start, end, self.free, part):
                self.branches.append(_held(branch, one.held_at))

    def ends(self, place: Place, wiring: VolumeWiring) -> tuple[int, int]:
        """The nodes that a bypass lies between."""
        # With the independent wiring the pickup is at the wiper, the output at the input lug.
        at = {"input": place.start, "wiper": place.end, "ground": GROUND}
        if wiring == "independent":
            at["input"], at["wiper"] = place.end, place.start
        start, end = (at[lug] for lug in self.lugs.split("-"))
        return (start, end) if GROUND in (start, end) else (place.start, place.end)


def _buffer(buffer: Buffer, here: int, there: int, free: Iterator[int]) -> list[Branch]:
    inside, gain = next(free), amplitude(buffer.gain_db)
    branches = [
        Branch("resistor", here, GROUND, buffer.input_ohms),
        Branch("amplifier", inside, GROUND, gain, control=(here, GROUND)),
        Branch("resistor", inside, there, buffer.output_ohms),
    ]
    branches += _capacitor(here, buffer.input_farads)
    return branches


def _capacitor(node: int, farads: float, part: str = "") -> list[Branch]:
    return [Branch("capacitor", node, GROUND, farads, part=part)] if farads > 0 else []


@dataclass(frozen=True)
class _Feed:
    """What coils take: nodes, and a wave on a string if the take is of one."""

    free: Iterator[int]
    string: String | None

    def emf(self, coil: Pickup | Piezo, minus: int, share: float) -> Branch:
        """The source of a coil, at a node of its own."""
        seconds = None
        if self.string is not None:
            assert isinstance(coil, Pickup) and coil.from_bridge_metres is not None
            seconds = self.string.wave_seconds(coil.from_bridge_metres)
        return Branch("source", next(self.free), minus, share, wave_seconds=seconds)


def _source(source: Source, plus: int, minus: int, share: float, feed: _Feed) -> Iterator[Branch]:
    """Coils between two nodes, each with an EMF of its own that follows the string."""
    match source:
        case CoilsInParallel(parts):
            for part in parts:
                yield from _source(part, plus, minus, share, feed)
        case CoilsInSeries(parts):
            nodes = [plus, *(next(feed.free) for _ in parts[1:]), minus]
            for part, start, end in zip(parts, nodes, nodes[1:], strict=False):
                yield from _source(part, start, end, share, feed)
        case Wound(pickup, own):
            yield from _source(pickup, plus, minus, share * own, feed)
        case Piezo(farads, leakage):
            emf = feed.emf(source, minus, share)
            yield emf
            yield Branch("capacitor", emf.plus, plus, farads)
            if leakage is not None:
                yield Branch("resistor", plus, minus, leakage)
        case Pickup():
            yield from _pickup(source, plus, minus, share, feed)


def _pickup(pickup: Pickup, plus: int, minus: int, share: float, feed: _Feed) -> Iterator[Branch]:
    emf, coil = feed.emf(pickup, minus, share), next(feed.free)
    yield emf
    yield Branch("resistor", emf.plus, coil, pickup.resistance_ohms)
    if pickup.leakage_henries > 0:
        core = next(feed.free)
        yield Branch("inductor", coil, core, pickup.leakage_henries)
        coil = core
    yield Branch("inductor", coil, plus, pickup.inductance_henries - pickup.leakage_henries)
    if pickup.eddy_ohms is not None:
        yield Branch("resistor", coil, plus, pickup.eddy_ohms)
    if pickup.capacitance_farads > 0:
        yield Branch("capacitor", plus, minus, pickup.capacitance_farads)


def _tone(tone: Tone | None, side: int, onward: int, free: Iterator[int]) -> list[Branch]:
    if tone is None or not tone.connected:
        return []
    start = side if tone.wiring == "modern" else onward
    ohms = tone.pot.resistance_ohms * float(fraction_below_wiper(tone.pot.taper, tone.dial))
    # Less than any contact has is none; a conductance without end could not be reckoned with.
    if ohms < CONTACT_OHMS:
        return [Branch("capacitor", start, GROUND, tone.capacitance_farads)]
    middle = next(free)
    return [
        Branch("resistor", start, middle, ohms, part="tone"),
        Branch("capacitor", middle, GROUND, tone.capacitance_farads),
    ]


def _held(branch: Branch, dial: float | None) -> Branch:
    """The branch with its rheostat, if it has one, held at a dial of its own."""
    if branch.rheostat is None:
        return branch
    return replace(branch, rheostat=replace(branch.rheostat, held_at=dial))


def _between(
    network: Network, plus: int, minus: int, free: Iterator[int], name: str
) -> Iterator[Branch]:
    match network:
        case Parallel(parts):
            for part in parts:
                yield from _between(part, plus, minus, free, name)
        case Series(parts):
            nodes = [plus, *(next(free) for _ in parts[1:]), minus]
            for part, start, end in zip(parts, nodes, nodes[1:], strict=False):
                yield from _between(part, start, end, free, name)
        case _:
            yield branch_of(network, plus, minus, name)
