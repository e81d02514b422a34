"""One line of the validation page."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One line of the validation page."""

    source: str
    compared: str
    cases: int
    worst: float
    limit: float
    unit: str
