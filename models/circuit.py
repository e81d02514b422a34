"""From the list of parts to the circuit's equations.

`assemble` turns the branches into the descriptor form of modified nodal
analysis (Ho, Ruehli and Brennan, "The modified nodal approach to network
analysis", IEEE Trans. Circuits Syst. 22, 1975)::

    E dz/dt = A(dial) z + B u,      y = z[output]

where z holds node voltages followed by the currents of inductors, rheostats
and the sources. Rheostats keep their current as an unknown, so that a
resistance of exactly zero (the pot's end stops) needs no special case.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from presolder.models.chain import GROUND, OUTPUT, Branch, Rheostat, control_chain
from presolder.models.network import Network
from presolder.models.rig import Rig


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


def assemble(branches: tuple[Branch, ...]) -> Descriptor:
    """Stamp the branches into the equations of modified nodal analysis.

    Parameters
    ----------
    branches : tuple of Branch
        A connected circuit; its sources follow one EMF.

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
                drive[row] = branch.value if branch.kind == "source" else 0.0
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
        output=OUTPUT - 1,
    )


def describe(rig: Rig, network: Network | None) -> Descriptor:
    """Equations of the chain under audition, EMF to output."""
    return assemble(control_chain(rig, network))


def describe_take(rig: Rig) -> Descriptor:
    """Equations of the chain as it stood while the take was recorded.

    The volume stood at ``rig.take.volume_dial``.
    """
    return describe(as_recorded(rig), rig.take.network)


def as_recorded(rig: Rig) -> Rig:
    """The rig with the cable, input and tone dial of its takes.

    Everything that the take does not override is as in the rig.
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
    return replace(rig, tone=tone, load=load, cable_farads=cable_farads)
