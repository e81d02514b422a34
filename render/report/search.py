"""What the search found, for people and programs."""

from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import format_network, shape_text
from presolder.models.judging.ear import Ear
from presolder.models.judging.recommendation import Recommendation
from presolder.render.report.figures import EQUAL, HEAD, UNITS, figure_cells, scored_plain
from presolder.render.report.judged import conditions_plain, judged_by
from presolder.render.report.numbers import rounded
from presolder.render.report.table import Block, Table, lines_of, shows_itself

SOME_BY_STEPS = ", where there are many by a grid that closes in and not each by itself"


@shows_itself
@dataclass(frozen=True, eq=False)
class SearchReport:
    """The best of each topology, beside the bare pot and the built-in designs.

    Attributes
    ----------
    ear : Ear
        The rig and the conditions.
    found : Recommendation
    series : str
        Preferred values that were searched.
    from_stock : bool
        Whether it was a drawer's parts instead.
    """

    ear: Ear
    found: Recommendation
    series: str
    from_stock: bool = False

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
                else f"{one.better_than_built_in_db:+.2f}",
            )
            for rank, one in enumerate(found.best, start=1)
        ]
        rows.append(("", "bare", *figure_cells(found.bare), ""))
        topologies = f"{found.topologies} topolog{'y' if found.topologies == 1 else 'ies'}"
        return (
            f"Out of {found.searched:,} designs of {parts_searched(self.series, self.from_stock)}"
            f" in {topologies}{SOME_BY_STEPS if found.by_steps else ''},"
            f" {which_shown(found.topologies, found.equals)}",
            "",
            Table(("rank", "design", *HEAD, "ahead of built-in"), tuple(rows), words=3),
            "",
            *self._closing(),
            "",
            UNITS,
            EQUAL,
            judged_by(self.ear),
        )

    def _closing(self) -> tuple[str, ...]:
        found = self.found
        if found.bare_comes_first:
            return (
                "Nothing found is audibly nearer to the sound at 10 than the bare pot, taper and"
                " tone weighed; something may be if the tone weighs more.",
            )
        first = found.best[0].judged
        beside = found.built_in.design.name
        return (
            f"{first.design.name} comes first, {found.ahead_of_bare_db:.2f} dB nearer to the sound"
            " at 10 than the bare pot.",
            f"The built-in {beside} is as good to the ear."
            if found.built_in_is_as_good
            else f"The built-in design that comes nearest, {beside}, is"
            f" {found.ahead_of_built_in_db:.2f} dB behind.",
        )

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        found = self.found
        return {
            "judged_by": conditions_plain(self.ear),
            "series": None if self.from_stock else self.series,
            "equally_good": found.equals,
            "designs_searched": found.searched,
            "first": "bare" if found.bare_comes_first else found.best[0].judged.design.name,
            "best": [
                {
                    "topology": shape_text(one.found.shape),
                    "better_than_built_in_db": rounded(one.better_than_built_in_db),
                    **scored_plain(one.judged),
                }
                for one in found.best
            ],
            "best_built_in": {
                "design": found.built_in.design.name,
                "score_db": round(found.built_in.score_db, 4),
            },
            "bare": scored_plain(found.bare),
            "front": [
                {
                    "expression": format_network(one.network),
                    "taper_phon": round(one.taper_phon, 4),
                    "tone_db": round(one.tone_db, 4),
                }
                for one in found.front
            ],
        }


def parts_searched(series: str, from_stock: bool) -> str:
    """Which parts were searched."""
    return "parts in stock" if from_stock else f"{series} values"


def which_shown(topologies: int, equals: int) -> str:
    """What of all that was found is shown."""
    if topologies > 1:
        return "the best of each that its parts are worth"
    if equals == 1:
        return "the best"
    return f"of {equals} found that sound as good as the best, the commonest values first"
