"""CSV files of numbers: measured tapers, responses and impedances, and knob gestures."""

import csv
import io
import math
from pathlib import Path

import numpy as np

from presolder.models.audio.knob import KnobPath
from presolder.models.errors import InputError, one_line, place
from presolder.models.typing import Array
from presolder.render.files.toml import read_text

_MOST_ROWS = 10_000


def read_points(path: Path, columns: tuple[str, ...]) -> tuple[tuple[float, ...], ...]:
    """Read a CSV of numbers under a fixed header.

    Parameters
    ----------
    path : Path
        The file.
    columns : tuple of str
        The names its first row must hold.

    Raises
    ------
    InputError
        Naming file and line.
    """
    wanted = ",".join(columns)
    try:
        rows = list(csv.reader(io.StringIO(read_text(path)), strict=True))
    except csv.Error as error:
        raise InputError(f"{path}: not a CSV file: {one_line(str(error))}") from None
    if not rows or tuple(cell.strip() for cell in rows[0]) != columns:
        raise InputError(f"{path}: the first row must be {wanted}")
    # Beside the head.
    if len(rows) - 1 > _MOST_ROWS:
        raise InputError(f"{path}: more than {_MOST_ROWS} rows")
    points = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            point = tuple(float(cell) for cell in row)
            if len(point) != len(columns):
                raise ValueError
        except ValueError:
            raise InputError(f"{path}, line {line}: {','.join(row)!r} is not {wanted}") from None
        if not all(math.isfinite(number) for number in point):
            raise InputError(f"{path}, line {line}: {','.join(row)!r} must be finite numbers")
        points.append(point)
    return tuple(points)


def read_gesture(path: Path) -> KnobPath:
    """Read a knob gesture, ``time_s,dial`` rows joined by straight lines.

    Raises
    ------
    InputError
        If the file cannot be read, or times do not rise from 0.
    """
    points = read_points(path, ("time_s", "dial"))
    with place(str(path)):
        return KnobPath(tuple(t for t, _ in points), tuple(dial for _, dial in points))


def read_spectrum(path: Path, columns: tuple[str, ...]) -> Array:
    """Read measurements over frequency; the first column is the frequency.

    Returns
    -------
    ndarray, shape (c, n)

    Raises
    ------
    InputError
        If the file cannot be read, is empty, or a frequency is not above 0.
    """
    points = read_points(path, columns)
    with place(str(path)):
        if not points:
            raise InputError("holds no measurements")
        found = np.array(points).T
        if found[0].min() <= 0:
            raise InputError(f"frequency_hz = {found[0].min():g} must be above 0")
    return found
