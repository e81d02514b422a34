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
    gang_rheostat,
)
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.instrument.controls import Pickup, Pot, Tone
from presolder.models.instrument.network import (
    CONTACT_OHMS,
    Capacitor,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
)
from presolder.models.instrument.rig import Channel, Rig, VolumeWiring
from presolder.models.instrument.taper import fraction_below_wiper

# The first channel's; further ones get the next free node.
PICKUP_SIDE = 1
_FIRST_FREE_NODE = 3
# Between which lugs the bypass lies; all but the first are mistakes.
BypassLugs = Literal["input-wiper", "input-ground", "wiper-ground"]


@dataclass(frozen=True)
class Chain:
    """A control chain as a circuit.

    Attributes
    ----------
    branches : tuple of Branch
        Node 0 is ground, 2 the output, which is also the cable.
    sides : tuple of int
        For each channel the node of the pickup's side of its volume pot. That
        is the input lug, and the wiper with the independent wiring. A bypass
        lies between it and the output.
    devices : tuple of Diode or Transistor
        Of the stage that the guitar feeds, whose branches are among the others.
    stage_output : int
        The node where the stage is listened to; without one, the output.
    """

    branches: tuple[Branch, ...]
    sides: tuple[int, ...]
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
    free = count(_FIRST_FREE_NODE)
    branches: list[Branch] = []
    sides: list[int] = []
    for channel in rig.channels:
        # Two pots that both stand at 0 must not be two ideal shorts across one output.
        floor_ohms = CONTACT_OHMS if sides else 0.0
        sides.append(next(free) if sides else PICKUP_SIDE)
        branches += _channel(channel, network, rig.volume_wiring, lugs, sides[-1], floor_ohms, free)
    shunt_farads = rig.cable_farads + rig.load.capacitance_farads
    if shunt_farads > 0:
        branches.append(Branch("capacitor", OUTPUT, GROUND, shunt_farads, part="cable"))
    if np.isfinite(rig.load.resistance_ohms):
        branches.append(Branch("resistor", OUTPUT, GROUND, rig.load.resistance_ohms, part="input"))
    if rig.load.stage is None:
        return Chain(tuple(branches), tuple(sides))
    stage = stage_parts(rig.load.stage, OUTPUT, free)
    return Chain((*branches, *stage.branches), tuple(sides), stage.devices, stage.output)


def _channel(
    channel: Channel,
    network: Network | None,
    wiring: VolumeWiring,
    lugs: BypassLugs,
    side: int,
    floor_ohms: float,
    free: Iterator[int],
) -> list[Branch]:
    # With the independent wiring the pickup is at the wiper, the output at the input lug.
    place = {"input": side, "wiper": OUTPUT, "ground": GROUND}
    if wiring == "independent":
        place["input"], place["wiper"] = OUTPUT, side
    start, end = (place[lug] for lug in lugs.split("-"))
    if GROUND not in (start, end):
        start, end = side, OUTPUT
    branches = [
        *_pickup(channel.pickup, side, channel.strength, free),
        *_volume(channel.volume, wiring, side, floor_ohms),
        *_tone(channel.tone, side, free),
        *_bypass(channel, network, start, end, free),
    ]
    return [_held(branch, channel.held_at) for branch in branches]


def _pickup(pickup: Pickup, side: int, strength: float, free: Iterator[int]) -> list[Branch]:
    emf, coil = next(free), next(free)
    branches = [
        Branch("source", emf, GROUND, strength),
        Branch("resistor", emf, coil, pickup.resistance_ohms),
    ]
    if pickup.leakage_henries > 0:
        core = next(free)
        branches.append(Branch("inductor", coil, core, pickup.leakage_henries))
        coil = core
    henries = pickup.inductance_henries - pickup.leakage_henries
    branches.append(Branch("inductor", coil, side, henries))
    if pickup.eddy_ohms is not None:
        branches.append(Branch("resistor", coil, side, pickup.eddy_ohms))
    if pickup.capacitance_farads > 0:
        branches.append(Branch("capacitor", side, GROUND, pickup.capacitance_farads))
    return branches


def _volume(pot: Pot, wiring: VolumeWiring, side: int, floor_ohms: float) -> tuple[Branch, Branch]:
    """The track's two parts; the lower one ends where the wiper is wired."""
    upper = Rheostat(pot.resistance_ohms, pot.taper, True)
    lower = Rheostat(pot.resistance_ohms, pot.taper, False, floor_ohms)
    wiper = OUTPUT if wiring == "lug" else side
    return (
        Branch("rheostat", side, OUTPUT, rheostat=upper),
        Branch("rheostat", wiper, GROUND, rheostat=lower),
    )


def _tone(tone: Tone | None, side: int, free: Iterator[int]) -> list[Branch]:
    if tone is None:
        return []
    start = side if tone.wiring == "modern" else OUTPUT
    ohms = tone.pot.resistance_ohms * float(fraction_below_wiper(tone.pot.taper, tone.dial))
    if ohms == 0:
        return [Branch("capacitor", start, GROUND, tone.capacitance_farads)]
    middle = next(free)
    return [
        Branch("resistor", start, middle, ohms, part="tone"),
        Branch("capacitor", middle, GROUND, tone.capacitance_farads),
    ]


def _bypass(
    channel: Channel, network: Network | None, start: int, end: int, free: Iterator[int]
) -> list[Branch]:
    fitted = channel.fitted(network)
    part = "bypass" if channel.auditioned else ""
    return [] if fitted is None else list(_between(fitted, start, end, free, part))


def _held(branch: Branch, dial: float | None) -> Branch:
    """The branch with its rheostat, if it has one, held at a dial of its own."""
    if branch.rheostat is None:
        return branch
    return replace(branch, rheostat=replace(branch.rheostat, held_at=dial))


def _between(
    network: Network, plus: int, minus: int, free: Iterator[int], name: str
) -> Iterator[Branch]:
    match network:
        case Resistor(ohms):
            yield Branch("resistor", plus, minus, ohms, part=name)
        case Capacitor(farads):
            yield Branch("capacitor", plus, minus, farads, part=name)
        case Gang():
            yield Branch("rheostat", plus, minus, rheostat=gang_rheostat(network), part=name)
        case Parallel(parts):
            for part in parts:
                yield from _between(part, plus, minus, free, name)
        case Series(parts):
            nodes = [plus, *(next(free) for _ in parts[1:]), minus]
            for part, start, end in zip(parts, nodes, nodes[1:], strict=False):
                yield from _between(part, start, end, free, name)
