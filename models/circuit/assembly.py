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
from numpy.typing import ArrayLike

from presolder.models.circuit.branch import GROUND, OUTPUT, Branch, Rheostat
from presolder.models.typing import Array

_WITH_STATE = ("capacitor", "inductor")
_WITH_CURRENT = ("inductor", "rheostat", "source", "supply", "amplifier")


@dataclass(frozen=True)
class Descriptor:
    """The equations E dz/dt = A(dial) z + B u, with n unknowns and m states.

    Attributes
    ----------
    mass : ndarray, shape (n, n)
        E: capacitances and inductances.
    fixed : ndarray, shape (n, n)
        The part of A that does not depend on the dial.
    drive : ndarray, shape (n, p)
        B, for each EMF in volts: one for all pickups, or one for each place
        along the string.
    wave_seconds : tuple of float or None, p of them
        How long a wave takes from each of those places to the bridge.
    supply : ndarray, shape (n,)
        What batteries add to the right-hand side; nothing where the unknowns
        are counted from their resting values.
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

    mass: Array
    fixed: Array
    drive: Array
    wave_seconds: tuple[float | None, ...]
    supply: Array
    moving: tuple[tuple[int, Rheostat], ...]
    reading: Array
    inertia: Array
    output: int

    def system(self, dial: ArrayLike) -> Array:
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

    @property
    def common_drive(self) -> Array:
        """B for one EMF in all pickups, shape (n,)."""
        return np.asarray(self.drive.sum(axis=1), dtype=np.float64)

    @property
    def size(self) -> int:
        """Number of unknowns, n."""
        return int(self.fixed.shape[0])

    def at(self, node: int) -> "Descriptor":
        """The same circuit, listened to at another node of its chain."""
        return replace(self, output=_row(node))


def _row(node: int) -> int:
    """Where a node's voltage stands in z, ground having no row."""
    return node - 1


def waves_of(branches: tuple[Branch, ...]) -> tuple[float | None, ...]:
    """Which EMFs a circuit has, as `Descriptor.wave_seconds`; most often one for all."""
    sources = (branch.wave_seconds for branch in branches if branch.kind == "source")
    return tuple(dict.fromkeys(sources)) or (None,)


def assemble(branches: tuple[Branch, ...]) -> Descriptor:
    """Stamp the branches into the equations of modified nodal analysis.

    Parameters
    ----------
    branches : tuple of Branch
        A connected circuit; its sources follow one EMF, or each the wave on a
        string as it is at its place.

    Returns
    -------
    Descriptor
    """
    node_count = 1 + max(max(branch.plus, branch.minus) for branch in branches)
    with_current = [b for b in branches if b.kind in _WITH_CURRENT]
    reactive = [b for b in branches if b.kind in _WITH_STATE]
    size = node_count + len(with_current)
    waves = waves_of(branches)
    # Stamped with ground included, which is dropped at the end.
    stamp = _Stamp(
        np.zeros((size, size)),
        waves,
        np.zeros((size, len(waves))),
        np.zeros(size),
        np.zeros((len(reactive), size)),
        np.zeros((size, len(reactive))),
    )
    rows, states = iter(range(node_count, size)), iter(range(len(reactive)))
    moving = []
    for branch in branches:
        # By kind: comparing branches with each other takes longer than all else here.
        state = next(states) if branch.kind in _WITH_STATE else -1
        row = next(rows) if branch.kind in _WITH_CURRENT else -1
        stamp.add(branch, row, state)
        if branch.rheostat is not None:
            moving.append((_row(row), branch.rheostat))
    keep = slice(GROUND + 1, None)
    return Descriptor(
        mass=(stamp.inertia @ stamp.reading)[keep, keep],
        fixed=stamp.fixed[keep, keep],
        drive=stamp.drive[keep],
        wave_seconds=waves,
        supply=stamp.supply[keep],
        moving=tuple(moving),
        reading=stamp.reading[:, keep],
        inertia=stamp.inertia[keep],
        output=_row(OUTPUT),
    )


@dataclass(frozen=True)
class _Stamp:
    """Matrices in the making; as in `Descriptor`, but with ground in row 0."""

    fixed: Array
    waves: tuple[float | None, ...]
    drive: Array
    supply: Array
    reading: Array
    inertia: Array

    def add(self, branch: Branch, row: int, state: int) -> None:
        """Write one branch into them: its current's row, its state's number."""
        ends = np.zeros(self.supply.size)
        ends[branch.plus], ends[branch.minus] = 1.0, -1.0
        match branch.kind:
            case "resistor":
                self.fixed[...] -= np.outer(ends, ends) / branch.value
            case "capacitor":
                self.reading[state] = ends
                self.inertia[:, state] = branch.value * ends
            case "inductor":
                self.fixed[:, row] -= ends
                self.fixed[row] += ends
                self.reading[state, row] = 1.0
                self.inertia[row, state] = branch.value
            case "source" | "supply" | "amplifier":
                self.fixed[:, row] -= ends
                self.fixed[row] -= ends
                self.hold(branch, row)
            case "rheostat":
                assert branch.rheostat is not None
                self.fixed[:, row] -= ends / branch.rheostat.ohms
                self.fixed[row] -= ends

    def hold(self, branch: Branch, row: int) -> None:
        """What a branch's voltage follows: the EMF, a battery, or the voltage of another pair."""
        match branch.kind:
            case "source":
                self.drive[row, self.waves.index(branch.wave_seconds)] = branch.value
            case "supply":
                self.supply[row] = branch.value
            case "amplifier":
                assert branch.control is not None
                self.fixed[row, branch.control[0]] += branch.value
                self.fixed[row, branch.control[1]] -= branch.value
            case "resistor" | "capacitor" | "inductor" | "rheostat":
                pass


def ends_of(pairs: tuple[tuple[int, int], ...], size: int) -> Array:
    """One column a pair of nodes, shape (size, p): 1 at the first and -1 at the second.

    Transposed it reads the voltage between them out of z; as it is, it takes a
    current from the first to the second.
    """
    ends = np.zeros((size, len(pairs)))
    for column, (plus, minus) in enumerate(pairs):
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            if node != GROUND:
                ends[_row(node), column] += sign
    return ends
