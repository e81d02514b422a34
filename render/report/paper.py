"""The size of type at which a sheet fills its side of paper, worked out without a browser.

The page runs no script that could measure it; the tests do, in a browser.
"""

import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from presolder.render.report.soldering import CAUTIONS, PotBlock, Step

# Sizes of type, from large to small, and the paper within its margins: A4 less 9 mm all round.
_SIZES = (11.0, 10.4, 9.8, 9.2, 8.7, 8.3, 8.0, 7.6, 7.5)
_WIDTH, _HEIGHT = 544.0, 790.0
SMALLEST_POINTS = _SIZES[-1]
# Height of the guitar's schematic for each of its channels, over the size of type.
GUITAR_EM = 9.6
# A drawing up to this wide has the list of parts beside it.
_NARROW = 300.0
# Height of a line, with what stands between paragraphs, and width of the mean letter, both over
# the size of type.
_LEADING, _LETTER = 1.33, 0.545


def is_narrow(svg: str) -> bool:
    """Whether a drawing leaves room beside it."""
    return _drawn(svg)[0] < _NARROW


def fitting_points(sheet: dict[str, Any], svg: str, guitar_rows: int = 0) -> float | None:
    """The largest size of type at which a sheet is no longer than its paper; None if none is.

    Parameters
    ----------
    sheet : dict
        What the template fills in; see `Sheet.context`.
    svg : str
        Its drawing.
    guitar_rows : int
        How many channels the guitar's schematic has, above it.
    """
    guitar = GUITAR_EM * guitar_rows + (1.0 if guitar_rows else 0.0)
    sizes = _SIZES
    return next((s for s in sizes if _height(sheet, svg, s) + guitar * s <= _HEIGHT), None)


def _height(sheet: dict[str, Any], svg: str, size: float) -> float:
    """About how high a sheet is, in points, in type of a size."""
    width, drawn = _drawn(svg)
    narrow: bool = sheet["narrow"]

    def lines(texts: Iterable[str], share: float = 1.0, mark: float = 0.0) -> float:
        room = share * _WIDTH / (_LETTER * size) - mark
        return float(sum(np.ceil((len(text) + 1) / room) for text in texts))

    orders = [
        f"{o.quantity} x {o.what} ({o.series}) {o.tolerance} {o.note}" for o in sheet["orders"]
    ]
    beside = 1.0 - (width + 1.5 * size) / _WIDTH if narrow else 0.48
    side = 4.0 + lines(orders, beside, 3) + lines([sheet["dual"] + sheet["ceramics"]], beside)
    side += lines(map(_spoken, sheet["before"]), beside, 6)
    top = max(drawn, _LEADING * size * side) if narrow else drawn + 0.55 * _LEADING * size * side
    cautions = lines(CAUTIONS, 0.31, 3) / 3 * 0.93
    head = (
        1.8
        + lines([sheet["expect"]])
        + lines([sheet["verdict"]] * bool(sheet["verdict"]))
        + lines([sheet["title"] + sheet["rig"]])
    )
    rest = head + cautions + 4.0
    pots: tuple[PotBlock, ...] = sheet["pots"]
    if pots:
        share = 1.0 / len(pots) - 0.02 * (len(pots) > 1)
        rest += 1.5 + max(lines(map(_spoken, pot.steps), share, 6) for pot in pots)
        placed = [f"{place}: {what}" for place, what in max((pot.lugs for pot in pots), key=len)]
        rest += lines(placed, 0.48) / 2 if sheet["alike"] else lines(placed, share)
    return top + _LEADING * size * rest


def _spoken(step: Step) -> str:
    return f"{step.do} Check: {step.check}." if step.check else step.do


def _drawn(svg: str) -> tuple[float, float]:
    """Width and height of a drawing."""
    found = [re.search(rf'{side}="([\d.]+)(?:pt)?"', svg) for side in ("width", "height")]
    width, height = (float(match[1]) if match else 0.0 for match in found)
    return width, height
