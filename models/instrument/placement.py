"""Where every part of a network goes: its name, its two ends, and the E series it is sold in."""

from collections import Counter
from dataclasses import dataclass
from itertools import count

from presolder.models.instrument.network import (
    Leaf,
    Network,
    Parallel,
    Series,
)
from presolder.models.instrument.preferred import SERIES, preferred_values
from presolder.models.instrument.quantities import format_quantity

INPUT_LUG, WIPER_LUG, GROUND_LUG = "input lug", "wiper lug", "ground lug"


@dataclass(frozen=True)
class Placed:
    """One part of the network with its name on the drawing and where its ends go.

    Attributes
    ----------
    name : str
        ``R1``, ``C2``, ``G1``.
    leaf : Leaf
    start, end : str
        ``"input lug"``, ``"wiper lug"`` or a joint, ``"joint A"``.
    """

    name: str
    leaf: Leaf
    start: str
    end: str


def placed_parts(network: Network | None) -> tuple[Placed, ...]:
    """Name every part and joint of a network between input lug and wiper lug.

    Parameters
    ----------
    network : Network or None

    Returns
    -------
    tuple of Placed
        Left to right; empty for the bare pot.
    """
    numbers: Counter[str] = Counter()
    joints = (f"joint {chr(ord('A') + i)}" for i in count())
    placed: list[Placed] = []

    def put(part: Network, start: str, end: str) -> None:
        if isinstance(part, Parallel):
            for inner in part.parts:
                put(inner, start, end)
        elif isinstance(part, Series):
            stops = [start, *(next(joints) for _ in part.parts[1:]), end]
            for inner, here, there in zip(part.parts, stops, stops[1:], strict=False):
                put(inner, here, there)
        else:
            letter = part.kind.letter
            numbers[letter] += 1
            placed.append(Placed(f"{letter}{numbers[letter]}", part, start, end))

    if network is not None:
        put(network, INPUT_LUG, WIPER_LUG)
    return tuple(placed)


def section_of(gang: Placed) -> int:
    """The section of a multi-gang pot that a gang is; the volume's own is the first."""
    return 1 + int(gang.name[1:])


def value_text(leaf: Leaf) -> str:
    """The value of a part for people."""
    return format_quantity(leaf.value, leaf.kind.unit)


def series_of(value: float) -> str | None:
    """The coarsest E series (IEC 60063) that has a value; None if none has it."""
    for series in SERIES:
        # Preferred values repeat every decade, so a window around the value is enough.
        if preferred_values(series, value * (1 - 1e-6), value * (1 + 1e-6)).size:
            return series
    return None
