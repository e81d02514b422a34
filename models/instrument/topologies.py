"""Topologies without their values: which parts, joined how."""

from presolder.models.instrument.designs import BUILT_IN
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Leaf, Network, Parallel, Series, leaves

# Every way to join up to three resistors and capacitors that fewer parts
# could not do as well (two resistors in series are one), and the same with a
# second gang for one of the resistors. The values are placeholders.
DEFAULT_SHAPES: tuple[Network, ...] = tuple(
    parse_expression(text)
    for text in (
        "1n",
        "1k || 1n",
        "1k + 1n",
        "1k + (1k || 1n)",
        "1k || (1k + 1n)",
        "1n || (1k + 1n)",
        "1n + (1k || 1n)",
        "gang(1k) || 1n",
        "gang(1k) + 1n",
        "1k + (gang(1k) || 1n)",
        "gang(1k) + (1k || 1n)",
        "1k || (gang(1k) + 1n)",
        "gang(1k) || (1k + 1n)",
        "1n || (gang(1k) + 1n)",
        "1n + (gang(1k) || 1n)",
    )
)


def with_parts(shape: Network, parts: tuple[Leaf, ...]) -> Network:
    """The shape with its placeholders replaced, left to right.

    Parameters
    ----------
    shape : Network
    parts : tuple of Leaf
        As many as the shape has.
    """
    if isinstance(shape, Series | Parallel):
        inner, first = [], 0
        for part in shape.parts:
            count = len(leaves(part))
            inner.append(with_parts(part, parts[first : first + count]))
            first += count
        return type(shape)(tuple(inner))
    return parts[0]


def canonical(network: Network | None) -> tuple[object, ...]:
    """A key that is the same for topologies that differ in order only."""
    match network:
        case None:
            return ()
        case Series(parts) | Parallel(parts):
            inner = sorted((canonical(part) for part in parts), key=repr)
            return (type(network).__name__, *inner)
        case _:
            return (type(network).__name__,)


def built_in_of(shape: Network) -> tuple[Network, ...]:
    """Networks of the built-in designs that have this topology."""
    return tuple(
        design.network
        for design in BUILT_IN
        if design.network is not None and canonical(design.network) == canonical(shape)
    )
