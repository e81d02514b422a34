"""The per-sample loops of every render, compiled by numba.

They are compiled at the first call and cached on disk, so that only the first
run after an installation pays for it. They take C-contiguous arrays only, so
that each is compiled once.
"""

import numpy as np

from presolder.models.compiled import compiled
from presolder.models.typing import Array


@compiled
def step_states(
    table: Array,
    table_dials: Array,
    dial: Array,
    emf: Array,
    states: Array,
    output: Array,
) -> None:
    """Run the time-varying recursion over one block, in place.

    Parameters
    ----------
    table : ndarray, shape (rows, m + 1, m + q)
        Step matrices over the dial, interpolated linearly between rows.
    table_dials : ndarray, shape (rows,)
        Dial position of each row, rising from 0 to 10.
    dial : ndarray, shape (n,)
        Dial position of each step, 0-10.
    emf : ndarray, shape (q, n)
        Input at the q collocation nodes of each step.
    states : ndarray, shape (m,)
        Physical states; updated.
    output : ndarray, shape (n,)
        Written.
    """
    node_count, sample_count = emf.shape
    state_count = states.shape[0]
    entries = state_count + node_count
    entry = np.empty(entries)
    following = np.empty(state_count)
    entry[:state_count] = states
    last_row = table_dials.shape[0] - 2
    row = 0
    for n in range(sample_count):
        # The knob moves a little at a time, so the row is found by walking.
        while row < last_row and dial[n] >= table_dials[row + 1]:
            row += 1
        while row > 0 and dial[n] < table_dials[row]:
            row -= 1
        above = (dial[n] - table_dials[row]) / (table_dials[row + 1] - table_dials[row])
        below = 1.0 - above
        for j in range(node_count):
            entry[state_count + j] = emf[j, n]
        for i in range(state_count + 1):
            total = 0.0
            for j in range(entries):
                total += (below * table[row, i, j] + above * table[row + 1, i, j]) * entry[j]
            if i < state_count:
                following[i] = total
            else:
                output[n] = total
        for i in range(state_count):
            entry[i] = following[i]
    states[:] = entry[:state_count]


@compiled
def filter_sections(
    sections: Array,
    memory: Array,
    signal: Array,
    output: Array,
) -> None:
    """Run second-order sections over one block (transposed direct form II).

    Parameters
    ----------
    sections : ndarray, shape (k, 6)
        Coefficients b0, b1, b2, 1, a1, a2 of each section.
    memory : ndarray, shape (k, 2)
        Filter memory; updated.
    signal, output : ndarray, shape (n,)
        Input, and where the result is written; may be the same array.
    """
    for n in range(signal.shape[0]):
        value = signal[n]
        for k in range(sections.shape[0]):
            result = sections[k, 0] * value + memory[k, 0]
            memory[k, 0] = sections[k, 1] * value - sections[k, 4] * result + memory[k, 1]
            memory[k, 1] = sections[k, 2] * value - sections[k, 5] * result
            value = result
        output[n] = value


@compiled
def combine(signals: Array, kernels: Array, output: Array) -> None:
    """Sum several signals over the samples around each, with several sets of weights.

    Parameters
    ----------
    signals : ndarray, shape (p, n + k - 1)
        Rows may lie apart, as those of `output`.
    kernels : ndarray, shape (q, p, k)
        Weights, the earliest sample's first.
    output : ndarray, shape (q, n)
        Written.
    """
    count = output.shape[1]
    output[:] = 0.0
    for i in range(kernels.shape[0]):
        for j in range(kernels.shape[1]):
            for k in range(kernels.shape[2]):
                output[i] += kernels[i, j, k] * signals[j, k : k + count]
