"""The turn of a knob as the user says or draws it."""

import re
from pathlib import Path

from presolder.models.errors import InputError, place
from presolder.models.judging.turn import (
    Wanted,
    half_as_loud_at,
    usable_between,
    wanted_through,
)
from presolder.render.files.points import read_points

_NUMBER = r"(\d+(?:\.\d+)?)"
_HALFWAY = re.compile(rf"halfway at {_NUMBER}")
_USABLE = re.compile(rf"usable from {_NUMBER} to {_NUMBER}(?: ?dB)?(?: down)?")


def read_wanted(text: str) -> Wanted:
    """What level is wanted over the dial: in words, or the path of a CSV file.

    Raises
    ------
    InputError
        Naming what would be accepted.
    """
    words = " ".join(text.split())
    halfway, usable = _HALFWAY.fullmatch(words), _USABLE.fullmatch(words)
    if halfway is not None:
        return half_as_loud_at(float(halfway[1]))
    if usable is not None:
        return usable_between(float(usable[1]), float(usable[2]))
    if not words.lower().endswith(".csv"):
        raise InputError(
            f"{text!r} must be 'halfway at 5', 'usable from 3 to 30', or a CSV file of"
            " dial,level_db"
        )
    points = read_points(Path(text), ("dial", "level_db"))
    with place(text):
        return wanted_through(
            [(dial, level) for dial, level in points], f"as drawn in {Path(text).name}"
        )
