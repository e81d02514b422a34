"""Levels as JSON has them."""

import math

from presolder.models.typing import Array


def rounded_level(level_db: float | None) -> float | None:
    """A level to a thousandth of a decibel; None for silence, since JSON has no infinities."""
    return round(level_db, 3) if level_db is not None and math.isfinite(level_db) else None


def finite(values: Array, decimals: int = 4) -> list[float | None]:
    """Numbers for JSON, null where there is none."""
    return [round(float(value), decimals) if math.isfinite(value) else None for value in values]
