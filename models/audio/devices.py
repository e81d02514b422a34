"""The per-step loop through a circuit with transistors and diodes, compiled by numba."""

import numpy as np

from presolder.models.circuit.newton import CURRENTS, OPEN, solve_guarded
from presolder.models.compiled import compiled
from presolder.models.typing import Array


@compiled
def _stand_at(table: Array, dials: Array, dial: float, row: int, now: Array) -> int:
    """Write the step's matrix at a dial; the row it lies above, found from the last."""
    while row < dials.shape[0] - 2 and dial >= dials[row + 1]:
        row += 1
    while row > 0 and dial < dials[row]:
        row -= 1
    above = (dial - dials[row]) / (dials[row + 1] - dials[row])
    below = 1.0 - above
    low, high = table[row].reshape(-1), table[row + 1].reshape(-1)
    flat = now.reshape(-1)
    for i in range(flat.shape[0]):
        flat[i] = below * low[i] + above * high[i]
    return row


@compiled
def _add(
    linear: tuple[int, ...], each: tuple[int, ...], columns: Array, shares: Array, sums: Array
) -> None:
    """Add `columns`, as many as `each` has, times their shares to `sums`.

    Sum by sum: since both lengths are known, the compiler makes four sums at
    once in registers, in a third of the time that it takes column by column.
    """
    for i in range(len(linear) + 4):
        total = 0.0
        for j in range(len(each)):
            total += columns[j, i] * shares[j]
        sums[i] += total


@compiled
def _feed_back(of_currents: Array, rest: Array, square: Array, offset: Array) -> None:
    """What the junctions' currents do to their voltages at this dial."""
    for i in range(offset.shape[0]):
        # The junctions' whole voltages are solved for; all else counts from rest.
        offset[i] = rest[0, i]
        for j in range(offset.shape[0]):
            square[0, i, j] = of_currents[j, i]
            offset[i] -= square[0, i, j] * rest[1, j]


@compiled
def step_devices(
    each: tuple[int, ...],
    linear: tuple[int, ...],
    table: Array,
    table_dials: Array,
    kinds: Array,
    rest: Array,
    weights: Array,
    dial: Array,
    emf: Array,
    past: Array,
    work: Array,
    output: Array,
) -> int:
    """Run the circuit over one block, in place.

    Parameters
    ----------
    each, linear : tuple of int
        As many as there are junctions, and as there are other columns (see
        `Steps.linear`): lengths that are known when this is compiled.
    table : ndarray, shape (rows, c + p, c + 4)
        `Steps.by_columns`.
    table_dials, kinds : ndarray
        As in `Steps`.
    rest : ndarray, shape (2, p)
        Voltages and currents of the junctions at the working point.
    weights : ndarray, shape (3,)
        Of the last three states, newest first.
    dial : ndarray, shape (n,)
        Of each sample.
    emf : ndarray, shape (e * q, n)
        Volts of each EMF at each of a sample's q steps.
    past : ndarray, shape (3, m)
        The last states, newest first, counted from the working point; updated.
    work : ndarray, shape (9, p)
        With the last solutions, as `newton` has it; updated.
    output : ndarray, shape (n * q,)
        Written.

    Returns
    -------
    int
        Index of a step that found no solution, or -1.
    """
    sample_count = emf.shape[1]
    step_count = output.shape[0] // sample_count
    emf_count = emf.shape[0] // step_count
    state_count = past.shape[1]
    last = state_count + len(each)
    now = np.empty((len(linear) + len(each), len(linear) + 4))
    of_currents = now[len(linear) :]
    entry, extra = np.zeros(len(linear)), np.empty(len(each))
    sums = np.empty(len(linear) + 4)
    newest, middle, oldest = past[0].copy(), past[1].copy(), past[2].copy()
    offset, square = np.empty(len(each)), np.empty((2, len(each), len(each)))
    row, stands = 0, -1.0
    for n in range(sample_count):
        if dial[n] != stands:
            stands = dial[n]
            row = _stand_at(table, table_dials, stands, row, now)
            _feed_back(of_currents[:, state_count:], rest, square, offset)
        for q in range(step_count):
            for j in range(state_count):
                entry[j] = weights[0] * newest[j] + weights[1] * middle[j] + weights[2] * oldest[j]
            for k in range(emf_count):
                entry[state_count + k] = emf[k * step_count + q, n]
            sums[:] = 0.0
            _add(linear, linear, now, entry, sums)
            for i in range(len(each)):
                work[OPEN, i] = sums[state_count + i] + offset[i]
            if not solve_guarded(each, kinds, work, square):
                return int(n * step_count + q)
            for j in range(len(each)):
                extra[j] = work[CURRENTS, j] - rest[1, j]
            _add(linear, each, of_currents, extra, sums)
            oldest, middle, newest = middle, newest, oldest
            newest[:] = sums[:state_count]
            output[n * step_count + q] = sums[last]
    past[0], past[1], past[2] = newest, middle, oldest
    return -1
