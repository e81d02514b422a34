"""What a stage's input is to the guitar, for signals too small to move its working point."""

from itertools import count

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.circuit.branch import GROUND, OUTPUT, Branch
from presolder.models.circuit.equations import small_signal
from presolder.models.circuit.response import transfer
from presolder.models.circuit.stage_parts import stage_parts
from presolder.models.instrument.law import DIAL_MAX
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
    descriptor = small_signal((*source, *parts.branches), parts.devices, stage)
    share = transfer(descriptor, frequency_hz, DIAL_MAX)[0]
    return np.asarray(_SOURCE_OHMS * share / (1.0 - share), dtype=np.complex128)
