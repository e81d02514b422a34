"""Levels as JSON has them, and ohms as a meter shows them."""

import math

from presolder.models.instrument.quantities import format_quantity
from presolder.models.measuring.soldered import Ohms
from presolder.models.typing import Array


def rounded_level(level_db: float | None) -> float | None:
    """A level to a thousandth of a decibel; None for silence, since JSON has no infinities."""
    return round(level_db, 3) if level_db is not None and math.isfinite(level_db) else None


def rounded(value: float | None, decimals: int = 4) -> float | None:
    """A number for JSON; None stays None."""
    return None if value is None else round(value, decimals)


def finite(values: Array, decimals: int = 4) -> list[float | None]:
    """Numbers for JSON, null where there is none."""
    return [round(float(value), decimals) if math.isfinite(value) else None for value in values]


def span_text(ohms: Ohms) -> str:
    """A reading in two figures, and between what it lies with pots as they are sold."""
    low, middle, high = (ohms_text(one, 2) for one in (ohms.low, ohms.middle, ohms.high))
    if low == middle == high:
        return middle
    unit = f" {middle.split()[-1]}"
    if low.endswith(unit) and high.endswith(unit):
        low, high = low.removesuffix(unit), high.removesuffix(unit)
    return f"{middle} ({low} to {high})"


def ohms_text(ohms: float, figures: int = 3, near_zero: float = 100.0) -> str:
    """A reading as an ohmmeter shows it; what is below `near_zero` ohms tells nothing."""
    if ohms == math.inf:
        return "open"
    return "near 0 Ω" if ohms < near_zero else format_quantity(float(f"{ohms:.{figures}g}"), "ohm")
