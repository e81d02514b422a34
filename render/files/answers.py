"""A listener's answer, as the pack's page saves it."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from presolder.models.errors import InputError
from presolder.models.instrument.law import DIAL_MAX
from presolder.render.files.toml import read_text

_MARK = "presolder_answer"
# Of the time that was listened, where in it the knob stood.
_SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)


@dataclass(frozen=True)
class Answer:
    """What came back.

    Attributes
    ----------
    dials : tuple of float
        Below 10 and above 0, where the knob stood while something was heard.
    seconds : tuple of float
        How long at each.
    favourite : str
        By a procedure that guessing seldom passes; empty for none.
    """

    dials: tuple[float, ...]
    seconds: tuple[float, ...]
    favourite: str

    @property
    def left_at(self) -> tuple[float, ...]:
        """Five dials, each standing for a fifth of the time; one where the knob was left is twice.

        As `Judging` takes them.
        """
        order = np.argsort(self.dials)
        dials, passed = np.array(self.dials)[order], np.cumsum(np.array(self.seconds)[order])
        at = np.searchsorted(passed, np.array(_SHARES) * passed[-1])
        return tuple(dials[at][::-1].tolist())


def read_answer(path: Path) -> Answer:
    """Read what a page saved.

    Raises
    ------
    InputError
        If it is no such file, or its knob was never below 10.
    """
    text = read_text(path)
    try:
        told = json.loads(text)
        if told[_MARK] != 1:
            raise ValueError
        heard = [_listened(one) for one in told["dials"]]
        favourite = told["favourite"] or ""
        if not isinstance(favourite, str):
            raise ValueError
    except (ValueError, KeyError, TypeError, RecursionError):
        raise InputError(f"{path}: is no answer of a listening page") from None
    below = [(dial, seconds) for dial, seconds in heard if 0 < dial < DIAL_MAX and seconds > 0]
    if not below:
        raise InputError(f"{path}: nobody listened with the knob between 0 and 10")
    dials, seconds = zip(*below, strict=True)
    return Answer(dials, seconds, favourite)


def _listened(told: Any) -> tuple[float, float]:  # noqa: ANN401
    dial, seconds = float(told["dial"]), float(told["seconds"])
    if not (0 <= dial <= DIAL_MAX and 0 <= seconds < 1e7):
        raise ValueError
    return dial, seconds
