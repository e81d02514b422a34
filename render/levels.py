"""Levels as JSON has them."""

import math


def rounded_level(level_db: float | None) -> float | None:
    """A level to a thousandth of a decibel; None for silence, since JSON has no infinities."""
    return round(level_db, 3) if level_db is not None and math.isfinite(level_db) else None
