"""From a rig and a bypass network to one linear circuit, and to its equations.

The circuit is a list of two-terminal branches. `assemble` turns it into the
descriptor form of modified nodal analysis (Ho, Ruehli and Brennan, "The
modified nodal approach to network analysis", IEEE Trans. Circuits Syst. 22,
1975)::

    E dz/dt = A(dial) z + B u,      y = z[output]

where z holds node voltages followed by the currents of inductors, rheostats
and the source. Rheostats keep their current as an unknown, so that a
resistance of exactly zero (the pot's end stops) needs no special case.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from presolder.models.network import (
    CONTACT_OHMS,
    Capacitor,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
)
from presolder.models.rig import Rig
from presolder.models.taper import Taper, fraction_below_wiper

GROUND = 0
INPUT_LUG = 1
WIPER = 2
_FIRST_FREE_NODE = 3


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
    """

    ohms: float
    taper: Taper
    falling: bool
    floor_ohms: float = 0.0

    def share(self, dial: ArrayLike) -> NDArray[np.float64]:
        """Resistance over total resistance, same shape as `dial`."""
        fraction = fraction_below_wiper(self.taper, dial)
        share = 1.0 - fraction if self.falling else fraction
        return np.maximum(share, self.floor_ohms / self.ohms)


@dataclass(frozen=True)
class Branch:
    """One two-terminal part between nodes `plus` and `minus`.

    `value` is in ohms, farads, henries, or unused for the source; `rheostat`
    is set for rheostats only.
    """

    kind: Literal["resistor", "capacitor", "inductor", "source", "rheostat"]
    plus: int
    minus: int
    value: float = 0.0
    rheostat: Rheostat | None = None


@dataclass(frozen=True)
class Descriptor:
    """The equations E dz/dt = A(dial) z + B u, with n unknowns and m states.

    Attributes
    ----------
    mass : ndarray, shape (n, n)
        E: capacitances and inductances.
    fixed : ndarray, shape (n, n)
        The part of A that does not depend on the dial.
    drive : ndarray, shape (n,)
        B, for the pickup's EMF in volts.
    moving : tuple of (int, Rheostat)
        Row (and column) of each rheostat's current. A rheostat's unknown is its
        current times its total resistance, so that A gets ``share`` there.
    reading : ndarray, shape (m, n)
        Physical states from z: capacitor voltages, inductor currents.
    inertia : ndarray, shape (n, m)
        E z in terms of the physical states alone: E z = inertia @ states.
    output : int
        Index of the output voltage in z.
    """

    mass: NDArray[np.float64]
    fixed: NDArray[np.float64]
    drive: NDArray[np.float64]
    moving: tuple[tuple[int, Rheostat], ...]
    reading: NDArray[np.float64]
    inertia: NDArray[np.float64]
    output: int

    def system(self, dial: ArrayLike) -> NDArray[np.float64]:
        """A at each dial position.

        Parameters
        ----------
        dial : array_like, shape (d,)

        Returns
        -------
        ndarray, shape (d, n, n)
        """
        dials = np.atleast_1d(np.asarray(dial, dtype=np.float64))
        matrices = np.repeat(self.fixed[np.newaxis], dials.size, axis=0)
        for row, rheostat in self.moving:
            matrices[:, row, row] = rheostat.share(dials)
        return matrices


def control_chain(rig: Rig, network: Network | None) -> tuple[Branch, ...]:
    """List the branches of the whole chain, string to input.

    Parameters
    ----------
    rig : Rig
        The instrument and what it feeds.
    network : Network or None
        Bypass from input lug to wiper; None is the bare pot.

    Returns
    -------
    tuple of Branch
        Node 0 is ground, 1 the volume pot's input lug (the pickup's output),
        2 its wiper, which is also the cable and the output.
    """
    free = count(_FIRST_FREE_NODE)
    branches = [
        *_pickup(rig, free),
        Branch("rheostat", INPUT_LUG, WIPER, rheostat=_track(rig, falling=True)),
        Branch("rheostat", WIPER, GROUND, rheostat=_track(rig, falling=False)),
    ]
    if rig.tone is not None:
        lug = INPUT_LUG if rig.tone.wiring == "modern" else WIPER
        share = float(fraction_below_wiper(rig.tone.pot.taper, rig.tone.dial))
        ohms = rig.tone.pot.resistance_ohms * share
        middle = lug if ohms == 0 else next(free)
        if ohms > 0:
            branches.append(Branch("resistor", lug, middle, ohms))
        branches.append(Branch("capacitor", middle, GROUND, rig.tone.capacitance_farads))
    if network is not None:
        branches += _between(network, INPUT_LUG, WIPER, free)
    shunt_farads = rig.cable_farads + rig.load.capacitance_farads
    if shunt_farads > 0:
        branches.append(Branch("capacitor", WIPER, GROUND, shunt_farads))
    if np.isfinite(rig.load.resistance_ohms):
        branches.append(Branch("resistor", WIPER, GROUND, rig.load.resistance_ohms))
    return tuple(branches)


def _pickup(rig: Rig, free: Iterator[int]) -> list[Branch]:
    pickup = rig.pickup
    emf, coil = next(free), next(free)
    branches = [
        Branch("source", emf, GROUND),
        Branch("resistor", emf, coil, pickup.resistance_ohms),
        Branch("inductor", coil, INPUT_LUG, pickup.inductance_henries),
    ]
    if pickup.eddy_ohms is not None:
        branches.append(Branch("resistor", coil, INPUT_LUG, pickup.eddy_ohms))
    if pickup.capacitance_farads > 0:
        branches.append(Branch("capacitor", INPUT_LUG, GROUND, pickup.capacitance_farads))
    return branches


def _track(rig: Rig, *, falling: bool) -> Rheostat:
    return Rheostat(rig.volume.resistance_ohms, rig.volume.taper, falling)


def _between(network: Network, plus: int, minus: int, free: Iterator[int]) -> Iterator[Branch]:
    match network:
        case Resistor(ohms):
            yield Branch("resistor", plus, minus, ohms)
        case Capacitor(farads):
            yield Branch("capacitor", plus, minus, farads)
        case Gang(ohms, taper, at_ten):
            law = Rheostat(ohms, taper, at_ten == "zero", CONTACT_OHMS)
            yield Branch("rheostat", plus, minus, rheostat=law)
        case Parallel(parts):
            for part in parts:
                yield from _between(part, plus, minus, free)
        case Series(parts):
            nodes = [plus, *(next(free) for _ in parts[1:]), minus]
            for part, start, end in zip(parts, nodes, nodes[1:], strict=False):
                yield from _between(part, start, end, free)


def assemble(branches: tuple[Branch, ...]) -> Descriptor:
    """Stamp the branches into the equations of modified nodal analysis.

    Parameters
    ----------
    branches : tuple of Branch
        A connected circuit with one source and its output at the wiper.

    Returns
    -------
    Descriptor
    """
    node_count = 1 + max(max(branch.plus, branch.minus) for branch in branches)
    with_current = [b for b in branches if b.kind in ("inductor", "rheostat", "source")]
    size = node_count + len(with_current)
    reactive = [b for b in branches if b.kind in ("capacitor", "inductor")]
    # Stamped with ground included, which is dropped at the end.
    fixed = np.zeros((size, size))
    drive = np.zeros(size)
    reading = np.zeros((len(reactive), size))
    inertia = np.zeros((size, len(reactive)))
    moving = []
    row = node_count
    state = 0
    for branch in branches:
        ends = np.zeros(size)
        ends[branch.plus], ends[branch.minus] = 1.0, -1.0
        if branch.kind == "resistor":
            fixed -= np.outer(ends, ends) / branch.value
        elif branch.kind == "capacitor":
            reading[state] = ends
            inertia[:, state] = branch.value * ends
            state += 1
        else:
            rheostat = branch.rheostat
            fixed[:, row] -= ends if rheostat is None else ends / rheostat.ohms
            if branch.kind == "inductor":
                fixed[row] += ends
                reading[state, row] = 1.0
                inertia[row, state] = branch.value
                state += 1
            else:
                fixed[row] -= ends
                drive[row] = 1.0 if branch.kind == "source" else 0.0
            if rheostat is not None:
                moving.append((row - 1, rheostat))
            row += 1
    keep = slice(GROUND + 1, None)
    return Descriptor(
        mass=(inertia @ reading)[keep, keep],
        fixed=fixed[keep, keep],
        drive=drive[keep],
        moving=tuple(moving),
        reading=reading[:, keep],
        inertia=inertia[keep],
        output=WIPER - 1,
    )


def describe(rig: Rig, network: Network | None) -> Descriptor:
    """Equations of the chain under audition, EMF to output."""
    return assemble(control_chain(rig, network))


def describe_take(rig: Rig) -> Descriptor:
    """Equations of the chain as it stood while the take was recorded.

    The volume stood at ``rig.take.volume_dial``; everything the take does not
    override is as in the rig.
    """
    take = rig.take
    tone = rig.tone
    if tone is not None and take.tone_dial is not None:
        tone = replace(tone, dial=take.tone_dial)
    load = replace(
        rig.load,
        resistance_ohms=rig.load.resistance_ohms if take.input_ohms is None else take.input_ohms,
        capacitance_farads=(
            rig.load.capacitance_farads if take.input_farads is None else take.input_farads
        ),
    )
    cable_farads = rig.cable_farads if take.cable_farads is None else take.cable_farads
    return describe(replace(rig, tone=tone, load=load, cable_farads=cable_farads), take.network)
