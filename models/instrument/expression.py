"""The written notation for networks: ``"33k + (110k || 680p)"``.

``+`` joins in series, ``||`` (or ``∥``) in parallel, as the trade writes it.
Mixing the two without brackets is refused: people read it both ways, and a
wrong guess would be soldered.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, NoReturn, TypeVar

from presolder.models.errors import InputError
from presolder.models.instrument.law import NAMED_TAPERS, Taper
from presolder.models.instrument.markings import law_of
from presolder.models.instrument.network import (
    DEEPEST_NESTING,
    MOST_PARTS,
    Capacitor,
    Gang,
    Leaf,
    Network,
    Parallel,
    Resistor,
    Series,
    join,
)
from presolder.models.instrument.quantities import leaf_unit, parse_quantity
from presolder.models.instrument.source import CoilsInParallel, CoilsInSeries, Source, turned

Node = TypeVar("Node")
Joint = type[Series] | type[Parallel]

_LONGEST_EXPRESSION = 1000
_TOKEN = re.compile(
    r"\s*(?:(?P<mark>\|\||∥|[+(),])"
    r"|(?P<word>[\w.µμΩΩ-]+(?:[ ]+(?:[pnuµμPNU]?[fF]|(?:k|K|M|[mM][eE][gG])?(?:Ω|Ω|[oO]hms?)"
    r"|[pnuµμPNUkKM]|[mM][eE][gG]|[mM][fF][dD])(?![\w.]))?)"
    r"|(?P<end>$))"
)


def parse_leaf(text: str) -> Leaf:
    """Read one resistor or capacitor value; the letter tells which it is.

    Raises
    ------
    InputError
        If the value has no letter, cannot be read, or is not positive.
    """
    unit = leaf_unit(text)
    if unit is None:
        raise InputError(
            f"{text!r} does not say whether it is a resistor or a capacitor; "
            "use R, k or M for resistors and p, n or u for capacitors"
        )
    value = parse_quantity(text, unit)
    return Resistor(value) if unit == "ohm" else Capacitor(value)


def parse_expression(text: str) -> Network:
    """Read a network expression.

    Parameters
    ----------
    text : str
        For example ``"470p || gang(250k, linear, zero)"``.

    Returns
    -------
    Network

    Raises
    ------
    InputError
        If it cannot be read; the message gives the column, counted from 1.
    """
    return _Reader(text, _VALUES).whole()


def parse_source(text: str, coils: Mapping[str, Source]) -> Source:
    """Read what a position of a switch puts on: ``"neck || (bridge.slug + bridge.screw)"``.

    Parameters
    ----------
    text : str
    coils : mapping of str to Source
        By name. A minus before one turns its phase round.

    Returns
    -------
    Source

    Raises
    ------
    InputError
        If it cannot be read; the message gives the column, counted from 1.
    """

    def named(word: str) -> Source:
        name = word.removeprefix("-")
        if name not in coils:
            raise InputError(f"there is no pickup {name!r}; one of {', '.join(coils)}")
        return coils[name] if name == word else turned(coils[name])

    def joined(kind: Joint, parts: Sequence[Source]) -> Source:
        if len(parts) == 1:
            return parts[0]
        group = CoilsInSeries if kind is Series else CoilsInParallel
        flat = (part.parts if isinstance(part, group) else (part,) for part in parts)
        return group(tuple(one for some in flat for one in some))

    return _Reader(text, _Words(named, joined, "a pickup's name")).whole()


@dataclass(frozen=True)
class _Words(Generic[Node]):
    """What the words of a notation stand for, and what comes of joining them."""

    leaf: Callable[[str], Node]
    join: Callable[[Joint, Sequence[Node]], Node]
    wanted: str
    gang: Callable[..., Node] | None = None


class _Reader(Generic[Node]):
    """Recursive descent over the tokens of one expression."""

    def __init__(self, text: str, words: _Words[Node]) -> None:
        if len(text) > _LONGEST_EXPRESSION:
            raise InputError(f"an expression may have at most {_LONGEST_EXPRESSION} characters")
        self.text = text
        self.words = words
        self.position = 0
        self.start = 0
        self.token = ""
        self.advance()

    def fail(self, reason: str, column: int | None = None) -> NoReturn:
        at = self.start if column is None else column
        raise InputError(f"{self.text!r}, column {at + 1}: {reason}")

    def advance(self) -> None:
        match = _TOKEN.match(self.text, self.position)
        if match is None:
            rest = self.text[self.position :]
            self.start = self.position + len(rest) - len(rest.lstrip())
            self.fail(f"unexpected {self.text[self.start]!r}")
        self.token = match["mark"] or match["word"] or ""
        self.start = match.start("mark") if match["mark"] else match.start("word")
        if not self.token:
            self.start = len(self.text)
        self.position = match.end()

    def expect(self, mark: str) -> None:
        if self.token != mark:
            found = repr(self.token) if self.token else "the end"
            self.fail(f"expected {mark!r}, found {found}")
        self.advance()

    def whole(self) -> Node:
        found = self.group(0)
        if self.token:
            self.fail(f"unexpected {self.token!r}")
        return found

    def group(self, depth: int) -> Node:
        if depth > DEEPEST_NESTING:
            self.fail(f"brackets nested more than {DEEPEST_NESTING} deep")
        parts = [self.part(depth)]
        kind: Joint | None = None
        while self.token in ("+", "||", "∥"):
            this: Joint = Series if self.token == "+" else Parallel
            if kind not in (None, this):
                self.fail("+ and || side by side; add brackets to say which comes first")
            kind = this
            column = self.start
            self.advance()
            parts.append(self.part(depth))
            if len(parts) > MOST_PARTS:
                self.fail(f"a network may have at most {MOST_PARTS} parts", column)
        try:
            return self.words.join(kind or Series, parts)
        except InputError as error:
            self.fail(str(error))

    def part(self, depth: int) -> Node:
        if self.token == "(":
            self.advance()
            inner = self.group(depth + 1)
            self.expect(")")
            return inner
        if self.token in ("", "+", "||", "∥", ")", ","):
            found = repr(self.token) if self.token else "the end"
            self.fail(f"expected {self.words.wanted}, found {found}")
        if self.token.lower() == "gang" and self.words.gang is not None:
            return self.gang(self.words.gang)
        column, word = self.start, self.token
        self.advance()
        try:
            return self.words.leaf(word)
        except InputError as error:
            self.fail(str(error), column)

    def gang(self, make: Callable[..., Node]) -> Node:
        column = self.start
        self.advance()
        self.expect("(")
        arguments = [self.argument()]
        while self.token == ",":
            self.advance()
            arguments.append(self.argument())
        self.expect(")")
        if len(arguments) > 4:
            self.fail("gang takes resistance, taper, zero|full and midpoint at most", column)
        words = [word for word, _ in arguments]
        try:
            return make(*words)
        except InputError as error:
            self.fail(str(error), column)

    def argument(self) -> tuple[str, int]:
        if self.token in ("", "+", "||", "∥", "(", ")", ","):
            self.fail("expected a value in gang(resistance, taper, zero|full)")
        word = (self.token, self.start)
        self.advance()
        return word


def make_gang(
    resistance: object, taper: object = "linear", at_ten: object = "zero", midpoint: object = 0.15
) -> Gang:
    """Build a second gang from its written parts.

    Parameters
    ----------
    resistance : object
        Total resistance in any accepted spelling.
    taper : object
        A named taper.
    at_ten : object
        ``"zero"`` or ``"full"``.
    midpoint : object
        Midpoint fraction of the taper, where it has one.

    Raises
    ------
    InputError
        If any of them cannot be used.
    """
    law_word = law_of(taper) if isinstance(taper, str) else None
    if law_word is None:
        raise InputError(f"gang taper {taper!r} is unknown; one of {', '.join(NAMED_TAPERS)}")
    if at_ten not in ("zero", "full"):
        raise InputError(f"gang at_ten {at_ten!r} is unknown; one of zero, full")
    try:
        bend = float(midpoint) if isinstance(midpoint, int | float | str) else float("nan")
    except (ValueError, OverflowError):
        bend = float("nan")
    law = Taper(law_word, bend)
    return Gang(parse_quantity(resistance, "ohm"), law, at_ten)


_VALUES: _Words[Network] = _Words(parse_leaf, join, "a value such as 91k or 820p", make_gang)
