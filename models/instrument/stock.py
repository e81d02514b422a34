"""A drawer of parts: what is there, and how much of it."""

from collections import Counter
from dataclasses import dataclass

from presolder.models.errors import InputError
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.network import Capacitor, Gang, Leaf, Resistor

_MOST_PIECES = 1_000_000


@dataclass(frozen=True)
class DualPot:
    """Two sections on one shaft, the first for the volume itself."""

    first: Pot
    second: Pot


@dataclass(frozen=True)
class StockLine:
    """One kind of part in the drawer.

    Attributes
    ----------
    part : Resistor, Capacitor or DualPot
    pieces : int
    tolerance : str
        As written; empty if not said.
    price : float or None
        Of a piece.
    """

    part: Resistor | Capacitor | DualPot
    pieces: int
    tolerance: str = ""
    price: float | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.pieces <= _MOST_PIECES:
            raise InputError(f"count = {self.pieces} must lie between 0 and {_MOST_PIECES}")
        if self.price is not None and not 0 <= self.price < float("inf"):
            raise InputError(f"price = {self.price:g} must be 0 or more")


@dataclass(frozen=True)
class Stock:
    """A drawer.

    Attributes
    ----------
    lines : tuple of StockLine
    """

    lines: tuple[StockLine, ...]

    def counts(self, volume: Pot) -> Counter[Leaf]:
        """Pieces of each part that may lie across a volume pot.

        A dual pot counts as its second section, either way round, if its first
        one is like the volume pot: of its value and law.
        """
        found: Counter[Leaf] = Counter()
        for line in self.lines:
            if not isinstance(line.part, DualPot):
                found[line.part] += line.pieces
                continue
            first, second = line.part.first, line.part.second
            like = first.resistance_ohms == volume.resistance_ohms
            if like and first.taper.kind == volume.taper.kind:
                # Tracks of one law on one shaft are as bent as each other.
                law = volume.taper if second.taper.kind == volume.taper.kind else second.taper
                for at_ten in ("zero", "full"):
                    found[Gang(second.resistance_ohms, law, at_ten)] += line.pieces
        return +found
