"""What a look over the installation found."""

from dataclasses import dataclass
from typing import Any

from presolder.render.report.table import Block, Table, lines_of, shows_itself


@shows_itself
@dataclass(frozen=True)
class HealthReport:
    """Everything that was looked at.

    Attributes
    ----------
    versions : str
    troubles : tuple of (str, str)
        What was looked at, and what is wrong with it; empty for nothing.
    """

    versions: str
    troubles: tuple[tuple[str, str], ...]

    @property
    def well(self) -> bool:
        """Whether nothing is wrong."""
        return not any(trouble for _, trouble in self.troubles)

    def blocks(self) -> tuple[Block, ...]:
        """A row for each thing."""
        rows = tuple((name, trouble or "works") for name, trouble in self.troubles)
        return (self.versions, "", Table(("looked at", "found"), rows, words=2))

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "well": self.well,
            "versions": self.versions,
            "found": [
                {"what": name, "trouble": trouble or None} for name, trouble in self.troubles
            ],
        }
