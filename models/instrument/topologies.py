"""Topologies without their values: which parts, joined how."""

from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Network, Parallel, Series

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
