"""Component values: reading them as people write them, and writing them back.

These spellings are read: a plain number in the base SI unit; SI text with a
prefix and a unit (``"4.5 H"``, ``"500 pF"``); the letter codes of IEC 60062
(``"8k2"``, ``"4n7"``, ``"R47"``), where the letter stands both for the decimal
point and for the multiplier; the trade's ways (``".022uf"``, ``"1meg"``,
``"0,022 MFD"``); and what is printed on capacitors (``"223"``, ``"104J"``).
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from presolder.models.errors import InputError

Unit = Literal["ohm", "farad", "henry", "volt"]


@dataclass(frozen=True)
class _UnitRules:
    """Spellings and accepted range of one unit."""

    symbols: tuple[str, ...]
    letters: dict[str, int]
    smallest: float
    largest: float
    example: str


_MICRO = {"u": -6, "µ": -6, "μ": -6}
# The ranges are far wider than any guitar needs; past them a typing slip is
# certain and double precision is no longer comfortable.
_RULES: dict[Unit, _UnitRules] = {
    "ohm": _UnitRules(
        ("Ω", "Ω", "ohm", "ohms", "Ohm"),
        {"R": 0, "r": 0, "k": 3, "K": 3, "M": 6, "G": 9},
        1e-2,
        1e10,
        '"8k2", "500 kΩ" or 8200',
    ),
    "farad": _UnitRules(
        ("F",),
        {"p": -12, "n": -9, **_MICRO, "m": -3, "F": 0},
        1e-14,
        1.0,
        '"820p", "22 nF" or 2.2e-8',
    ),
    "henry": _UnitRules(
        ("H",), {**_MICRO, "m": -3, "H": 0}, 1e-6, 1e5, '"4.5 H", "2400 mH" or 4.5'
    ),
    "volt": _UnitRules(("V",), {**_MICRO, "m": -3, "V": 0}, 1e-6, 1e3, '"150 mV", "0.2 V" or 0.15'),
}
# Suffixes as people write them, in lower case, and their powers of ten: common practice, no
# source. A lone "m" is left out: it is milli to some and mega or micro to others.
_SPOKEN: dict[Unit, dict[str, int]] = {
    "ohm": {
        **dict.fromkeys(("ohm", "ohms", "ω", "r"), 0),
        **dict.fromkeys(("k", "kohm", "kohms", "kω"), 3),
        **dict.fromkeys(("meg", "megohm", "megohms", "megω"), 6),
    },
    "farad": {
        **dict.fromkeys(("p", "pf", "mmf", "mmfd", "uuf"), -12),
        **dict.fromkeys(("n", "nf"), -9),
        **dict.fromkeys(("u", "uf", "µ", "µf", "μ", "μf", "mfd"), -6),
        "f": 0,
    },
    "henry": {
        **dict.fromkeys(("h", "hy", "henry", "henries"), 0), "mh": -3, "uh": -6, "µh": -6, "μh": -6,
    },
    "volt": {**dict.fromkeys(("v", "volt", "volts"), 0), "mv": -3},
}  # fmt: skip
# Two figures and a multiplier, in picofarads, with or without a tolerance letter
# (IEC 60062:2016, three-character marking of capacitors; from memory).
_PRINTED = re.compile(r"([1-9]\d)([0-6])[FGJKM]?")
_THOUSANDS = re.compile(r"([+-]?[1-9]\d{0,2}),(\d{3})(?!\d)(.*)", re.DOTALL)
_RESISTOR_LETTERS = frozenset("rkgω")
_CAPACITOR_LETTERS = frozenset("pnuµμ")
_CODE = re.compile(r"(\d{0,6})([A-Za-zµμ])(\d{0,6})")
_SI_TEXT = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*([A-Za-zµμΩΩ]*)")


def parse_quantity(value: object, unit: Unit) -> float:
    """Read a component value.

    Parameters
    ----------
    value : object
        A number in base SI units, SI text or an IEC 60062 code.
    unit : Unit
        What the value must be.

    Returns
    -------
    float
        The value in the base unit; it may be zero or negative, since
        whether that is sensible depends on the part (see `require_component`).

    Raises
    ------
    InputError
        If the text cannot be read as that unit, may be read in two ways, or is
        not finite.

    Notes
    -----
    Letter codes after IEC 60062:2016, resistance and capacitance marking;
    prefixes after the SI brochure. For inductors the same letter idea is used.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise InputError(f"{value!r} is not a value; write for example {_RULES[unit].example}")
    if not isinstance(value, str):
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise InputError(f"{value!r} is not a finite number")
        return number
    # "1M ohm" is "1Mohm".
    text = re.sub(r"(?<=[A-Za-zµμ])\s+(?=[A-Za-zΩΩ])", "", with_a_point(value.strip()))
    parsed = _read_printed(text, value) if unit == "farad" else None
    for read in (_read_code, _read_si_text, _read_spoken):
        if parsed is None:
            parsed = read(text, unit)
    if parsed is None or not math.isfinite(parsed):
        raise InputError(
            f"{value!r} is not a value in {unit}s; write for example {_RULES[unit].example}"
        )
    return parsed


def with_a_point(text: str) -> str:
    """A decimal comma made a point.

    Raises
    ------
    InputError
        If it may as well set off thousands.
    """
    if text.count(",") != 1 or "." in text:
        return text
    match = _THOUSANDS.fullmatch(text)
    if match is not None:
        whole, digits, rest = match.groups()
        raise InputError(
            f"{text!r} may be {whole}{digits}{rest} or {whole}.{digits}{rest}; write one of them"
        )
    return text.replace(",", ".")


def _read_printed(text: str, value: str) -> float | None:
    """Three figures as printed on a capacitor.

    Raises
    ------
    InputError
        If the last is 0, which may be a figure of the value or a multiplier.
    """
    match = _PRINTED.fullmatch(text)
    if match is None:
        return None
    figures, zeros = match.groups()
    if zeros == "0":
        raise InputError(
            f"{value!r} may be {figures} pF or {figures}0 pF; write {figures}p or {figures}0p"
        )
    return float(f"{figures}e{int(zeros) - 12}")


def _read_spoken(text: str, unit: Unit) -> float | None:
    match = _SI_TEXT.fullmatch(text)
    if match is None:
        return None
    number, suffix = match.groups()
    exponent = _SPOKEN[unit].get(suffix.lower())
    if exponent is None:
        return None
    mantissa, _, power = number.lower().partition("e")
    return float(f"{mantissa}e{int(power or 0) + exponent}")


def _read_code(text: str, unit: Unit) -> float | None:
    match = _CODE.fullmatch(text)
    if match is None:
        return None
    whole, letter, fraction = match.groups()
    letters = _RULES[unit].letters
    exponent = letters.get(letter, letters.get(letter.lower()) if letter in "NPU" else None)
    if exponent is None or not (whole or fraction):
        return None
    # Through one decimal literal, so that "4n7" is the same double as 4.7e-9.
    return float(f"{whole or '0'}.{fraction or '0'}e{exponent}")


def _read_si_text(text: str, unit: Unit) -> float | None:
    match = _SI_TEXT.fullmatch(text)
    if match is None:
        return None
    number, suffix = match.groups()
    rules = _RULES[unit]
    symbol = next((s for s in rules.symbols if s and suffix.endswith(s)), "")
    prefix = suffix[: len(suffix) - len(symbol)] if symbol else suffix
    if prefix and prefix not in rules.letters:
        return None
    exponent = rules.letters.get(prefix, 0) if prefix else 0
    mantissa, _, power = number.lower().partition("e")
    return float(f"{mantissa}e{int(power or 0) + exponent}")


def require_within(ranges: Iterable[tuple[str, float, float, float]], unit: str = "") -> None:
    """Refuse plain numbers outside their ranges.

    Parameters
    ----------
    ranges : iterable of (str, float, float, float)
        What each is called, its value, and the lowest and highest accepted.
    unit : str
        Of all of them, for the message.

    Raises
    ------
    InputError
        Naming the first that lies outside, or is not a number.
    """
    of_unit = f" {unit}" if unit else ""
    for name, value, low, high in ranges:
        if not low <= value <= high:
            raise InputError(
                f"{name} = {value:g}{of_unit} must lie between {low:g} and {high:g}{of_unit}"
            )


def smallest_of(unit: Unit) -> float:
    """The smallest value that `require_component` takes."""
    return _RULES[unit].smallest


def require_component(name: str, value: float, unit: Unit, *, zero_ok: bool = False) -> None:
    """Refuse values that no real part has.

    Parameters
    ----------
    name : str
        What the value is called, for the message.
    value : float
        In base SI units.
    unit : Unit
        Selects the accepted range.
    zero_ok : bool
        Whether zero (no such part) is accepted.

    Raises
    ------
    InputError
        If the value is not positive, or outside the range of real parts.
    """
    rules = _RULES[unit]
    if zero_ok and value == 0:
        return
    if not rules.smallest <= value <= rules.largest:
        zero = "0 or " if zero_ok else ""
        raise InputError(
            f"{name} = {value:g} {unit} is out of range; accepted: {zero}"
            f"{format_quantity(rules.smallest, unit)} to {format_quantity(rules.largest, unit)}"
        )


def leaf_unit(text: str) -> Unit | None:
    """Tell a resistor from a capacitor by the letter in its value.

    Parameters
    ----------
    text : str
        A value as written in a network, for example ``"91k"`` or ``"820 pF"``.

    Returns
    -------
    {"ohm", "farad"} or None
        None when no letter tells.
    """
    letters = [
        character for character in text if not character.isdigit() and character not in "., "
    ]
    if not letters:
        return None
    suffix = "".join(letters).lower()
    if letters[0] == "M" and suffix[-1] not in "fd":
        return "ohm"
    if suffix[0] in _RESISTOR_LETTERS or "ohm" in suffix or suffix.startswith("meg"):
        return "ohm"
    if suffix[0] in _CAPACITOR_LETTERS or suffix[-1] == "f" or suffix in _SPOKEN["farad"]:
        return "farad"
    return None


_CODE_STEPS: dict[Unit, tuple[tuple[int, str], ...]] = {
    "ohm": ((9, "G"), (6, "M"), (3, "k"), (0, "R")),
    "farad": ((0, "F"), (-3, "m"), (-6, "u"), (-9, "n"), (-12, "p")),
    "henry": ((0, "H"), (-3, "m"), (-6, "u")),
    "volt": ((0, "V"), (-3, "m"), (-6, "u")),
}


def format_code(value: float, unit: Unit) -> str:
    """Write a value as an IEC 60062 code that reads back as the same value.

    Parameters
    ----------
    value : float
        Positive, in base SI units.
    unit : Unit
        What the value is.

    Returns
    -------
    str
        For example ``"8k2"``; up to twelve significant digits are kept.
    """
    steps = _CODE_STEPS[unit]
    exponent, letter = next(
        (step for step in steps if value >= 10.0 ** step[0] * (1 - 1e-12)), steps[-1]
    )
    whole, _, fraction = f"{value / 10.0**exponent:.12g}".partition(".")
    if "e" in whole or "e" in fraction:
        whole, _, fraction = f"{value / 10.0**exponent:.12f}".rstrip("0").partition(".")
    return f"{whole}{letter}{fraction}"


def format_quantity(value: float, unit: Unit) -> str:
    """Write a value as SI text for people, for example ``"8.2 kΩ"``.

    Parameters
    ----------
    value : float
        In base SI units.
    unit : Unit
        What the value is.
    """
    symbol = {"ohm": "Ω", "farad": "F", "henry": "H", "volt": "V"}[unit]
    if value == 0 or not math.isfinite(value):
        return f"{value:g} {symbol}"
    prefixes = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
    exponent = 3 * math.floor(math.log10(abs(value) * (1 + 1e-12)) / 3)
    exponent = min(max(exponent, -15), 9)
    return f"{value / 10.0**exponent:.4g} {prefixes[exponent]}{symbol}"
