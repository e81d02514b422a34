"""What the search found, for people and programs."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import format_network, shape_text
from presolder.models.instrument.placement import value_text
from presolder.models.judging.alike import GUITARS
from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import EQUAL_DB, Scored
from presolder.models.judging.recommendation import Candidate, Recommendation
from presolder.render import plots
from presolder.render.report.advice import named
from presolder.render.report.figures import (
    EQUAL,
    HEAD,
    SCORES,
    SPARE,
    UNITS,
    bare_is_nearer,
    figure_cells,
    marks_explained,
    overall_cells,
    overall_head,
    places,
    scored_plain,
    scored_rows,
)
from presolder.render.report.judged import Cells, judged_by, situations_plain, situations_table
from presolder.render.report.numbers import rounded
from presolder.render.report.table import Block, Table, frame_of, lines_of, shows_itself

_MOST_AS_GOOD = 3
SOME_BY_STEPS = ", where there are many by a grid that closes in and not each by itself"


@shows_itself
@dataclass(frozen=True, eq=False)
class SearchReport:
    """The best of each topology, beside the bare pot and the built-in designs.

    Attributes
    ----------
    ears : tuple of Ear
        The rig and the conditions, in each situation.
    found : Recommendation
    series : str
        Preferred values that were searched.
    from_stock : bool
        Whether it was a drawer's parts instead.
    """

    ears: tuple[Ear, ...]
    found: Recommendation
    series: str
    from_stock: bool = False

    def blocks(self) -> tuple[Block, ...]:
        """What was searched, the ranking, and what to make of it."""
        found, several = self.found, len(self.ears) > 1
        topologies = f"{found.topologies} topolog{'y' if found.topologies == 1 else 'ies'}"
        in_all = f" in {len(self.ears)} situations," if several else ""
        given_up: tuple[Block, ...] = (self._given_up(), "") if several else ()
        return (
            f"Out of {found.searched:,} designs of {parts_searched(self.series, self.from_stock)}"
            f" in {topologies}{SOME_BY_STEPS if found.by_steps else ''},{in_all}"
            f" {which_shown(found.topologies, len(found.as_good))}",
            "",
            self._ranking(),
            "",
            *self._closing(),
            "",
            *given_up,
            SCORES if several else UNITS,
            EQUAL,
            *marks_explained((found.bare, *(one.judged for one in found.best))),
            *judged_by(self.ears),
        )

    def _ranking(self) -> Table:
        found, several = self.found, len(self.ears) > 1
        head = overall_head(self.ears) if several else HEAD

        def cells(one: Scored) -> Cells:
            return overall_cells(self.ears, one) if several else figure_cells(one)

        rows = [
            (place, one.design.name, *cells(one), better)
            for (place, one), better in zip(
                places(one.judged for one in found.best), map(_better, found.best), strict=True
            )
        ]
        rows.append(("", "bare", *cells(found.bare), ""))
        head = ("place", "design", *head, "ahead of built-in")
        return Table(head, tuple(rows), words=2 if several else 3, spare=SPARE)

    def _closing(self) -> Iterator[str]:
        found = self.found
        first = found.best[0].judged
        if found.bare_comes_first:
            yield (
                "Nothing found is audibly nearer to the guitar at 10, only turned down, than the"
                " bare pot, taper and tone weighed; something may be if the tone weighs more."
            )
            return
        nearer = bare_is_nearer(self.ears, first, found.bare) if len(self.ears) > 1 else ""
        yield (
            f"{named(first.design)} comes first, {found.ahead_of_bare_db:.1f} dB nearer to the"
            f" guitar at 10, only turned down, than the bare pot, on {first.nearer} of {GUITARS}"
            f" guitars like yours.{nearer}"
        )
        others = [one.network for one in found.as_good if one.network != first.design.network]
        if others:
            some = ", ".join(format_network(one) for one in others[:_MOST_AS_GOOD])
            yield f"As good to the ear, the commonest values first: {some}."
        if edge := found.best[0].at_the_edge:
            values = " and ".join(value_text(part) for part in edge)
            yield (
                f"{values} is at the edge of what was searched; beyond it there may be better ones."
            )
        beside = named(found.built_in.design)
        if first.design.name == found.built_in.design.name:
            return
        if found.built_in_is_as_good:
            yield f"The built-in {beside} is as good to the ear."
        else:
            yield (
                f"The built-in design that comes nearest, {beside}, is"
                f" {max(found.ahead_of_built_in_db, 0.0):.1f} dB behind."
            )

    def _given_up(self) -> Table:
        """A row a situation: what the first design is behind what would be best there."""
        found = self.found
        first = found.best[0].judged
        cells = [
            (
                f"{its_db:.2f}",
                f"{bare_db:.2f}",
                f"{own.scores_db[at]:.2f} with {format_network(own.network)}",
                "nothing to be heard" if lost_db < EQUAL_DB else f"{lost_db:.1f} dB",
            )
            for at, (its_db, bare_db, own, lost_db) in enumerate(
                zip(
                    first.scores_db, found.bare.scores_db, found.own, found.gives_up_db, strict=True
                )
            )
        ]
        head = (first.design.name, "bare", "best by itself", "gives up")
        return situations_table(self.ears, head, cells)

    def records(self) -> Iterator[dict[str, Any]]:
        """A row per design found and situation, best first."""
        for rank, one in enumerate(self.found.best, start=1):
            yield from scored_rows(self.ears, one.judged, rank)

    def to_frame(self) -> Any:  # noqa: ANN401
        """The rows as a `pandas.DataFrame`."""
        return frame_of(self.records())

    def plot(self, axes: Any) -> None:  # noqa: ANN401
        """Draw what the taper pays for the tone on `matplotlib` axes of one's own."""
        plots.draw_front(axes, self.ears, self.found)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        found = self.found
        return {
            "situations": [
                plain
                | {
                    "best_by_itself": format_network(own.network),
                    "best_score_db": round(own.scores_db[at], 4),
                    "gives_up_db": round(lost_db, 4),
                }
                for at, (plain, own, lost_db) in enumerate(
                    zip(situations_plain(self.ears), found.own, found.gives_up_db, strict=True)
                )
            ],
            "series": None if self.from_stock else self.series,
            "equally_good": len(found.as_good),
            "as_good": [format_network(one.network) for one in found.as_good[:_MOST_AS_GOOD]],
            "designs_searched": found.searched,
            "first": "bare" if found.bare_comes_first else found.best[0].judged.design.name,
            "best": [
                {
                    "topology": shape_text(one.judged.design.network),
                    "at_the_edge": [value_text(part) for part in one.at_the_edge],
                    "better_than_built_in_db": rounded(one.better_than_built_in_db),
                    **scored_plain(self.ears, one.judged),
                }
                for one in found.best
            ],
            "best_built_in": scored_plain(self.ears, found.built_in),
            "bare": scored_plain(self.ears, found.bare),
            "front": [
                {
                    "expression": format_network(one.network),
                    "taper_phon": round(one.taper_phon, 4),
                    "tone_db": round(one.tone_db, 4),
                }
                for one in found.front
            ],
        }


def _better(one: Candidate) -> str:
    better_db = one.better_than_built_in_db
    return "-" if better_db is None else f"{better_db:+.2f}"


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
