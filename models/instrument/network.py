"""Bypass networks: series/parallel trees of resistors, capacitors and second gangs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from html import escape
from typing import ClassVar, Literal

from presolder.models.errors import InputError
from presolder.models.instrument.law import Taper
from presolder.models.instrument.quantities import Unit, format_code, require_component

MOST_PARTS = 16
DEEPEST_NESTING = 16
# What a rheostat still measures at its "zero" end. It keeps two gangs, or a
# gang beside the shorted volume track, from being two ideal shorts in
# parallel, whose currents no circuit law settles; 1 mΩ is inaudible here.
CONTACT_OHMS = 1e-3


@dataclass(frozen=True)
class Kind:
    """What is true of all parts of a kind.

    Attributes
    ----------
    letter : str
        In topologies, and on the page.
    words : str
        With its article.
    unit : {"ohm", "farad"}
        Of its value.
    strays_as : str
        The field of `Spread` that says by how much.
    """

    letter: str
    words: str
    unit: Unit
    strays_as: str


@dataclass(frozen=True)
class Resistor:
    """A fixed resistor."""

    ohms: float
    kind: ClassVar[Kind] = Kind("R", "a resistor", "ohm", "resistor")

    def __post_init__(self) -> None:
        require_component("resistor", self.ohms, "ohm")

    @property
    def value(self) -> float:
        """In the unit of its kind, as of all parts."""
        return self.ohms

    def with_value(self, value: float) -> "Resistor":
        """The same part of another value."""
        return Resistor(value)


@dataclass(frozen=True)
class Capacitor:
    """A fixed capacitor."""

    farads: float
    kind: ClassVar[Kind] = Kind("C", "a capacitor", "farad", "capacitor")

    def __post_init__(self) -> None:
        require_component("capacitor", self.farads, "farad")

    @property
    def value(self) -> float:
        """In the unit of its kind."""
        return self.farads

    def with_value(self, value: float) -> "Capacitor":
        """The same part of another value."""
        return Capacitor(value)


@dataclass(frozen=True)
class Gang:
    """A second pot section on the volume knob, wired as a rheostat.

    Attributes
    ----------
    ohms : float
        Total track resistance.
    taper : Taper
        Law of this section.
    at_ten : {"zero", "full"}
        Resistance at dial 10: nothing (rising to all of it at dial 0), or all
        of it (falling to nothing at dial 0).
    """

    ohms: float
    taper: Taper = field(default_factory=lambda: Taper("linear"))
    at_ten: Literal["zero", "full"] = "zero"
    kind: ClassVar[Kind] = Kind("G", "a second gang", "ohm", "pot")

    def __post_init__(self) -> None:
        require_component("gang", self.ohms, "ohm")
        if self.at_ten not in ("zero", "full"):
            raise InputError(f'at_ten = {self.at_ten!r} must be "zero" or "full"')

    @property
    def value(self) -> float:
        """In the unit of its kind."""
        return self.ohms

    def with_value(self, value: float) -> "Gang":
        """The same part of another value."""
        return replace(self, ohms=value)


@dataclass(frozen=True)
class Series:
    """Parts one after the other."""

    parts: tuple["Network", ...]


@dataclass(frozen=True)
class Parallel:
    """Parts side by side."""

    parts: tuple["Network", ...]


Leaf = Resistor | Capacitor | Gang
Network = Leaf | Series | Parallel


@dataclass(frozen=True)
class Design:
    """A named bypass network.

    Attributes
    ----------
    name : str
        Short name, as on the command line.
    network : Network or None
        None is the bare pot with nothing between input lug and wiper.
    title : str
        A line for people.
    """

    name: str
    network: Network | None
    title: str = ""

    def __str__(self) -> str:
        parts = format_network(self.network)
        return self.name if parts in ("", self.name) else f"{self.name}: {parts}"

    @property
    def heard(self) -> str:
        """What one hears, in a word or two, as the title says before its colon; or nothing."""
        before, colon, _ = self.title.partition(":")
        return before if colon else ""

    def _repr_html_(self) -> str:
        """For a notebook: name, parts and title."""
        return f"<p><b>{escape(str(self))}</b> {escape(self.title)}</p>"


def leaves(network: Network | None) -> tuple[Leaf, ...]:
    """All parts of a network, left to right."""
    if network is None:
        return ()
    if isinstance(network, Series | Parallel):
        return tuple(leaf for part in network.parts for leaf in leaves(part))
    return (network,)


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


def join(kind: type[Series] | type[Parallel], parts: Sequence[Network]) -> Network:
    """Combine parts, folding nested groups of the same kind into one.

    Raises
    ------
    InputError
        If there are no parts, or more than ``MOST_PARTS`` in all.
    """
    if not parts:
        raise InputError("a series or parallel group needs at least one part")
    flat = [
        inner for part in parts for inner in (part.parts if isinstance(part, kind) else (part,))
    ]
    if sum(len(leaves(part)) for part in flat) > MOST_PARTS:
        raise InputError(f"a network may have at most {MOST_PARTS} parts")
    return flat[0] if len(flat) == 1 else kind(tuple(flat))


def format_network(network: Network | None) -> str:
    """Write a network in the expression notation, ``""`` for the bare pot."""
    return "" if network is None else joined_text(network, _leaf_text)


def shape_text(network: Network | None) -> str:
    """Write a topology in letters, ``"R + (G || C)"``; ``""`` for the bare pot."""
    return "" if network is None else joined_text(network, lambda leaf: leaf.kind.letter)


def network_in_words(network: Network | None) -> str:
    """What lies between the lugs, ``"a resistor, then a resistor beside a capacitor"``."""
    match network:
        case None:
            return "nothing between input lug and wiper"
        case Series(parts):
            return ", then ".join(network_in_words(part) for part in parts)
        case Parallel(parts):
            # Nested chains first lose their commas, or nobody could tell where they end.
            return " beside ".join(
                network_in_words(part).replace(", then", " and then") for part in parts
            )
        case _:
            return network.kind.words


def joined_text(network: Network, leaf_text: Callable[[Leaf], str]) -> str:
    """Write a network with a text of one's own for each part, called from left to right."""

    def bracketed(part: Network) -> str:
        text = joined_text(part, leaf_text)
        return f"({text})" if isinstance(part, Series | Parallel) else text

    match network:
        case Series(parts):
            return " + ".join(bracketed(part) for part in parts)
        case Parallel(parts):
            return " || ".join(bracketed(part) for part in parts)
        case _:
            return leaf_text(network)


def _leaf_text(leaf: Leaf) -> str:
    code = format_code(leaf.value, leaf.kind.unit)
    if not isinstance(leaf, Gang):
        return code
    taper = leaf.taper
    bend = "" if taper.midpoint == Taper().midpoint else f", {taper.midpoint:g}"
    return f"gang({code}, {taper.kind}, {leaf.at_ten}{bend})"
