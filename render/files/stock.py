"""A drawer of parts as the user lists it: a CSV file."""

import csv
import io
from pathlib import Path

from presolder.models.errors import InputError, one_line, place
from presolder.models.instrument.markings import marked_pot
from presolder.models.instrument.network import Capacitor, Resistor
from presolder.models.instrument.quantities import parse_quantity, require_component
from presolder.models.instrument.stock import DualPot, Stock, StockLine
from presolder.render.files.toml import read_text

_NEEDED, _OPTIONAL = ("type", "value", "count"), ("tolerance", "price")
_TYPES = ("resistor", "capacitor", "dual-pot")
_MOST_ROWS = 5_000
_MOST_FIGURES = 15


def read_stock(path: Path) -> Stock:
    """Read a drawer of parts.

    Parameters
    ----------
    path : Path
        A CSV file; its first row names the columns, ``type``, ``value`` and
        ``count`` and, if wanted, ``tolerance`` and ``price``.

    Raises
    ------
    InputError
        Naming file and line.
    """
    try:
        rows = list(csv.reader(io.StringIO(read_text(path)), strict=True))
    except csv.Error as error:
        raise InputError(f"{path}: not a CSV file: {one_line(str(error))}") from None
    head = tuple(cell.strip().lower() for cell in rows[0]) if rows else ()
    wanted = ",".join((*_NEEDED, *_OPTIONAL))
    if not set(_NEEDED) <= set(head) <= {*_NEEDED, *_OPTIONAL} or len(set(head)) < len(head):
        raise InputError(f"{path}: the first row must be {wanted}, the last two if wanted")
    if len(rows) > _MOST_ROWS:
        raise InputError(f"{path}: more than {_MOST_ROWS} rows")
    lines = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        with place(f"{path}, line {number}"):
            if len(row) != len(head):
                raise InputError(f"{','.join(row)!r} is not {','.join(head)}")
            cells = dict(zip(head, (cell.strip() for cell in row), strict=True))
            lines.append(_line(cells))
    if not any(line.pieces for line in lines):
        raise InputError(f"{path}: holds no parts")
    return Stock(tuple(lines))


def _line(cells: dict[str, str]) -> StockLine:
    pieces, price = cells["count"], cells.get("price", "")
    # Python itself refuses to read some thousand figures.
    if not pieces.isdecimal() or len(pieces) > _MOST_FIGURES:
        raise InputError(f"count = {pieces[:_MOST_FIGURES]!r} must be a whole number")
    try:
        cost = float(price) if price else None
    except ValueError:
        raise InputError(f"price = {price!r} must be a number") from None
    return StockLine(
        _part(cells["type"].lower(), cells["value"]),
        int(pieces),
        cells.get("tolerance", ""),
        cost,
    )


def _part(kind: str, value: str) -> Resistor | Capacitor | DualPot:
    match kind:
        case "resistor":
            ohms = parse_quantity(value, "ohm")
            require_component("value", ohms, "ohm")
            return Resistor(ohms)
        case "capacitor":
            farads = parse_quantity(value, "farad")
            require_component("value", farads, "farad")
            return Capacitor(farads)
        case "dual-pot":
            sections = [section.strip() for section in value.split("/")]
            if len(sections) != 2:
                raise InputError(f"value = {value!r} must be two markings, such as A500K/B250K")
            return DualPot(marked_pot(sections[0]), marked_pot(sections[1]))
        case _:
            raise InputError(f"type = {kind!r} must be one of {', '.join(_TYPES)}")
