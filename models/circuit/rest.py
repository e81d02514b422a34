"""Where a stage's voltages stand while nothing is played."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, count

import numpy as np

from presolder.models.circuit.assembly import Descriptor, assemble
from presolder.models.circuit.branch import GROUND, OUTPUT, Branch
from presolder.models.circuit.junctions import Junctions, filled_up, junctions_of
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.core import solve_junctions
from presolder.models.errors import InputError
from presolder.models.instrument.stage import Stage
from presolder.models.typing import Array

# Switched on with all capacitors empty, then ever longer steps until nothing moves.
_FIRST_STEP_S, _LAST_STEP_S = 1e-6, 1e6
# No guitar puts direct voltage on a stage, since a capacitor stands at each one's input.
_GUITAR_OHMS = 1e6
_MOST_VOLTS_AT_INPUT = 1e-3


@dataclass(frozen=True, eq=False)
class Rest:
    """A stage's working point.

    Attributes
    ----------
    junction_volts : ndarray, shape (p,)
        Across each junction, in the order of `junctions_of`.
    node_volts : dict of str to float
        At the nodes that the stage names.
    """

    junction_volts: Array
    node_volts: dict[str, float]


def resting(stage: Stage) -> Rest:
    """A stage's working point.

    Raises
    ------
    InputError
        If none is found.

    Notes
    -----
    The circuit is switched on and left alone: implicit Euler steps of growing
    length (pseudo-transient continuation; Kelley and Keyes, SIAM J. Numer.
    Anal. 35, 1998).
    """
    return _found(stage.apart_from_playing())


@lru_cache(maxsize=64)
def _found(stage: Stage) -> Rest:
    parts = stage_parts(stage, OUTPUT, chain(range(1, OUTPUT), count(OUTPUT + 1)))
    guitar = Branch("resistor", OUTPUT, GROUND, _GUITAR_OHMS)
    descriptor = assemble((guitar, *parts.branches))
    junctions = junctions_of(parts.devices, descriptor.size)
    try:
        unknowns, volts = _settled(descriptor, junctions, stage)
    except np.linalg.LinAlgError:
        raise InputError(f"{stage.kind}: parts hang in the air, or sources fight") from None
    if abs(unknowns[OUTPUT - 1]) > _MOST_VOLTS_AT_INPUT:
        raise InputError(
            f"{stage.kind}: {unknowns[OUTPUT - 1]:.3g} V stand at its input, which a guitar would"
            " change; a capacitor is wanted there"
        )
    return Rest(volts, {name: float(unknowns[node - 1]) for name, node in parts.names.items()})


def _settled(descriptor: Descriptor, junctions: Junctions, stage: Stage) -> tuple[Array, Array]:
    own, junctions = junctions.saturation.size, filled_up(junctions)
    kinds, p = junctions.kinds, junctions.saturation.size
    unknowns, solutions, currents = np.zeros(descriptor.size), np.zeros((3, p)), np.zeros(p)
    taken = junctions.ends @ junctions.coupling
    step_s = _FIRST_STEP_S
    while step_s < _LAST_STEP_S:
        step_s *= 1.4
        pencil = descriptor.mass / step_s - descriptor.fixed
        without = np.linalg.solve(pencil, descriptor.mass @ unknowns / step_s + descriptor.supply)
        per_ampere = -np.linalg.solve(pencil, taken)
        feedback = np.ascontiguousarray((junctions.ends.T @ per_ampere).T)
        if not solve_junctions(kinds, feedback, junctions.ends.T @ without, solutions, currents):
            raise InputError(f"{stage.kind} has no working point with these settings")
        unknowns = without + per_ampere @ currents
    return unknowns, solutions[0, :own].copy()
