"""Figures of merit for people and programs."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import format_network
from presolder.models.instrument.quantities import format_quantity
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit
from presolder.models.judging.ranking import EQUAL_DB, Scored
from presolder.render.report.judged import (
    Cells,
    figures_plain,
    judged_by,
    letters,
    mean_louder,
    situations_plain,
    situations_table,
    sounds_over_dials,
)
from presolder.render.report.table import Block, Table, frame_of, lines_of, shows_itself

HEAD = ("sounds", "score", "duller", "brighter", "louder", "left at 1", "coil feeds", "parts")
UNITS = (
    "Means over the dials that count: treble lost and gained in dB, louder than the bare pot in"
    " phon; what is left at dial 1 in phon."
)
SCORES = (
    "Scores in dB: how far from the sound at 10, taper and tone weighed; smaller is better."
    " The first is the mean over the situations, by their weights."
)
EQUAL = (
    f"Scores less than {EQUAL_DB:g} dB apart are equal to the ear; then the fewer and commoner"
    " parts come first."
)


def figure_cells(one: Scored) -> tuple[str, ...]:
    """The columns under `HEAD`."""
    (figures,) = one.figures
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


def scored_plain(ears: Sequence[Ear], one: Scored) -> dict[str, Any]:
    """A design's expression and score, and its figures in each situation."""
    return {
        "design": one.design.name,
        "expression": format_network(one.design.network) or None,
        "special_order": one.effort.special_order,
        "score_db": round(one.score_db, 4),
        "worst_in": ears[one.worst].name,
        "situations": {
            ear.name: {"score_db": round(score_db, 4), **figures_plain(its)}
            for ear, its, score_db in zip(ears, one.figures, one.scores_db, strict=True)
        },
    }


def scored_rows(ears: Sequence[Ear], one: Scored, rank: int) -> Iterator[dict[str, Any]]:
    """A row a situation: means over its dials, in dB and phon."""
    for ear, its, score_db in zip(ears, one.figures, one.scores_db, strict=True):
        yield {
            "rank": rank,
            "design": one.design.name,
            "expression": format_network(one.design.network),
            "situation": ear.name,
            "score_db": score_db,
            "tone_db": its.tone_db,
            "taper_phon": its.taper_phon,
            "duller_db": float(its.change.duller_db.mean()),
            "brighter_db": float(its.change.brighter_db.mean()),
            "louder_phon": float(its.taper_shift_phon.mean()),
            "leftover_phon": its.leftover_phon,
            "load_ohms": its.load_ohms,
        }


def overall_head(ears: Sequence[Ear]) -> Cells:
    """Heads of `overall_cells`."""
    return "score", "worst in", *letters(ears), "parts"


def overall_cells(ears: Sequence[Ear], one: Scored) -> Cells:
    """A design over several situations."""
    return (
        f"{one.score_db:.2f}",
        letters(ears)[one.worst],
        *(f"{score_db:.2f}" for score_db in one.scores_db),
        "special order" if one.effort.special_order else parts_text(one),
    )


def bare_is_nearer(ears: Sequence[Ear], first: Scored, bare: Scored) -> str:
    """In which situations a design does worse than the bare pot, so that ears notice."""
    worse = [
        f"{ear.name} ({its_db - bare_db:.1f} dB)"
        for ear, its_db, bare_db in zip(ears, first.scores_db, bare.scores_db, strict=True)
        if its_db - bare_db >= EQUAL_DB
    ]
    return f" The bare pot is nearer in: {', '.join(worse)}." if worse else ""


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
    ears : tuple of Ear
        The rig and the conditions, in each situation.
    ranked : tuple of Scored
        Best first: by the mean of the scores, by the situations' weights.
    """

    ears: tuple[Ear, ...]
    ranked: tuple[Scored, ...]

    def blocks(self) -> tuple[Block, ...]:
        """Which comes first, and one row a design."""
        several = len(self.ears) > 1
        head = overall_head(self.ears) if several else HEAD
        rows = tuple(
            (
                str(rank),
                one.design.name,
                *(overall_cells(self.ears, one) if several else figure_cells(one)),
            )
            for rank, one in enumerate(self.ranked, start=1)
        )
        table = Table(("rank", "design", *head), rows, words=2 if several else 3)
        where = (situations_table(self.ears, (), ((),) * len(self.ears)), "") if several else ()
        units = SCORES if several else UNITS
        return (self.said(), "", *where, table, "", units, EQUAL, *judged_by(self.ears))

    def said(self) -> str:
        """Which comes first, in words."""
        weighed = ", all situations weighed" if len(self.ears) > 1 else ""
        first = self.ranked[0]
        bare = next((one for one in self.ranked if one.design.network is None), None)
        if bare is None:
            return f"{first.design.name} comes first{weighed}."
        if first is bare:
            return f"Nothing here is audibly nearer to the sound at 10 than the bare pot{weighed}."
        ahead = bare.score_db - first.score_db
        nearer = bare_is_nearer(self.ears, first, bare)
        return (
            f"{first.design.name} comes first, {ahead:.1f} dB nearer than the bare"
            f" pot{weighed}.{nearer if weighed else ''}"
        )

    def records(self) -> Iterator[dict[str, Any]]:
        """A row per design and situation, best first."""
        for rank, one in enumerate(self.ranked, start=1):
            yield from scored_rows(self.ears, one, rank)

    def to_frame(self) -> Any:  # noqa: ANN401
        """The rows as a `pandas.DataFrame`."""
        return frame_of(self.records())

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "situations": situations_plain(self.ears),
            "equal_db": EQUAL_DB,
            "designs": [scored_plain(self.ears, one) for one in self.ranked],
        }
