"""What the search found, for people and programs."""

from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import format_network, shape_text
from presolder.models.instrument.rig import Rig
from presolder.models.judging.recommendation import Recommendation
from presolder.models.typing import Array
from presolder.render.report.figures import HEAD, figure_cells, scored_plain
from presolder.render.report.table import Block, Table, lines_of, shows_itself


@shows_itself
@dataclass(frozen=True, eq=False)
class SearchReport:
    """The best of each topology, beside the bare pot and the built-in designs.

    Attributes
    ----------
    rig : Rig
    found : Recommendation
    tone_weight : float
    dials : ndarray, shape (d,)
        Positions that counted.
    series : str
        Preferred values that were searched.
    """

    rig: Rig
    found: Recommendation
    tone_weight: float
    dials: Array
    series: str

    def blocks(self) -> tuple[Block, ...]:
        """What was searched, the ranking, and what to make of it."""
        found = self.found
        rows = [
            (
                str(rank),
                one.judged.design.name,
                *figure_cells(one.judged),
                "-"
                if one.better_than_built_in_db is None
                else f"{one.better_than_built_in_db:.2f} better",
            )
            for rank, one in enumerate(found.best, start=1)
        ]
        rows.append(("", "bare", *figure_cells(found.bare), ""))
        topologies = f"{found.topologies} topolog{'y' if found.topologies == 1 else 'ies'}"
        return (
            f"Out of {found.searched:,} designs of {self.series} values in {topologies}, the best"
            " of each, in dB (docs/figures.md)",
            "",
            Table(("rank", "design", *HEAD, "against built-in"), tuple(rows), words=2),
            "",
            self._closing(),
        )

    def _closing(self) -> str:
        found = self.found
        if found.ahead_of_bare_db <= 0:
            return (
                "Nothing found beats the bare pot for this preference;"
                " something may if the tone weighs more."
            )
        ahead = found.built_in.score_db - found.best[0].judged.score_db
        return (
            f"The best is {found.ahead_of_bare_db:.2f} dB ahead of the bare pot, and"
            f" {ahead:.2f} dB ahead of the best built-in design, {found.built_in.design.name}."
        )

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        found = self.found
        return {
            "rig": self.rig.name,
            "tone_weight": self.tone_weight,
            "dials": [float(dial) for dial in self.dials],
            "series": self.series,
            "designs_searched": found.searched,
            "best": [
                {
                    "topology": shape_text(one.found.shape),
                    "better_than_built_in_db": one.better_than_built_in_db,
                    **scored_plain(one.judged),
                }
                for one in found.best
            ],
            "best_built_in": {
                "design": found.built_in.design.name,
                "score_db": found.built_in.score_db,
            },
            "bare": scored_plain(found.bare),
            "front": [
                {
                    "expression": format_network(one.network),
                    "taper_rms_db": one.taper_rms_db,
                    "tone_rms_db": one.tone_rms_db,
                }
                for one in found.front
            ],
        }
