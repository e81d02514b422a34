"""What a stage's input is to the guitar, for signals too small to move its working point."""

from itertools import count

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.branch import GROUND, OUTPUT, Branch
from presolder.models.circuit.junctions import junctions_of, linearised
from presolder.models.circuit.rest import resting
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.instrument.stage import Stage
from presolder.models.typing import ComplexArray

# A source of 1 V behind so much drives the input; the voltage there tells the rest.
_SOURCE, _SOURCE_OHMS = 1, 1e4


def entrance_ohms(stage: Stage, frequency_hz: ArrayLike) -> ComplexArray:
    """Impedance of a stage's input at its working point.

    Parameters
    ----------
    stage : Stage
    frequency_hz : array_like, shape (f,)

    Returns
    -------
    ndarray of complex, shape (f,)
        Ohms.

    Raises
    ------
    InputError
        If the stage has no working point.
    """
    parts = stage_parts(stage, OUTPUT, count(OUTPUT + 1))
    source = (
        Branch("source", _SOURCE, GROUND, 1.0),
        Branch("resistor", _SOURCE, OUTPUT, _SOURCE_OHMS),
    )
    descriptor = assemble((*source, *parts.branches))
    junctions = junctions_of(parts.devices, descriptor.drive.size)
    fixed = linearised(descriptor, junctions, resting(stage).junction_volts)
    s = 2j * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    pencil = s[:, None, None] * descriptor.mass - fixed
    share = np.linalg.solve(pencil, descriptor.drive[:, None])[:, descriptor.output, 0]
    return np.asarray(_SOURCE_OHMS * share / (1.0 - share), dtype=np.complex128)
