"""A stage of one's own: a small netlist, in the cards that circuit simulators read.

The subset of SPICE2's input language (Nagel, ERL-M520, 1975, appendix A) that an
ordinary stage needs: R, C, L, D, Q, V of direct voltage, E, ``.model`` of D, NPN and
PNP, and ``.temp`` in degrees C, with Gummel's and Poon's leakage of a transistor. The
first line is a title, ``*`` and ``;`` begin remarks, ``+`` goes on with the line before;
values have the usual letters, ``MEG`` and ``M`` (milli) among them. As later simulators
have it, ``.param`` names the knobs with where they stand, and a value in braces goes
with them: ``{4.7k + 22k*gain}``.
"""

import ast
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

from presolder.models.errors import InputError, place
from presolder.models.instrument.quantities import require_within

MOST_NODES, MOST_JUNCTIONS = 24, 8
INPUT, OUTPUT_NAME, GROUND_NAME = "in", "out", "0"
# What models are said at, degrees C.
NOMINAL_CELSIUS = 27.0
_CELSIUS = (-40.0, 120.0)
_LETTERS = {"F": 1e-15, "P": 1e-12, "N": 1e-9, "U": 1e-6, "M": 1e-3, "K": 1e3, "MEG": 1e6,
            "G": 1e9, "T": 1e12}  # fmt: skip
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?)(MEG|[FPNUMKGT])?[A-Z]*", re.I)
_RANGES = {
    "R": (1e-3, 1e9), "C": (1e-15, 1.0), "L": (1e-9, 1e3), "V": (-100.0, 100.0), "E": (-1e7, 1e7),
}  # fmt: skip
# What knobs there are and how far each goes: one that has any name, the trim of a working point,
# the battery's volts and the ohms in it.
KNOBS = {"control": (0.0, 10.0), "bias": (0.0, 10.0), "supply": (3.0, 24.0),
         "battery": (1.0, 10e3)}  # fmt: skip
# Words that a rig file has beside a knob's own.
_TAKEN = ("kind", "touch_db", "level_db", "max", "control")
_LONGEST_VALUE = 200
# What a model may say, what it says otherwise, and how far it goes.
_MODELS: dict[str, dict[str, tuple[float, float, float]]] = {
    "D": {"IS": (1e-14, 1e-20, 1e-2), "N": (1.0, 0.5, 10.0), "CJO": (0.0, 0.0, 1e-6),
          "M": (0.0, 0.0, 0.0), "EG": (1.11, 0.1, 5.0), "XTI": (3.0, 0.0, 20.0)},
    "Q": {"IS": (1e-16, 1e-20, 1e-2), "BF": (100.0, 1.0, 1e5), "BR": (1.0, 1e-3, 1e4),
          "CJE": (0.0, 0.0, 1e-6), "CJC": (0.0, 0.0, 1e-6), "MJE": (0.0, 0.0, 0.0),
          "MJC": (0.0, 0.0, 0.0), "ISE": (0.0, 0.0, 1e-2), "NE": (1.5, 0.5, 10.0),
          "ISC": (0.0, 0.0, 1e-2), "NC": (2.0, 0.5, 10.0), "EG": (1.11, 0.1, 5.0),
          "XTI": (3.0, 0.0, 20.0), "XTB": (0.0, -5.0, 5.0), "VAF": (math.inf, 1.0, 1e6)},
}  # fmt: skip
_Model: TypeAlias = tuple[str, tuple[tuple[str, float], ...], Literal[1, -1]]
_ENDS = {"R": 2, "C": 2, "L": 2, "V": 2, "D": 2, "E": 4, "Q": 3}
_SHAPES = {
    "R": "two nodes and ohms", "C": "two nodes and farads", "L": "two nodes and henries",
    "V": "two nodes and volts", "D": "two nodes and a model", "E": "four nodes and a gain",
    "Q": "collector, base, emitter and a model",
}  # fmt: skip


@dataclass(frozen=True)
class Value:
    """What a part has, and how knobs move it.

    Attributes
    ----------
    base : float
        With all knobs at 0; of parts without knobs, their value.
    moved : tuple of (str, float)
        What each knob adds, by its name in `KNOBS`, for each mark, volt or ohm.
    least : float
        It is never less.
    """

    base: float
    moved: tuple[tuple[str, float], ...] = ()
    least: float = -math.inf

    def at(self, knobs: Mapping[str, float]) -> float:
        """With the knobs so."""
        return max(self.least, self.base + sum(per * knobs[knob] for knob, per in self.moved))

    @property
    def ends(self) -> tuple[float, float]:
        """The least and the most that it can be."""
        ways = [sorted(per * end for end in KNOBS[knob]) for knob, per in self.moved]
        low, high = (self.base + sum(way[i] for way in ways) for i in (0, 1))
        return max(self.least, low), max(self.least, high)


@dataclass(frozen=True)
class Part:
    """One card of a netlist.

    Attributes
    ----------
    letter : {"R", "C", "L", "V", "E", "D", "Q"}
    name : str
    nodes : tuple of str
        As its card names them.
    value : Value
        Ohms, farads, henries, volts, or a gain; 0 of what has a model.
    model : tuple of (str, float)
        Of a diode or transistor, what it says, by name.
    polarity : {1, -1}
        -1 for a PNP.
    """

    letter: str
    name: str
    nodes: tuple[str, ...]
    value: Value = Value(0.0)
    model: tuple[tuple[str, float], ...] = ()
    polarity: Literal[1, -1] = 1

    def says(self, name: str) -> float:
        """What its model says."""
        return dict(self.model)[name]

    @property
    def junctions(self) -> int:
        """How many it has; each that leaks is one more, and so is an Early effect."""
        if self.letter != "Q":
            return int(self.letter == "D")
        more = [self.says(leak) > 0 for leak in ("ISE", "ISC")]
        return 2 + sum(more) + (self.says("VAF") < math.inf)


@dataclass(frozen=True)
class Pedal:
    """A stage that the guitar feeds, from ``in`` to ``out`` over ``0``.

    Attributes
    ----------
    name : str
    parts : tuple of Part
    celsius : float
        How warm its junctions are.
    knobs : tuple of (str, float)
        By their names in `KNOBS`, with where they stand as it is drawn.
    control : str or None
        What its own knob is called.

    Raises
    ------
    InputError
        If it has no input or output, or is larger than is accepted.
    """

    name: str
    parts: tuple[Part, ...] = field(repr=False)
    celsius: float = NOMINAL_CELSIUS
    knobs: tuple[tuple[str, float], ...] = ()
    control: str | None = None

    def __post_init__(self) -> None:
        for node in (INPUT, OUTPUT_NAME, GROUND_NAME):
            if node not in self.nodes:
                raise InputError(f"no part is at the node {node!r}; in, out and 0 are wanted")
        if len(self.nodes) - 1 > MOST_NODES:
            raise InputError(f"{len(self.nodes) - 1} nodes; at most {MOST_NODES} are accepted")
        junctions = sum(part.junctions for part in self.parts)
        if not 0 < junctions <= MOST_JUNCTIONS:
            raise InputError(
                f"{junctions} junctions of diodes and transistors; 1 to {MOST_JUNCTIONS} are"
                " accepted"
            )
        open_ends = (one for one in self.nodes if one not in (INPUT, OUTPUT_NAME))
        alone = [one for one in open_ends if self._ends(one) < 2]
        if alone:
            raise InputError(f"the node {alone[0]!r} has one part only")

    @property
    def nodes(self) -> tuple[str, ...]:
        """All nodes, each once."""
        return tuple(dict.fromkeys(node for part in self.parts for node in part.nodes))

    def _ends(self, node: str) -> int:
        return sum(part.nodes.count(node) for part in self.parts)

    def __str__(self) -> str:
        return self.name


def read_pedal(text: str, name: str) -> Pedal:
    """A netlist, read.

    Parameters
    ----------
    text : str
    name : str
        What it is called.

    Raises
    ------
    InputError
        With the line.
    """
    models: dict[str, _Model] = {}
    waiting: list[tuple[str, list[str]]] = []
    celsius, knobs = NOMINAL_CELSIUS, dict[str, float]()
    for where, words in _cards(text):
        with place(where):
            if words[0] == ".MODEL":
                title, model = _model(words)
                if title in models:
                    raise InputError(f"the model {title!r} is there twice")
                models[title] = model
            elif words[0] == ".TEMP":
                celsius = _celsius(words)
            elif words[0] == ".PARAM":
                knobs |= _knobs(words[1:])
            else:
                waiting.append((where, words))
    parts: dict[str, Part] = {}
    for where, words in waiting:
        with place(where):
            part = _part(words, models, knobs)
            if part.name in parts:
                raise InputError(f"{part.name} is there twice")
            parts[part.name] = part
    own = [knob for knob in knobs if _kind(knob) == "control"]
    if len(own) > 1:
        raise InputError(
            f".param {' and '.join(own)}: one knob of its own is accepted, beside bias,"
            " supply and battery"
        )
    standing = tuple((_kind(knob), at) for knob, at in knobs.items())
    return Pedal(name, tuple(parts.values()), celsius, standing, own[0] if own else None)


def _cards(text: str) -> Iterator[tuple[str, list[str]]]:
    """Where lines stand, and their words in capitals, without title, remarks and ``.end``."""
    joined: list[tuple[int, str]] = []
    for number, raw in enumerate(text.splitlines()[1:], start=2):
        line = raw.split(";")[0].strip()
        if not line or line.startswith("*"):
            continue
        if line.startswith("+"):
            if not joined:
                raise InputError(f"line {number}: '+' goes on with no line")
            joined[-1] = (joined[-1][0], f"{joined[-1][1]} {line[1:]}")
            continue
        if line.split()[0].lower() == ".end":
            break
        joined.append((number, line))
    for number, line in joined:
        words = _PUNCTUATION.sub(_apart, line).upper().split()
        if not words:
            raise InputError(f"line {number}: {line[:60]!r} is no part")
        yield f"line {number}: {line[:60]!r}", words


_PUNCTUATION = re.compile(r"\{[^{}]*\}|[(),=]")


def _apart(found: re.Match[str]) -> str:
    """A value in braces as one word; other punctuation lies between words."""
    return "".join(found[0].split()) if found[0].startswith("{") else " "


def _number(word: str) -> float:
    found = _NUMBER.fullmatch(word)
    if found is None:
        raise InputError(f"{word!r} is no number; such as 4.7k, 100n or 1meg is accepted")
    return float(found[1]) * _LETTERS.get((found[2] or "").upper(), 1.0)


def _kind(knob: str) -> str:
    """Which of `KNOBS` one is, by the name that the netlist has for it."""
    return knob if knob in KNOBS else "control"


def _knobs(words: list[str]) -> dict[str, float]:
    """Knobs and where they stand, by the names that the netlist has for them."""
    if not words or len(words) % 2:
        raise InputError(".param names knobs and where they stand in pairs, such as gain=5")
    standing = {}
    for word, at in zip(words[::2], words[1::2], strict=True):
        knob = word.lower()
        if knob in _TAKEN or not re.fullmatch(r"[a-z][a-z_]*", knob):
            raise InputError(
                f".param {knob}: a knob has a word of letters, but for {', '.join(_TAKEN)}"
            )
        standing[knob] = _number(at)
        require_within(((f".param {knob}", standing[knob], *KNOBS[_kind(knob)]),))
    return standing


def _value(word: str, knobs: Mapping[str, float]) -> Value:
    """A number, or in braces what knobs make of it."""
    if not word.startswith("{"):
        return Value(_number(word))
    text = _NUMBERS.sub(lambda found: repr(_number(found[0])), word[1:-1])
    try:
        if len(word) > _LONGEST_VALUE:
            raise InputError(f"a value in braces has at most {_LONGEST_VALUE} characters")
        return _worked_out(ast.parse(text, mode="eval").body, knobs)
    except (SyntaxError, ValueError, ArithmeticError, RecursionError, MemoryError):
        raise InputError(f"{word[:60].lower()} {_NO_LINE}") from None


_NUMBERS = re.compile(rf"(?<![A-Z_\d.])(?:{_NUMBER.pattern})", re.I)
_NO_LINE = (
    "is no sum of numbers and knobs times numbers, such as {4.7k + 22k*gain} or"
    " {max(1k - 100*gain, 1)}; .param names the knobs"
)


def _worked_out(node: ast.expr, knobs: Mapping[str, float]) -> Value:
    """What lies along a straight line with each knob, and at most stops at its least."""
    match node:
        case ast.Constant(value=float(number)):
            return Value(number)
        case ast.Name(id=name) if name.lower() in knobs:
            return Value(0.0, ((_kind(name.lower()), 1.0),))
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return _times(_worked_out(inner, knobs), -1.0)
        case ast.BinOp(left=left, op=op, right=right):
            return _joined(_worked_out(left, knobs), op, _worked_out(right, knobs))
        case ast.Call(func=ast.Name(id="MAX"), args=[inner, least], keywords=[]):
            return replace(_worked_out(inner, knobs), least=_alone(_worked_out(least, knobs)))
        case _:
            raise SyntaxError


def _joined(one: Value, op: ast.operator, other: Value) -> Value:
    match op:
        case ast.Add():
            return _sum(one, other)
        case ast.Sub():
            return _sum(one, _times(other, -1.0))
        case ast.Mult():
            return _times(other, _alone(one)) if other.moved else _times(one, _alone(other))
        case ast.Div():
            return _times(one, 1.0 / _alone(other))
        case _:
            raise SyntaxError


def _alone(value: Value) -> float:
    """A number that no knob moves."""
    if value.moved or value.least > -math.inf:
        raise SyntaxError
    return value.base


def _times(value: Value, factor: float) -> Value:
    if value.least > -math.inf:
        raise SyntaxError
    return Value(value.base * factor, tuple((knob, per * factor) for knob, per in value.moved))


def _sum(one: Value, other: Value) -> Value:
    if max(one.least, other.least) > -math.inf:
        raise SyntaxError
    moved = dict(one.moved)
    for knob, per in other.moved:
        moved[knob] = moved.get(knob, 0.0) + per
    return Value(one.base + other.base, tuple(moved.items()))


def _celsius(words: list[str]) -> float:
    if len(words) != 2:
        raise InputError(".temp has one number, in degrees C")
    celsius = _number(words[1])
    require_within(((".temp", celsius, *_CELSIUS),))
    return celsius


def _model(words: list[str]) -> tuple[str, _Model]:
    if len(words) < 3 or words[2] not in ("D", "NPN", "PNP"):
        raise InputError("a model has a name and one of the types D, NPN and PNP")
    letter = "D" if words[2] == "D" else "Q"
    known = _MODELS[letter]
    said = {one: usual for one, (usual, _, _) in known.items()}
    if len(words) % 2 == 0:
        raise InputError("a model says names and values in pairs, such as IS=1e-14")
    for key, word in zip(words[3::2], words[4::2], strict=True):
        if key not in known:
            raise InputError(f"{key} of a model is not known; of a {words[2]}: {', '.join(known)}")
        value, (_, least, most) = _number(word), known[key]
        if not least <= value <= most:
            raise InputError(f"{key} = {value:g}; {least:g} to {most:g} is accepted")
        said[key] = value
    return words[1], (letter, tuple(said.items()), -1 if words[2] == "PNP" else 1)


def _part(words: list[str], models: dict[str, _Model], knobs: Mapping[str, float]) -> Part:
    letter = words[0][0]
    if letter not in _ENDS:
        raise InputError(
            f"{words[0]}: parts are {', '.join(_ENDS)}, and .model, .param, .temp and .end"
            " beside them"
        )
    if letter == "V" and len(words) == 5 and words[3] == "DC":
        words = [*words[:3], words[4]]
    ends = _ENDS[letter]
    if len(words) != ends + 2:
        raise InputError(f"{words[0]} has {_SHAPES[letter]}")
    nodes = tuple(GROUND_NAME if one == "GND" else one.lower() for one in words[1 : ends + 1])
    if letter in _RANGES:
        value = _value(words[-1], knobs)
        for end in value.ends:
            require_within(((words[0], end, *_RANGES[letter]),))
        if letter != "E" and nodes[0] == nodes[1]:
            raise InputError(f"{words[0]} lies between {nodes[0]!r} and itself")
        return Part(letter, words[0], nodes, value)
    its, said, polarity = models.get(words[-1], ("", (), 1))
    if its != letter:
        raise InputError(f"there is no .model {words[-1]} of its type")
    return Part(letter, words[0], nodes, model=said, polarity=polarity)
