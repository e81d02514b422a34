"""Figures of merit for people and programs."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from presolder.models.instrument.network import format_network
from presolder.models.judging.alike import GUITARS
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit, Spoilt
from presolder.models.judging.ranking import EQUAL_DB, Scored, in_classes
from presolder.render.report.advice import named
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

HEAD = (
    "sounds", "score", "9 in 10", "nearer", "duller", "brighter", "louder", "level at 1", "parts",
    "mark",
)  # fmt: skip
# What a narrow terminal does without, the first of them first.
SPARE = ("9 in 10", "brighter", "duller", "ahead of built-in", "level at 1", "louder", "worst in")
UNITS = (
    "Score in dB: how far from the guitar at 10, only turned down, taper and tone weighed; smaller"
    f" is better. It is the mean over {GUITARS} guitars like this one; 9 in 10 of these lie in the"
    " next column, and on so many as the third says it is nearer than the bare pot."
    " The other columns are of this very guitar where the knob is left: treble lost and gained in"
    " dB, louder than an ideal knob in phon (the ear's dB); level at dial 1 in phon re 10."
)
SCORES = (
    "Scores in dB: how far from the guitar at 10, only turned down, taper and tone weighed; smaller"
    f" is better. The first is the mean over {GUITARS} guitars like this one and over the"
    " situations, by their weights."
)
EQUAL = (
    f"Scores less than {EQUAL_DB:g} dB apart are equal to the ear, and stand in brackets: there"
    " the fewer and commoner parts come first. What has a mark never comes first."
)
Mark = Spoilt | Literal["in few", "not played"]
MARKS: dict[Mark, str] = {
    "left loud": "Left loud: at dial 1 over 10 phon louder than the bare pot, or by over a third of"
    " the bare pot's range; the knob hardly turns it down.",
    "rises": "Rises: somewhere it gets louder as the knob comes down.",
    "peaky": "Peaky: low down it has a peak of over 4 dB, above that of the guitar at 10.",
    "in few": f"In few: nearer than the bare pot on at most {GUITARS // 2} of {GUITARS} guitars.",
    "not played": "Not played: by what reaches the dirt it was too far behind to be played.",
}


def marks_of(one: Scored) -> tuple[Mark, ...]:
    """Why a design may not come first, but for its parts."""
    marks: list[Mark] = list(one.spoilt)
    if one.lucky:
        marks.append("in few")
    if one.heard == "screened":
        marks.append("not played")
    return tuple(marks)


def marks_explained(scored: Iterable[Scored]) -> tuple[str, ...]:
    """What the marks mean that some of these have."""
    there = {mark for one in scored for mark in marks_of(one)}
    return tuple(said for mark, said in MARKS.items() if mark in there)


def places(ranked: Iterable[Scored]) -> Iterator[tuple[str, Scored]]:
    """Designs in order with their places, equal ones in one pair of brackets."""
    at = 0
    for equal in in_classes(ranked):
        for one in equal:
            at += 1
            opens, closes = one is equal[0] is not equal[-1], one is equal[-1] is not equal[0]
            yield f"{'[' * opens}{at}{']' * closes}", one


def figure_cells(one: Scored) -> tuple[str, ...]:
    """The columns under `HEAD`."""
    (figures,), (low, high) = one.figures, one.spread_db
    return (
        sounds_over_dials(figures),
        f"{one.score_db:.2f}",
        f"{low:.1f}-{high:.1f}",
        "" if one.nearer is None else f"{one.nearer}",
        f"{figures.over_dials(figures.change.duller_db):.1f}",
        f"{figures.over_dials(figures.change.brighter_db):.1f}",
        mean_louder(figures),
        f"{figures.leftover_phon:.0f}",
        parts_text(one),
        ", ".join(marks_of(one)),
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
        "spread_db": [round(end_db, 4) for end_db in one.spread_db],
        "nearer_of_100": one.nearer,
        "spoilt": list(one.spoilt),
        "heard": one.heard,
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
            "nearer_of_100": one.nearer,
            "spoilt": ", ".join(one.spoilt),
            "tone_db": its.tone_db,
            "taper_phon": its.taper_phon,
            "duller_db": its.over_dials(its.change.duller_db),
            "brighter_db": its.over_dials(its.change.brighter_db),
            "louder_phon": its.over_dials(its.taper_shift_phon),
            "leftover_phon": its.leftover_phon,
            "load_ohms": its.load_ohms,
        }


def overall_head(ears: Sequence[Ear]) -> Cells:
    """Heads of `overall_cells`."""
    return "score", "nearer", "worst in", *letters(ears), "parts", "mark"


def overall_cells(ears: Sequence[Ear], one: Scored) -> Cells:
    """A design over several situations."""
    return (
        f"{one.score_db:.2f}",
        "" if one.nearer is None else f"{one.nearer}",
        letters(ears)[one.worst],
        *(f"{score_db:.2f}" for score_db in one.scores_db),
        parts_text(one),
        ", ".join(marks_of(one)),
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
        ("duller by", f"{figures.over_dials(change.duller_db):.1f} dB"),
        ("brighter by", f"{figures.over_dials(change.brighter_db):.1f} dB"),
        ("louder than an ideal knob", f"{mean_louder(figures)} phon"),
        ("quieter at 1 than at 10 by", f"{-figures.leftover_phon:.0f} phon"),
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
                place,
                one.design.name,
                *(overall_cells(self.ears, one) if several else figure_cells(one)),
            )
            for place, one in places(self.ranked)
        )
        table = Table(("place", "design", *head), rows, words=2 if several else 3, spare=SPARE)
        where = (situations_table(self.ears, (), ((),) * len(self.ears)), "") if several else ()
        units, marks = SCORES if several else UNITS, marks_explained(self.ranked)
        return (self.said(), "", *where, table, "", units, EQUAL, *marks, *judged_by(self.ears))

    def said(self) -> str:
        """Which comes first, in words."""
        weighed = ", all situations weighed" if len(self.ears) > 1 else ""
        first = self.ranked[0]
        bare = next(one for one in self.ranked if one.design.network is None)
        if first is bare:
            return (
                "Nothing here is audibly nearer to the guitar at 10, only turned down, than the"
                f" bare pot{weighed}."
            )
        ahead = bare.score_db - first.score_db
        nearer = bare_is_nearer(self.ears, first, bare)
        return (
            f"{named(first.design)} comes first, {ahead:.1f} dB nearer than the bare pot{weighed},"
            f" on {first.nearer} of {GUITARS} guitars like yours.{nearer if weighed else ''}"
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
