"""What was found over all situations of a guitar, for people and programs."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import format_network
from presolder.models.judging.everywhere import Everywhere
from presolder.models.judging.need import Need
from presolder.models.judging.ranking import EQUAL_DB
from presolder.models.judging.situations import Heard, Overall, shares
from presolder.render.report.figures import EQUAL, parts_text, scored_plain
from presolder.render.report.judged import conditions_plain, judged_by
from presolder.render.report.search import SOME_BY_STEPS, parts_searched, which_shown
from presolder.render.report.table import Block, Table, lines_of, shows_itself

_SCORES = (
    "Scores in dB: how far from the sound at 10, taper and tone weighed; smaller is better."
    " The first is the mean over the situations, by their weights."
)


def _situations(heard: Sequence[Heard]) -> Table:
    """Which situations there are, by letter, and what each counts for."""
    rows = tuple(
        (letter, one.name, f"{share:.0%}")
        for letter, one, share in zip(_letters(heard), heard, shares(heard), strict=True)
    )
    return Table(("", "situation", "counts"), rows, words=2)


def _letters(heard: Sequence[Heard]) -> tuple[str, ...]:
    return tuple(chr(ord("A") + at) for at in range(len(heard)))


def _conditions(heard: Sequence[Heard]) -> tuple[str, ...]:
    """Under which conditions all was judged; what is said of single situations once each."""
    return tuple(dict.fromkeys(judged_by(one.ear) for one in heard))


def _head(heard: Sequence[Heard]) -> tuple[str, ...]:
    return ("score", "worst in", *_letters(heard), "parts")


def _cells(heard: Sequence[Heard], one: Overall) -> tuple[str, ...]:
    return (
        f"{one.score_db:.2f}",
        _letters(heard)[one.worst],
        *(f"{its.score_db:.2f}" for its in one.each),
        "special order" if one.effort.special_order else parts_text(one.each[0]),
    )


def _plain(heard: Sequence[Heard], one: Overall) -> dict[str, Any]:
    return {
        "design": one.design.name,
        "expression": format_network(one.design.network) or None,
        "score_db": round(one.score_db, 4),
        "worst_in": heard[one.worst].name,
        "situations": {
            place.name: scored_plain(its) for place, its in zip(heard, one.each, strict=True)
        },
    }


def _situations_plain(heard: Sequence[Heard]) -> list[dict[str, Any]]:
    return [
        {"name": one.name, "weight": one.weight, "judged_by": conditions_plain(one.ear)}
        for one in heard
    ]


@shows_itself
@dataclass(frozen=True, eq=False)
class ComparisonEverywhere:
    """Designs ranked by how well they serve in all situations.

    Attributes
    ----------
    heard : tuple of Heard
    ranked : tuple of Overall
        Best first.
    """

    heard: tuple[Heard, ...]
    ranked: tuple[Overall, ...]

    def blocks(self) -> tuple[Block, ...]:
        """Which comes first, and one row a design."""
        rows = tuple(
            (str(rank), one.design.name, *_cells(self.heard, one))
            for rank, one in enumerate(self.ranked, start=1)
        )
        table = Table(("rank", "design", *_head(self.heard)), rows, words=2)
        return (
            self.said(), "", _situations(self.heard), "", table, "",
            _SCORES, EQUAL, *_conditions(self.heard),
        )  # fmt: skip

    def said(self) -> str:
        """Which comes first, in words."""
        first = self.ranked[0]
        bare = next((one for one in self.ranked if one.design.network is None), None)
        if bare is None:
            return f"{first.design.name} comes first, all situations weighed."
        if first is bare:
            return (
                "Nothing here is audibly nearer to the sound at 10 than the bare pot, all"
                " situations weighed."
            )
        return (
            f"{first.design.name} comes first, {bare.score_db - first.score_db:.1f} dB nearer than"
            f" the bare pot, all situations weighed.{_behind(self.heard, first, bare)}"
        )

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "situations": _situations_plain(self.heard),
            "equal_db": EQUAL_DB,
            "designs": [_plain(self.heard, one) for one in self.ranked],
        }


def _behind(heard: Sequence[Heard], first: Overall, bare: Overall) -> str:
    """Where a design does worse than the bare pot, so that ears notice."""
    worse = [
        f"{place.name} ({its.score_db - plain.score_db:.1f} dB)"
        for place, its, plain in zip(heard, first.each, bare.each, strict=True)
        if its.score_db - plain.score_db >= EQUAL_DB
    ]
    return f" The bare pot is nearer in: {', '.join(worse)}." if worse else ""


@shows_itself
@dataclass(frozen=True, eq=False)
class NeedEverywhere:
    """Whether a bypass is needed, situation by situation.

    Attributes
    ----------
    heard : tuple of Heard
    found : tuple of Need
        One a situation.
    ranked : tuple of Overall
        The bare pot and the built-in designs, best first.
    """

    heard: tuple[Heard, ...]
    found: tuple[Need, ...]
    ranked: tuple[Overall, ...]

    def blocks(self) -> tuple[Block, ...]:
        """A row a situation, and what comes first over all."""
        rows = tuple(
            (
                letter,
                place.name,
                f"{share:.0%}",
                found.verdict,
                f"{found.loss_db:.1f}",
                found.first.design.name,
            )
            for letter, place, share, found in zip(
                _letters(self.heard), self.heard, shares(self.heard), self.found, strict=True
            )
        )
        head = ("", "situation", "counts", "needed", "treble lost, dB", "first by itself")
        first = self.ranked[0].design
        said = (
            "All situations weighed, nothing built in is audibly nearer to the sound at 10 than the"
            " bare pot."
            if first.network is None
            else f"All situations weighed, {first.name} comes first of what is built in; presolder"
            " tailor searches further."
        )
        return (Table(head, rows, words=2), "", said, "", *_conditions(self.heard))

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "situations": [
                plain
                | {
                    "needed": found.verdict,
                    "loss_db": round(found.loss_db, 4),
                    "first": found.first.design.name,
                }
                for plain, found in zip(_situations_plain(self.heard), self.found, strict=True)
            ],
            "designs": [_plain(self.heard, one) for one in self.ranked],
        }


@shows_itself
@dataclass(frozen=True, eq=False)
class SearchEverywhere:
    """The one bypass that serves best, and what each situation gives up for it.

    Attributes
    ----------
    heard : tuple of Heard
    found : Everywhere
    series : str
        Preferred values that were searched.
    from_stock : bool
        Whether it was a drawer's parts instead.
    """

    heard: tuple[Heard, ...]
    found: Everywhere
    series: str
    from_stock: bool = False

    def blocks(self) -> tuple[Block, ...]:
        """What was searched, the ranking, and what it costs whom."""
        found, heard = self.found, self.heard
        rows = [
            (str(rank), one.design.name, *_cells(heard, one))
            for rank, one in enumerate(found.best, start=1)
        ]
        rows.append(("", "bare", *_cells(heard, found.bare)))
        topologies = f"{found.topologies} topolog{'y' if found.topologies == 1 else 'ies'}"
        return (
            f"Out of {found.searched:,} designs of {parts_searched(self.series, self.from_stock)}"
            f" in {topologies}{SOME_BY_STEPS if found.by_steps else ''},"
            f" in {len(heard)} situations,"
            f" {which_shown(found.topologies, found.equals)}",
            "",
            Table(("rank", "design", *_head(heard)), tuple(rows), words=2),
            "",
            self._closing(),
            "",
            self._given_up(),
            "",
            _SCORES,
            EQUAL,
            *_conditions(heard),
        )

    def _closing(self) -> str:
        found = self.found
        first = found.best[0]
        if found.bare_comes_first:
            return (
                "Nothing found is audibly nearer to the sound at 10 than the bare pot, all"
                " situations weighed."
            )
        beside = found.built_in.design.name
        built_in = (
            f"The built-in {beside} is as good to the ear."
            if found.built_in_is_as_good
            else f"The built-in design that comes nearest, {beside}, is"
            f" {found.built_in.score_db - first.score_db:.2f} dB behind."
        )
        return (
            f"{first.design.name} comes first, {found.ahead_of_bare_db:.2f} dB nearer to the sound"
            f" at 10 than the bare pot.{_behind(self.heard, first, found.bare)} {built_in}"
        )

    def _given_up(self) -> Table:
        """A row a situation: what the first design is behind what would be best there."""
        found = self.found
        first = found.best[0]
        rows = tuple(
            (
                letter,
                place.name,
                f"{share:.0%}",
                f"{its.score_db:.2f}",
                f"{plain.score_db:.2f}",
                f"{own.scores_db[at]:.2f} with {format_network(own.network)}",
                "nothing to be heard" if lost < EQUAL_DB else f"{lost:.1f} dB",
            )
            for at, (letter, place, share, its, plain, own, lost) in enumerate(
                zip(
                    _letters(self.heard), self.heard, shares(self.heard), first.each,
                    found.bare.each, found.own, found.gives_up_db(first), strict=True,
                )
            )
        )  # fmt: skip
        name = first.design.name
        head = ("", "situation", "counts", name, "bare", "best by itself", "gives up")
        return Table(head, rows, words=2)

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
                    "gives_up_db": round(lost, 4),
                }
                for at, (plain, own, lost) in enumerate(
                    zip(
                        _situations_plain(self.heard), found.own,
                        found.gives_up_db(found.best[0]), strict=True,
                    )
                )
            ],
            "series": None if self.from_stock else self.series,
            "equally_good": found.equals,
            "designs_searched": found.searched,
            "first": "bare" if found.bare_comes_first else found.best[0].design.name,
            "best": [_plain(self.heard, one) for one in found.best],
            "best_built_in": _plain(self.heard, found.built_in),
            "bare": _plain(self.heard, found.bare),
        }  # fmt: skip
