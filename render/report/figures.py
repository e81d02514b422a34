"""Figures of merit for people and programs."""

from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import format_network
from presolder.models.instrument.quantities import format_quantity
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit
from presolder.models.judging.ranking import EQUAL_DB, Scored
from presolder.render.report.judged import (
    conditions_plain,
    figures_plain,
    judged_by,
    mean_louder,
    sounds_over_dials,
)
from presolder.render.report.table import Block, Table, lines_of, shows_itself

HEAD = ("sounds", "score", "duller", "brighter", "louder", "left at 1", "coil feeds", "parts")
UNITS = (
    "Means over the dials that count: treble lost and gained in dB, louder than the bare pot in"
    " phon; what is left at dial 1 in phon."
)
EQUAL = (
    f"Scores less than {EQUAL_DB:g} dB apart are equal to the ear; then the fewer and commoner"
    " parts come first."
)


def figure_cells(one: Scored) -> tuple[str, ...]:
    """The columns under `HEAD`."""
    figures = one.figures
    return (
        sounds_over_dials(figures),
        f"{one.score_db:.2f}",
        f"{figures.change.duller_db.mean():.1f}",
        f"{figures.change.brighter_db.mean():.1f}",
        mean_louder(figures),
        f"{figures.leftover_phon:.0f}",
        format_quantity(figures.load_ohms, "ohm"),
        parts_text(one),
    )


def parts_text(one: Scored) -> str:
    """What a design takes to build."""
    effort = one.effort
    if effort.special_order:
        return "special order"
    return f"{effort.parts}, dual pot" if effort.gangs else f"{effort.parts}"


def scored_plain(one: Scored) -> dict[str, Any]:
    """A design's expression, score and figures."""
    return {
        "expression": format_network(one.design.network) or None,
        "score_db": round(one.score_db, 4),
        "special_order": one.effort.special_order,
        **figures_plain(one.figures),
    }


def figure_rows(figures: Merit) -> list[tuple[str, str]]:
    """Figures of merit as rows of a small table on a page."""
    change = figures.change
    return [
        ("duller by", f"{change.duller_db.mean():.1f} dB"),
        ("brighter by", f"{change.brighter_db.mean():.1f} dB"),
        ("louder than bare", f"{mean_louder(figures)} phon"),
        ("dial 1 is below 10 by", f"{-figures.leftover_phon:.0f} phon"),
    ]


@shows_itself
@dataclass(frozen=True, eq=False)
class Comparison:
    """Designs ranked by how well they keep the taper, the tone, or both.

    Attributes
    ----------
    ear : Ear
        The rig and the conditions.
    ranked : tuple of Scored
        Best first.
    """

    ear: Ear
    ranked: tuple[Scored, ...]

    def blocks(self) -> tuple[Block, ...]:
        """Which comes first, and one row a design."""
        rows = tuple(
            (str(rank), one.design.name, *figure_cells(one))
            for rank, one in enumerate(self.ranked, start=1)
        )
        table = Table(("rank", "design", *HEAD), rows, words=3)
        return (*self._said(), "", table, "", UNITS, EQUAL, judged_by(self.ear))

    def _said(self) -> tuple[str, ...]:
        first = self.ranked[0]
        bare = next((one for one in self.ranked if one.design.network is None), None)
        if bare is None:
            return (f"{first.design.name} comes first.",)
        if first is bare:
            return ("Nothing here is audibly nearer to the sound at 10 than the bare pot.",)
        ahead = bare.score_db - first.score_db
        return (f"{first.design.name} comes first, {ahead:.1f} dB nearer than the bare pot.",)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "judged_by": conditions_plain(self.ear),
            "equal_db": EQUAL_DB,
            "designs": [{"design": one.design.name, **scored_plain(one)} for one in self.ranked],
        }
