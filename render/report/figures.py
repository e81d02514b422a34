"""Figures of merit for people and programs."""

from dataclasses import asdict, dataclass
from typing import Any

from presolder.models.instrument.network import format_network
from presolder.models.instrument.quantities import format_quantity
from presolder.models.instrument.rig import Rig
from presolder.models.judging.merit import Merit
from presolder.models.judging.ranking import Scored
from presolder.models.typing import Array
from presolder.render.report.table import Block, Table, lines_of, shows_itself

HEAD = ("score", "tone RMS", "taper RMS", "worst", "spike", "left at 1", "coil feeds")


def figure_cells(one: Scored) -> tuple[str, ...]:
    """The columns under `HEAD`, in dB but for the last."""
    figures = one.figures
    return (
        f"{one.score_db:.2f}",
        f"{figures.tone_rms_db:.2f}",
        f"{figures.taper_rms_db:.2f}",
        f"{figures.taper_worst_db:.1f}",
        f"{figures.spike_db:.1f}",
        f"{figures.leftover_db:.1f}",
        format_quantity(figures.load_ohms, "ohm"),
    )


def scored_plain(one: Scored) -> dict[str, Any]:
    """A design's expression, score and figures."""
    return {
        "expression": format_network(one.design.network) or None,
        "score_db": one.score_db,
        **asdict(one.figures),
    }


def figure_rows(figures: Merit) -> list[tuple[str, str]]:
    """Figures of merit as rows of a small table on a page."""
    return [
        ("tone strays by", f"{figures.tone_rms_db:.1f} dB"),
        ("level shifts by", f"{figures.taper_rms_db:.1f} dB"),
        ("most treble excess", f"{figures.spike_db:.1f} dB"),
        ("dial 1 is below 10 by", f"{-figures.leftover_db:.0f} dB"),
    ]


@shows_itself
@dataclass(frozen=True, eq=False)
class Comparison:
    """Designs ranked by how well they keep the taper, the tone, or both.

    Attributes
    ----------
    rig : Rig
    ranked : tuple of Scored
        Best first.
    tone_weight : float
        0 to keep the taper only, 1 to keep the tone only.
    dials : ndarray, shape (d,)
        Positions that counted.
    """

    rig: Rig
    ranked: tuple[Scored, ...]
    tone_weight: float
    dials: Array

    def blocks(self) -> tuple[Block, ...]:
        """One row a design."""
        rows = tuple(
            (str(rank), one.design.name, *figure_cells(one))
            for rank, one in enumerate(self.ranked, start=1)
        )
        return (Table(("rank", "design", *HEAD), rows, words=2),)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "rig": self.rig.name,
            "tone_weight": self.tone_weight,
            "dials": [float(dial) for dial in self.dials],
            "designs": [{"design": one.design.name, **scored_plain(one)} for one in self.ranked],
        }
