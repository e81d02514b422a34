"""The whole circuit, guitar and stage, as steps of time between which junctions are solved.

The third-order backward differentiation formula (Hairer and Wanner, Solving
Ordinary Differential Equations I, section III.1, equation 1.22): stiffly
stable, so that the pot's end stops and transistors that switch settle at once,
and so accurate at nine steps a sample that no more of the linear part is
wrong than a hundredth of a percent at 5 kHz. Everything but the junctions is
linear and solved beforehand at each row of the dial (Yeh, Abel and Smith, IEEE
Trans. Audio, Speech, Lang. Process. 18, 2010; Holters and Zölzer, DAFx-11):
what is left in each step are as many equations as there are junctions.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from presolder.models.circuit.assembly import assemble, ends_of
from presolder.models.circuit.branch import GROUND
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.junctions import filled_up, junctions_of
from presolder.models.circuit.recursion import dial_rows
from presolder.models.circuit.rest import resting
from presolder.models.core import FOUR, fours
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array

# 11/6 z[n] = 3 z[n-1] - 3/2 z[n-2] + 1/3 z[n-3] + step * dz/dt[n].
NEWEST = 11.0 / 6.0
PAST = np.array([3.0, -1.5, 1.0 / 3.0])


@dataclass(frozen=True, eq=False)
class Steps:
    """One step of a circuit with m states and p junctions, tabulated over the dial.

    All is counted from the working point. With h[n] = sum of `PAST` times the
    last three states, u the EMF and j the currents of the junctions::

        (states[n], volts[n], output[n]) = matrix(dial) @ (h[n], u[n], j[n])

    Attributes
    ----------
    dials : ndarray, shape (rows,)
    table : ndarray, shape (rows, m + p + 1, m + e + p)
        Of e EMFs, most often one.
    rest : ndarray, shape (2, p)
        Voltages and currents of the junctions at the working point.
    kinds : ndarray, shape (5, p)
        What junctions are like; see `Junctions.kinds`.

    Notes
    -----
    p is what the core takes: junctions that are not there carry no current.
    """

    dials: Array
    table: Array
    rest: Array
    kinds: Array

    @property
    def junction_count(self) -> int:
        """Number of junctions, p."""
        return int(self.rest.shape[1])

    @property
    def state_count(self) -> int:
        """Number of states, m."""
        return int(self.table.shape[1]) - self.junction_count - 1

    @property
    def emf_count(self) -> int:
        """Number of EMFs."""
        return int(self.table.shape[2]) - self.junction_count - self.state_count

    @property
    def held(self) -> int:
        """Numbers that states and output take, filled up to fours."""
        return FOUR * fours(self.state_count + 1)

    @cached_property
    def by_columns(self) -> Array:
        """The table as the core reads it, shape (rows, m + e + p, p + held).

        By columns, so that sums run side by side and not one after the other: of
        each the voltages of the junctions first.
        """
        rows, _, columns = self.table.shape
        m, p = self.state_count, self.junction_count
        table = np.zeros((rows, columns, p + self.held))
        table[:, :, :p] = np.moveaxis(self.table[:, m : m + p], 1, 2)
        table[:, :, p : p + m] = np.moveaxis(self.table[:, :m], 1, 2)
        table[:, :, p + m] = self.table[:, m + p]
        return table


def tabulate_steps(rig: Rig, network: Network | None, steps_per_second: float) -> Steps:
    """Tabulate the circuit of a rig that feeds a stage.

    Parameters
    ----------
    rig : Rig
        Its load has a stage.
    network : Network or None
        The bypass.
    steps_per_second : float

    Returns
    -------
    Steps

    Raises
    ------
    InputError
        If the stage has no working point.
    """
    assert rig.load.stage is not None
    dials = dial_rows()
    chain = control_chain(rig, network)
    descriptor = assemble(chain.branches)
    size = descriptor.size
    junctions = filled_up(junctions_of(chain.devices, size))
    heard = ends_of(((chain.stage_output, GROUND),), size)
    picked = np.vstack([descriptor.reading, junctions.ends.T, heard.T])
    sources = np.column_stack(
        [
            steps_per_second * descriptor.inertia,
            descriptor.drive,
            -junctions.ends @ junctions.coupling,
        ]
    )
    pencil = NEWEST * steps_per_second * descriptor.mass - descriptor.system(dials)
    table = picked @ np.linalg.solve(pencil, sources)
    volts = np.zeros(junctions.saturation.size)
    at_rest = resting(rig.load.stage).junction_volts
    volts[: at_rest.size] = at_rest
    rest = np.array([volts, junctions.currents(volts)])
    return Steps(dials, np.ascontiguousarray(table), rest, junctions.kinds)
