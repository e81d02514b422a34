"""The per-step loop through a circuit with transistors and diodes, compiled by numba."""

import numpy as np
from numba import njit

from presolder.models.circuit.newton import CURRENTS, OPEN, solve_guarded
from presolder.models.typing import Array


@njit(cache=True, nogil=True, error_model="numpy")
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


@njit(cache=True, nogil=True, error_model="numpy")
def _without_currents(fours: tuple[int, ...], now: Array, entry: Array, sums: Array) -> None:
    """What states and EMF alone come to in a step; written to `sums`."""
    sums[:] = 0.0
    for group in range(len(fours)):
        j = 4 * group
        one, two, three, four = entry[j], entry[j + 1], entry[j + 2], entry[j + 3]
        for i in range(4 * len(fours) + 4):
            sums[i] += (now[j, i] * one + now[j + 1, i] * two) + (
                now[j + 2, i] * three + now[j + 3, i] * four
            )


@njit(cache=True, nogil=True, error_model="numpy")
def step_devices(
    each: tuple[int, ...],
    fours: tuple[int, ...],
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
    each, fours : tuple of int
        As many as there are junctions, and as there are fours of linear columns
        (see `Steps.fours`): lengths that are known when this is compiled.
    table : ndarray, shape (rows, 4 * fours + p, 4 * fours + 4)
        `Steps.by_columns`.
    table_dials, kinds : ndarray
        As in `Steps`.
    rest : ndarray, shape (2, p)
        Voltages and currents of the junctions at the working point.
    weights : ndarray, shape (3,)
        Of the last three states, newest first.
    dial : ndarray, shape (n,)
        Of each sample.
    emf : ndarray, shape (q, n)
        Volts at each of a sample's q steps.
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
    step_count, sample_count = emf.shape
    state_count, linear = past.shape[1], 4 * len(fours)
    last = state_count + len(each)
    now = np.empty((linear + len(each), linear + 4))
    entry, sums = np.zeros(linear), np.zeros(linear + 4)
    newest, middle, oldest = past[0].copy(), past[1].copy(), past[2].copy()
    offset, square = np.empty(len(each)), np.empty((2, len(each), len(each)))
    row, stands = 0, -1.0
    for n in range(sample_count):
        if dial[n] != stands:
            stands = dial[n]
            row = _stand_at(table, table_dials, stands, row, now)
            for i in range(len(each)):
                # The junctions' whole voltages are solved for; all else counts from rest.
                offset[i] = rest[0, i]
                for j in range(len(each)):
                    square[0, i, j] = now[linear + j, state_count + i]
                    offset[i] -= square[0, i, j] * rest[1, j]
        for q in range(step_count):
            for j in range(state_count):
                entry[j] = weights[0] * newest[j] + weights[1] * middle[j] + weights[2] * oldest[j]
            entry[state_count] = emf[q, n]
            _without_currents(fours, now, entry, sums)
            for i in range(len(each)):
                work[OPEN, i] = sums[state_count + i] + offset[i]
            if not solve_guarded(each, kinds, work, square):
                return int(n * step_count + q)
            for j in range(len(each)):
                current = work[CURRENTS, j] - rest[1, j]
                for i in range(linear + 4):
                    sums[i] += now[linear + j, i] * current
            oldest, middle, newest = middle, newest, oldest
            newest[:] = sums[:state_count]
            output[n * step_count + q] = sums[last]
    past[0], past[1], past[2] = newest, middle, oldest
    return -1
