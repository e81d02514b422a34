"""The loops over samples, steps and bands: physics in C, one for renders, streams and pages.

What each computes is said in the C file that is named; here arguments are looked
over, so that nothing but whole arrays of the right shapes comes to the library.
"""

import numpy as np

from presolder.models.core.binding import bound, loaded, origin
from presolder.models.typing import Array, ComplexArray

__all__ = [
    "MOST_JUNCTIONS", "Played", "combine", "filter_sections", "fours", "groups_of", "origin",
    "shape_averaged", "solve_junctions", "spread", "step_circuit", "step_states",
]  # fmt: skip

# Junctions come four by four, states and output too.
FOUR, MOST_GROUPS, _MOST_OUTS, _MOST_STATES = 4, 2, 14, 63
MOST_JUNCTIONS = FOUR * MOST_GROUPS
_KIND_ROWS = 5
# As core/stream.c has them; how many samples come at once, and stand before a row is moved back.
_SIZES, _CHUNK, _AT_ONCE, _HELD = 16, 64, 1024, 2048


def fours(count: int) -> int:
    """How many fours so many numbers fill."""
    return -(-count // FOUR)


def groups_of(junctions: int) -> int:
    """How many fours of junctions the core takes for so many."""
    return max(1, fours(junctions))


def _take(array: Array, shape: tuple[int, ...], *, apart: bool = False, out: bool = False) -> None:
    """Refuse what is no such array: 64-bit floats in C order, rows apart only if they may be."""
    if not isinstance(array, np.ndarray) or array.dtype != np.float64:
        raise TypeError("an array of 64-bit floats is wanted")
    if array.shape != shape:
        raise ValueError(f"an array of shape {shape} is wanted, not {array.shape}")
    whole = array.flags.c_contiguous
    if not whole and not (apart and array.strides[-1] == array.itemsize):
        raise ValueError("an array in C order is wanted")
    if out and not array.flags.writeable:
        raise ValueError("an array that can be written is wanted")


def _row(array: Array) -> int:
    """From one row of two dimensions to the next, in numbers."""
    return int(array.strides[0]) // array.itemsize


def _agree(holds: bool) -> None:
    if not holds:
        raise ValueError("the arrays' shapes do not agree")


def step_states(
    table: Array, dials: Array, dial: Array, emf: Array, states: Array, output: Array
) -> None:
    """Run the time-varying recursion over one block, in place; ``core/linear.c``.

    Parameters
    ----------
    table : ndarray, shape (rows, m + 1, m + q)
        Step matrices over the dial, interpolated linearly between rows.
    dials : ndarray, shape (rows,)
        Dial position of each row, rising from 0 to 10.
    dial : ndarray, shape (n,)
        Dial position of each step, 0-10.
    emf : ndarray, shape (q, n)
        Input at the q collocation nodes of each step; rows may lie apart.
    states : ndarray, shape (m,)
        Physical states; updated.
    output : ndarray, shape (n,)
        Written.
    """
    rows, outs, entries = np.shape(table)
    _agree(rows > 1 and 0 < outs <= _MOST_STATES + 1 and entries >= outs)
    samples = np.shape(dial)[0]
    _take(table, (rows, outs, entries))
    _take(dials, (rows,))
    _take(dial, (samples,))
    _take(emf, (entries - outs + 1, samples), apart=True)
    _take(states, (outs - 1,), out=True)
    _take(output, (samples,), out=True)
    room = np.empty(3 * entries * FOUR * fours(outs))
    loaded()(
        "linear", table, dials, rows, outs, entries, dial, emf, _row(emf), samples, states, output,
        room,
    )  # fmt: skip


def combine(signals: Array, kernels: Array, output: Array) -> None:
    """Sum signals over the samples around each, by sets of weights; ``core/sums.c``.

    Parameters
    ----------
    signals : ndarray, shape (p, n + k - 1)
        Rows may lie apart, as those of `output`.
    kernels : ndarray, shape (q, p, k)
        Weights, the earliest sample's first.
    output : ndarray, shape (q, n)
        Written.
    """
    instants, phases, taps = np.shape(kernels)
    samples = np.shape(output)[1]
    _agree(taps > 0)
    _take(kernels, (instants, phases, taps))
    _take(signals, (phases, samples + taps - 1), apart=True)
    _take(output, (instants, samples), apart=True, out=True)
    loaded()(
        "combine", signals, _row(signals), phases, kernels, taps, instants, output, _row(output),
        samples,
    )  # fmt: skip


class Played:
    """A guitar as it is played, all that it has in one piece of memory; ``core/stream.c``.

    Parameters
    ----------
    filters : ndarray, shape (g p, taps)
        From a take's samples to so many signals, the earliest sample's weight first.
    poles : ndarray of complex, shape (k,)
        Of the decays that go on where the filters end: what is left a sample later.
    weights : ndarray of complex, shape (g p, k)
        Of each decay's real part at its first sample.
    kernels : ndarray, shape (q, p, j)
        From each p of these to EMFs at q instants, as `combine` takes them.
    table, dials : ndarray, optional
        As `step_states` takes them, for g q inputs; None where the EMF itself is wanted.
    """

    def __init__(
        self,
        filters: Array,
        poles: ComplexArray,
        weights: ComplexArray,
        kernels: Array,
        table: Array | None = None,
        dials: Array | None = None,
    ) -> None:
        (signals, taps), (instants, each, around) = np.shape(filters), np.shape(kernels)
        groups = signals // each
        if table is None or dials is None:
            table, dials = np.zeros((0, 0, 0)), np.zeros(0)
        rows, outs, entries = np.shape(table)
        _agree(
            taps > 0 and around > 0 and np.shape(poles) == (poles.size,)
            and np.shape(weights) == (signals, poles.size) and np.shape(dials) == (rows,)
        )  # fmt: skip
        inputs = entries - outs + 1
        _agree(
            rows == 0 or (rows > 1 and 0 < outs <= _MOST_STATES + 1 and inputs == groups * instants)
        )
        row = taps + _HELD
        sizes = np.zeros(_SIZES)
        sizes[:11] = (
            signals, taps, groups, instants, around, row, _AT_ONCE, rows, outs, entries, taps
        )  # fmt: skip
        more = FOUR * fours(poles.size) - poles.size
        poles, weights = np.pad(poles, (0, more)), np.pad(weights, ((0, 0), (0, more)))
        sizes[14:] = fours(poles.size), -1
        emf, known = np.zeros((groups * instants, _AT_ONCE)), np.zeros(around - 1 + _CHUNK)
        room = np.zeros(3 * entries * FOUR * fours(outs))
        pieces = (
            sizes, np.zeros(3 * _AT_ONCE), emf, filters, np.zeros(row), np.tile(known, signals),
            kernels, poles.view(np.float64), np.zeros(2 * poles.size),
            np.ravel(weights).view(np.float64), table, dials, np.zeros(outs), room,
        )  # fmt: skip
        self._all = np.concatenate([np.ravel(piece) for piece in pieces])
        ahead = self._all[_SIZES:]
        self._take, self._dial, self._output = ahead[: 3 * _AT_ONCE].reshape(3, -1)
        # Blocks are most often of one length, and to cut them anew takes a tenth of each.
        self._into, self._out_of = self._take, self._output
        self._emf = ahead[3 * _AT_ONCE :][: emf.size].reshape(emf.shape)
        self._step = bound("stream", self._all)

    def emf(self, take: Array) -> Array:
        """The next samples' EMF, where there is no knob.

        Parameters
        ----------
        take : ndarray, shape (n,)

        Returns
        -------
        ndarray, shape (g q, n)
        """
        pieces = []
        for first in range(0, take.size, _AT_ONCE):
            piece = take[first : first + _AT_ONCE]
            self._take[: piece.size] = piece
            self._step(piece.size)
            pieces.append(self._emf[:, : piece.size].copy())
        return np.concatenate(pieces, axis=1) if pieces else self._emf[:, :0]

    def step(self, take: Array, dial: Array | tuple[float, float]) -> Array:
        """The next samples.

        Parameters
        ----------
        take : ndarray, shape (n,)
        dial : ndarray, shape (n,), or two numbers
            Of each sample; or where it comes from and where it is at the last, along a line.
        """
        count = take.size
        if count > _AT_ONCE:
            halves = slice(None, count // 2), slice(count // 2, None)
            if isinstance(dial, tuple):
                start, end = dial
                middle = start + (end - start) * (count // 2) / count
                parts: list[Array | tuple[float, float]] = [(start, middle), (middle, end)]
            else:
                parts = [dial[half] for half in halves]
            return np.concatenate(
                [self.step(take[half], part) for half, part in zip(halves, parts, strict=True)]
            )
        if count != self._into.size:
            self._into, self._out_of = self._take[:count], self._output[:count]
        self._into[...] = take
        if isinstance(dial, tuple):
            # One by one, which takes a tenth of what a slice does.
            self._all[11] = 1.0
            self._all[12], self._all[13] = dial
        else:
            self._all[11] = 0.0
            self._dial[:count] = dial
        self._step(count)
        return self._out_of.copy()


def filter_sections(sections: Array, memory: Array, signal: Array, output: Array) -> None:
    """Run second-order sections over one block; ``core/sections.c``.

    Parameters
    ----------
    sections : ndarray, shape (k, 6)
        Coefficients b0, b1, b2, 1, a1, a2 of each section.
    memory : ndarray, shape (k, 2)
        Filter memory; updated.
    signal, output : ndarray, shape (n,)
        Input, and where the result is written; may be the same array.
    """
    count, (samples,) = np.shape(sections)[0], np.shape(signal)
    _agree(count > 0)
    _take(sections, (count, 6))
    _take(memory, (count, 2), out=True)
    _take(signal, (samples,))
    _take(output, (samples,), out=True)
    loaded()("sections", sections, count, memory, signal, output, samples)


def shape_averaged(
    curves: Array, first: float, step: float, short: float, signal: Array, output: Array
) -> None:
    """Pass a ring through a static curve, averaged round each sample; ``core/curve.c``.

    Parameters
    ----------
    curves : ndarray, shape (3, k)
        The curve, its antiderivative and that one's at ``first + i * step``. Outside
        them the curve goes on as its end value.
    first, step : float
        Input of the first node, and spacing.
    short : float
        Lines shorter than this are taken by quadrature, since the differences
        of antiderivatives over their square would lose their figures.
    signal, output : ndarray, shape (n,)
        Input, and where the result is written. The line before the first sample
        starts at the last.
    """
    nodes, (samples,) = np.shape(curves)[1], np.shape(signal)
    _agree(nodes > 1 and samples > 0)
    _take(curves, (3, nodes))
    _take(signal, (samples,))
    _take(output, (samples,), out=True)
    loaded()(
        "shape", curves, nodes, float(first), float(step), float(short), signal, output, samples
    )


def spread(
    core: Array, starts: Array, sizes: Array, along: Array, step: float
) -> tuple[Array, Array]:
    """Spread the loudness of critical bands towards higher ones; ``core/spread.c``.

    Parameters
    ----------
    core : ndarray, shape (n, b)
        Sone per Bark, of each spectrum's bands.
    starts : ndarray, shape (b + 1,)
        Index of each band's first rate, and how many rates there are.
    sizes : ndarray, shape (r,)
        Along a fall, from more than there is to 0.
    along : ndarray, shape (r, c)
        Where each lies, Bark; the first column is that of the lowest two bands,
        the last that of all for which there is no other.
    step : float
        From one rate to the next, Bark.

    Returns
    -------
    specific : ndarray, shape (n, rates)
    sone : ndarray, shape (n,)
    """
    (count, bands), (ranges, columns) = np.shape(core), np.shape(along)
    _agree(ranges > 1 and columns > 0 and bool(np.all(np.diff(starts) >= 0)) and starts[0] >= 0)
    _take(core, (count, bands))
    _take(starts, (bands + 1,))
    _take(sizes, (ranges,))
    _take(along, (ranges, columns))
    specific, sone = np.empty((count, int(starts[-1]))), np.empty(count)
    loaded()(
        "spread", core, count, bands, starts, sizes, along, ranges, columns, float(step), specific,
        sone,
    )  # fmt: skip
    return specific, sone


def solve_junctions(
    kinds: Array, feedback: Array, open_volts: Array, solutions: Array, currents: Array
) -> bool:
    """Junction voltages that agree with the circuit round them; ``core/junctions.h``.

    Parameters
    ----------
    kinds : ndarray, shape (5, p)
        `Junctions.kinds`; p is 4 or 8.
    feedback : ndarray, shape (p, p)
        Volts at each junction per ampere of each one's current, by columns.
    open_volts : ndarray, shape (p,)
        What they would see without their currents.
    solutions : ndarray, shape (3, p)
        The last ones, newest first; moved on.
    currents : ndarray, shape (p,)
        Written.

    Returns
    -------
    bool
        Whether there is a solution.
    """
    p = np.shape(kinds)[1]
    _agree(p in (FOUR, MOST_JUNCTIONS))
    _take(kinds, (_KIND_ROWS, p))
    _take(feedback, (p, p))
    _take(open_volts, (p,))
    _take(solutions, (3, p), out=True)
    _take(currents, (p,), out=True)
    return bool(loaded()("solve", kinds, feedback, open_volts, solutions, currents, p // FOUR))


def step_circuit(
    table: Array,
    dials: Array,
    kinds: Array,
    rest: Array,
    weights: Array,
    dial: Array,
    emf: Array,
    past: Array,
    states: int,
    solutions: Array,
    output: Array,
) -> int:
    """Run a circuit with junctions over one block, in place; ``core/circuit.c``.

    Parameters
    ----------
    table : ndarray, shape (rows, m + e + p, p + 4 o)
        `Steps.by_columns`; o fours hold the m states and the output, p is 4 or 8.
    dials, kinds : ndarray
        As in `Steps`.
    rest : ndarray, shape (2, p)
        Voltages and currents of the junctions at the working point.
    weights : ndarray, shape (3,)
        Of the last three states, newest first.
    dial : ndarray, shape (n,)
        Of each sample.
    emf : ndarray, shape (e * q, n)
        Volts of each EMF at each of a sample's q steps.
    past : ndarray, shape (3, 4 o)
        The last states, newest first, counted from the working point; updated.
    states : int
        m.
    solutions : ndarray, shape (3, p)
        The junctions' last voltages; updated.
    output : ndarray, shape (n * q,)
        Written.

    Returns
    -------
    int
        Index of a step that found no solution, or -1.
    """
    (rows, columns, width), p = np.shape(table), np.shape(kinds)[1]
    emfs = columns - p - states
    samples, outs = np.shape(dial)[0], states // FOUR + 1
    _agree(
        p in (FOUR, MOST_JUNCTIONS) and rows > 1 and emfs > 0 and 0 < outs <= _MOST_OUTS
        and width == p + FOUR * outs
    )  # fmt: skip
    steps = np.shape(emf)[0] // emfs
    _take(table, (rows, columns, width))
    _take(dials, (rows,))
    _take(kinds, (_KIND_ROWS, p))
    _take(rest, (2, p))
    _take(weights, (3,))
    _take(dial, (samples,))
    _take(emf, (emfs * steps, samples))
    _take(past, (3, FOUR * outs), out=True)
    _take(solutions, (3, p), out=True)
    _take(output, (steps * samples,), out=True)
    return loaded()(
        "circuit", table, dials, rows, p // FOUR, kinds, rest, weights, dial, emf, emfs, steps,
        samples, past, states, solutions, output, np.empty(columns * width + FOUR * outs + emfs),
    )  # fmt: skip
