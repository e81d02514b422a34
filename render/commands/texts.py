"""How the texts of options are read: numbers, dials, values of parts."""

import math
from pathlib import Path

import numpy as np

from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import require_dial, require_turned_up
from presolder.models.instrument.quantities import Unit, parse_quantity, require_component
from presolder.models.typing import Array
from presolder.render.files.standard import STANDARD

PLOT_ENDINGS = (".png", ".svg")
_WEIGHT_WORDS = {"taper": 0.0, "tone": 1.0}
_MOST_NUMBERS = 10_000


def read_preference(keep: str) -> float:
    """The tone's weight from ``taper``, ``tone`` or a number.

    Raises
    ------
    InputError
        If it is none of these.
    """
    if keep in _WEIGHT_WORDS:
        return _WEIGHT_WORDS[keep]
    try:
        weight = float(keep)
    except ValueError:
        weight = -1.0
    if not 0.0 <= weight <= 1.0:
        raise InputError(f"--keep {keep!r} must be taper, tone, or a number from 0 to 1")
    return weight


def require_plot_ending(path: Path | None, option: str = "--plot") -> None:
    """Refuse a plot file that is neither PNG nor SVG.

    Raises
    ------
    InputError
        Naming the option and the file.
    """
    if path is not None and path != STANDARD and path.suffix.lower() not in PLOT_ENDINGS:
        raise InputError(f"{option} {str(path)!r} must end in .png or .svg, or be - for an SVG")


def read_component(option: str, text: str, unit: Unit) -> float:
    """The value of a part, in ohms, farads or henries.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    with place(f"{option} {text}"):
        value = parse_quantity(text, unit)
        require_component("value", value, unit)
    return value


def read_number(option: str, text: str) -> float:
    """A plain number.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise InputError(f"{option}: {text!r} is not a number")
    return number


def read_at_dial(option: str, text: str, example: str) -> tuple[float, str]:
    """A dial and what is said of it, from ``DIAL=...``.

    Parameters
    ----------
    option, text : str
    example : str
        What would be accepted, such as ``DIAL=OHMS, such as 7=96k``.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    word, equals, said = text.partition("=")
    try:
        dial = float(word)
    except ValueError:
        dial = math.nan
    if not equals or math.isnan(dial):
        raise InputError(f"{option} {text!r} must be {example}")
    require_dial(f"{option} dial", dial)
    return dial, said


def parse_numbers(option: str, text: str) -> Array:
    """Numbers separated by commas.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    try:
        numbers = np.array([float(word) for word in text.split(",")])
    except ValueError:
        raise InputError(f"{option} {text!r} must be numbers separated by commas") from None
    if not np.all(np.isfinite(numbers)) or numbers.size > _MOST_NUMBERS:
        raise InputError(f"{option} {text!r} must be at most 10,000 finite numbers")
    return numbers


def parse_dials(text: str, option: str, *, silent_ok: bool = True) -> Array:
    """Dial positions 0-10, by commas; unless silence will do, above 0.

    Raises
    ------
    InputError
        Naming the option and what lies outside.
    """
    dials = parse_numbers(option, text)
    require = require_dial if silent_ok else require_turned_up
    for dial in dials:
        require(option, dial)
    return dials


def parse_frequencies(text: str) -> Array:
    """A frequency list, or ``first:last:count``.

    Raises
    ------
    InputError
        Naming the option and what was given.
    """
    if ":" in text:
        words = text.split(":")
        try:
            first, last, count = float(words[0]), float(words[1]), int(words[2])
            valid = len(words) == 3 and 0 < first < last < 1e9 and 2 <= count <= _MOST_NUMBERS
        except (ValueError, IndexError):
            valid = False
        if not valid:
            raise InputError(
                f"--frequency {text!r} must be first:last:count with 0 < first < last"
                " and a count of 2 to 10000"
            )
        return np.geomspace(first, last, count)
    return parse_numbers("--frequency", text)
