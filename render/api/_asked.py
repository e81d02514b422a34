"""What callers may give for a rig or for designs, made into the real thing."""

import os
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from presolder.models.errors import InputError
from presolder.models.instrument.controls import require_dial
from presolder.models.instrument.designs import BUILT_IN
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array
from presolder.render.files.designs import resolve_design
from presolder.render.files.rigs import find_rig

RigLike = Rig | str | os.PathLike[str]
DesignLike = Design | str
# Called with the steps done since the last call, and all there are.
Progress = Callable[[int, int], None]
Numbers = float | Sequence[float] | Array


def asked_rig(rig: RigLike) -> Rig:
    """A rig as it is, or by built-in name or file."""
    return rig if isinstance(rig, Rig) else find_rig(os.fspath(rig))


def asked_design(design: DesignLike) -> Design:
    """A design as it is, or by built-in name or expression."""
    return design if isinstance(design, Design) else resolve_design(design)


def asked_designs(designs: Iterable[DesignLike] | None) -> tuple[Design, ...]:
    """Designs with distinct names; None for every built-in one.

    Raises
    ------
    InputError
        If there are none, or one is given twice.
    """
    if designs is None:
        return BUILT_IN
    found = tuple(asked_design(design) for design in designs)
    if not found:
        raise InputError("no designs are given; at least one is needed")
    seen: set[str] = set()
    for design in found:
        if design.name in seen:
            raise InputError(f"design {design.name!r} is given twice")
        seen.add(design.name)
    return found


def asked_dials(dials: Numbers, *, silent_ok: bool = True) -> Array:
    """Dial positions, shape (d,).

    Raises
    ------
    InputError
        If one lies outside 0-10, or is 0 where silence says nothing.
    """
    array = np.atleast_1d(np.asarray(dials, dtype=np.float64))
    for dial in array:
        require_dial("dial", float(dial))
        if dial == 0 and not silent_ok:
            raise InputError("dial = 0 is silent; it must be above 0")
    return array


def asked_frequencies(hz: Numbers) -> Array:
    """Frequencies, shape (f,).

    Raises
    ------
    InputError
        If one is not above 0 and below 1 GHz.
    """
    array = np.atleast_1d(np.asarray(hz, dtype=np.float64))
    if not np.all((array > 0) & (array < 1e9)):
        raise InputError("frequencies must be above 0 and below 1 GHz")
    return array


def counted(progress: Progress | None, total: int) -> Callable[[int], None]:
    """What the models call with steps done, made from what callers give."""
    if progress is None:
        return lambda _: None
    return lambda done: progress(done, total)
