"""The parts of a circuit, between numbered nodes."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.instrument.law import Taper, fraction_below_wiper
from presolder.models.instrument.network import CONTACT_OHMS, Capacitor, Gang, Leaf, Resistor
from presolder.models.typing import Array

GROUND = 0
OUTPUT = 2


@dataclass(frozen=True)
class Rheostat:
    """A resistance that follows the volume dial.

    Attributes
    ----------
    ohms : float
        Total resistance.
    taper : Taper
        Fraction of the total at each dial position.
    falling : bool
        True if the resistance is the rest of the track (1 - fraction).
    floor_ohms : float
        Lowest resistance at the zero end.
    held_at : float or None
        Where it stands if its shaft is not the volume dial's.
    """

    ohms: float
    taper: Taper
    falling: bool
    floor_ohms: float = 0.0
    held_at: float | None = None

    def share(self, dial: ArrayLike) -> Array:
        """Resistance over total resistance, same shape as `dial`."""
        stands = dial if self.held_at is None else np.full(np.shape(dial), self.held_at)
        fraction = fraction_below_wiper(self.taper, stands)
        share = 1.0 - fraction if self.falling else fraction
        return np.maximum(share, self.floor_ohms / self.ohms)


def gang_rheostat(gang: Gang) -> Rheostat:
    """The law of a second gang, down to the resistance of its contact."""
    return Rheostat(gang.ohms, gang.taper, gang.at_ten == "zero", CONTACT_OHMS)


BranchKind = Literal[
    "resistor", "capacitor", "inductor", "source", "rheostat", "supply", "amplifier"
]


@dataclass(frozen=True)
class Branch:
    """One two-terminal part between nodes `plus` and `minus`.

    `value` is in ohms, farads or henries, for a source its share of the EMF,
    for a supply its volts, for an amplifier how many times the voltage from one
    node of `control` to the other it puts out; `rheostat` is set for rheostats
    only. `part` says what the branch is where somebody may change it:
    ``"cable"`` and ``"input"``, ``"tone"`` for a tone pot, ``"bypass"`` for each
    part of the one under audition, in the order of `placed_parts`. `wave_seconds`
    of a source: how long a wave on the string takes from there to the bridge;
    None for the EMF that all have in common.
    """

    kind: BranchKind
    plus: int
    minus: int
    value: float = 0.0
    rheostat: Rheostat | None = None
    part: str = ""
    control: tuple[int, int] | None = None
    wave_seconds: float | None = None


def branch_of(leaf: Leaf, plus: int, minus: int, part: str = "") -> Branch:
    """A part of a bypass between two nodes."""
    match leaf:
        case Resistor(ohms):
            return Branch("resistor", plus, minus, ohms, part=part)
        case Capacitor(farads):
            return Branch("capacitor", plus, minus, farads, part=part)
        case Gang():
            return Branch("rheostat", plus, minus, rheostat=gang_rheostat(leaf), part=part)


@dataclass(frozen=True)
class Diode:
    """A diode from node `plus` to node `minus`, by Shockley's equation.

    Attributes
    ----------
    plus, minus : int
    saturation_amperes : float
    emission : float
        How many thermal voltages its slope is.
    """

    plus: int
    minus: int
    saturation_amperes: float
    emission: float = 1.0


@dataclass(frozen=True)
class Transistor:
    """A bipolar transistor after Ebers and Moll.

    Attributes
    ----------
    collector, base, emitter : int
        Nodes.
    saturation_amperes : float
        Transport saturation current.
    forward_gain, reverse_gain : float
        Current gains, beta.
    polarity : {1, -1}
        -1 for a PNP, whose currents and voltages are the other way round.
    emission : float
        How many thermal voltages its slopes are.
    early_volts : float
        By how much more from base to collector its current doubles; without end for none.
    """

    collector: int
    base: int
    emitter: int
    saturation_amperes: float
    forward_gain: float
    reverse_gain: float
    polarity: Literal[1, -1] = 1
    emission: float = 1.0
    early_volts: float = math.inf


Device = Diode | Transistor
