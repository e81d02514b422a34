"""Junction voltages that agree with the circuit round them, by a guarded Newton method.

The circuit round p junctions is v = u + K j(v): what they would see without
their currents, and what those currents do. Newton's method with the step of a
junction held back where its exponential would run away (Nagel, SPICE2: a
computer program to simulate semiconductor circuits, ERL-M520, 1975: the
limiting of junction voltages). Where that does not converge, u is approached
from the last solution in steps that are halved until it does (continuation,
as in Holmes and van Walstijn, DAFx-15).

All room to work in is handed over in three arrays, since a compiled call takes
as long for each array as for a few multiplications:

- ``kinds``, shape (3, p): saturation current, slopes a volt, critical voltage;
- ``work``, shape (9, p): rows by the names below;
- ``square``, shape (2, p, p): K, volts per ampere of each junction's current,
  and the Jacobian.
"""

import numpy as np

from presolder.models.compiled import compiled
from presolder.models.typing import Array

# Rows of `work`: the voltages sought, what the junctions would see without currents, their
# currents and slopes there, the step of an iteration; the last solutions, newest first.
VOLTS, OPEN, CURRENTS, SIEMENS, CHANGE, LAST, BEFORE, EARLIER, SPARE = range(9)
WORK_ROWS = 9
_MOST_ITERATIONS = 40
# A last step this short leaves the currents wrong by half its square, in slopes: -125 dB.
_CLOSE_VOLTS = 2e-5
_SMALLEST_STEP = 1e-6
# Junctions are held back beyond where their current is so much.
_CRITICAL_AMPERES = 1e-3


def kinds_of(saturation: Array, slope_volts: Array) -> Array:
    """What junctions are like, shape (3, p), from their saturation currents and slopes."""
    critical = slope_volts * np.log(_CRITICAL_AMPERES / saturation)
    return np.array([saturation, 1.0 / slope_volts, critical])


@compiled
def _solve_four(matrix: Array, right: Array) -> None:
    """Four equations in place, for two transistors, by blocks: a seventh of the time.

    Without pivoting, since the upper block is the circuit with the second
    transistor taken out, which has one solution at all slopes.
    """
    a, b, c, d = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
    inverse = 1.0 / (a * d - b * c)
    a, b, c, d = inverse * d, -inverse * b, -inverse * c, inverse * a
    x00, x01 = a * matrix[0, 2] + b * matrix[1, 2], a * matrix[0, 3] + b * matrix[1, 3]
    x10, x11 = c * matrix[0, 2] + d * matrix[1, 2], c * matrix[0, 3] + d * matrix[1, 3]
    y0, y1 = a * right[0] + b * right[1], c * right[0] + d * right[1]
    s00 = matrix[2, 2] - matrix[2, 0] * x00 - matrix[2, 1] * x10
    s01 = matrix[2, 3] - matrix[2, 0] * x01 - matrix[2, 1] * x11
    s10 = matrix[3, 2] - matrix[3, 0] * x00 - matrix[3, 1] * x10
    s11 = matrix[3, 3] - matrix[3, 0] * x01 - matrix[3, 1] * x11
    r0 = right[2] - matrix[2, 0] * y0 - matrix[2, 1] * y1
    r1 = right[3] - matrix[3, 0] * y0 - matrix[3, 1] * y1
    inverse = 1.0 / (s00 * s11 - s01 * s10)
    right[2] = inverse * (s11 * r0 - s01 * r1)
    right[3] = inverse * (s00 * r1 - s10 * r0)
    right[0] = y0 - x00 * right[2] - x01 * right[3]
    right[1] = y1 - x10 * right[2] - x11 * right[3]


@compiled
def _solve_two(matrix: Array, right: Array) -> None:
    """Two equations in place, by Cramer's rule."""
    inverse = 1.0 / (matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0])
    first = inverse * (matrix[1, 1] * right[0] - matrix[0, 1] * right[1])
    right[1] = inverse * (matrix[0, 0] * right[1] - matrix[1, 0] * right[0])
    right[0] = first


@compiled
def _held_back(volts: float, step: float, per_volt: float, critical: float) -> float:
    """A step that leads beyond the critical voltage, so far as its exponential bears."""
    if volts <= 0.0:
        return critical - volts
    return float(np.log1p(step * per_volt) / per_volt) if step > 0.0 else step


@compiled
def solve_from(each: tuple[int, ...], kinds: Array, work: Array, square: Array) -> bool:
    """One Newton solution from where the voltages stand.

    Parameters
    ----------
    each : tuple of int
        As many as there are junctions: two or four. A tuple's length is
        known when this is compiled, so that the loops below unroll.
    kinds, work, square : ndarray
        Voltages and what they would be without currents are read; voltages,
        currents and slopes written.

    Returns
    -------
    bool
        Whether it converged.
    """
    feedback, jacobian = square[0], square[1]
    for _ in range(_MOST_ITERATIONS):
        for k in range(len(each)):
            growing = kinds[0, k] * np.exp(work[VOLTS, k] * kinds[1, k])
            work[CURRENTS, k] = growing - kinds[0, k]
            work[SIEMENS, k] = growing * kinds[1, k]
        for i in range(len(each)):
            total = work[OPEN, i] - work[VOLTS, i]
            for j in range(len(each)):
                total += feedback[i, j] * work[CURRENTS, j]
                jacobian[i, j] = -feedback[i, j] * work[SIEMENS, j]
            jacobian[i, i] += 1.0
            work[CHANGE, i] = total
        if len(each) == 4:
            _solve_four(jacobian, work[CHANGE])
        else:
            _solve_two(jacobian, work[CHANGE])
        moved = 0.0
        for k in range(len(each)):
            step = work[CHANGE, k]
            if work[VOLTS, k] + step > kinds[2, k] and abs(step) * kinds[1, k] > 2.0:
                step = _held_back(work[VOLTS, k], step, kinds[1, k], kinds[2, k])
            moved += abs(step)
            work[CHANGE, k] = step
            work[VOLTS, k] += step
        if not np.isfinite(moved):
            return False
        if moved < _CLOSE_VOLTS:
            # So close that the currents follow along their slopes.
            for k in range(len(each)):
                work[CURRENTS, k] += work[SIEMENS, k] * work[CHANGE, k]
            return True
    return False


@compiled
def solve_guarded(each: tuple[int, ...], kinds: Array, work: Array, square: Array) -> bool:
    """Junction voltages, by what the last three were, or else step by step from the last.

    Parameters are as for `solve_from`; of `work` the last solutions are moved on.
    """
    for i in range(len(each)):
        last = work[LAST, i]
        work[VOLTS, i] = 3.0 * (last - work[BEFORE, i]) + work[EARLIER, i]
        work[EARLIER, i], work[BEFORE, i] = work[BEFORE, i], last
    solved = solve_from(each, kinds, work, square)
    if not solved:
        solved = _approach(each, kinds, work, square)
    for i in range(len(each)):
        work[LAST, i] = work[VOLTS, i]
    return solved


@compiled
def _approach(each: tuple[int, ...], kinds: Array, work: Array, square: Array) -> bool:
    """From the last solution towards the one sought, in steps that shrink where they must."""
    wanted = work[OPEN].copy()
    # The last solution solves the circuit exactly for some open voltages.
    for i in range(len(each)):
        total = work[LAST, i]
        for j in range(len(each)):
            current = kinds[0, j] * (np.exp(work[LAST, j] * kinds[1, j]) - 1.0)
            total -= square[0, i, j] * current
        work[SPARE, i] = total
    reached, step = 0.0, 0.5
    while reached < 1.0:
        there = min(1.0, reached + step)
        for i in range(len(each)):
            work[OPEN, i] = work[SPARE, i] + there * (wanted[i] - work[SPARE, i])
            work[VOLTS, i] = work[LAST, i]
        if solve_from(each, kinds, work, square):
            work[LAST] = work[VOLTS]
            reached = there
            step *= 2.0
        else:
            step *= 0.5
            if step < _SMALLEST_STEP:
                return False
    return True
