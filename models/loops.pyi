"""The loops over samples and steps, built from ``loops.c``.

Each takes and does what the function of its name in Python does.
"""

from presolder.models.typing import Array

def step_states(
    table: Array, table_dials: Array, dial: Array, emf: Array, states: Array, output: Array, /
) -> None: ...
def combine(signals: Array, kernels: Array, output: Array, /) -> None: ...
def filter_sections(sections: Array, memory: Array, signal: Array, output: Array, /) -> None: ...
def shape_averaged(
    curves: Array, first: float, step: float, short: float, signal: Array, output: Array, /
) -> None: ...
def solve_guarded(each: tuple[int, ...], kinds: Array, work: Array, square: Array, /) -> bool: ...
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
    /,
) -> int: ...
