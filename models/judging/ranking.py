"""What a preference makes of designs: scores, ranks, and which one comes first."""

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, Protocol, TypeVar, get_args

import numpy as np

from presolder.models.instrument.controls import Pot
from presolder.models.instrument.network import Design, Gang, Network, leaves
from presolder.models.judging.alike import GUITARS, others_like
from presolder.models.judging.ear import Ear, shares
from presolder.models.judging.merit import SPOILT, Merit, Spoilt, merits
from presolder.models.judging.tolerance import HIGHEST_PERCENTILE, LOWEST_PERCENTILE
from presolder.models.typing import Array

# Scores nearer than this are called equal: treble that is 1 dB nearer, which is
# just noticed, in half of its bands. Common practice, no source.
EQUAL_DB = 0.5
_ROUNDING_DB = 1e-9
HeardAt = Literal["input", "dirt", "screened"]


def score(taper_phon: Array | float, tone_db: Array | float, tone_weight: float) -> Array:
    """What a preference makes of designs, in dB; smaller is better.

    Parameters
    ----------
    taper_phon, tone_db : ndarray or float
        As in `Merit`.
    tone_weight : float
        0 to keep the taper only, 1 to keep the tone only.
    """
    return np.asarray(tone_weight * tone_db + (1.0 - tone_weight) * taper_phon)


@dataclass(frozen=True)
class Effort:
    """What it takes to have a design built; smaller is less.

    Attributes
    ----------
    special_order : bool
        Whether its gangs make a dual pot that is not sold from stock.
    gangs : int
        Sections beside the volume's own.
    parts : int
        Resistors, capacitors and gangs.
    """

    special_order: bool
    gangs: int
    parts: int

    @property
    def rank(self) -> tuple[bool, int, int]:
        """For sorting: stock before special order, plain parts before gangs, few before many."""
        return self.special_order, self.gangs, self.parts


def effort(network: Network | None, volume: Pot, at_hand: Container[Gang] = ()) -> Effort:
    """What it takes to have a design built.

    Parameters
    ----------
    network : Network or None
    volume : Pot
        Dual pots in stock have two gangs of one value and one law, so that the
        second one must be like this; common practice, no source.
    at_hand : container of Gang
        Second gangs of other dual pots that one has.
    """
    parts = leaves(network) if network is not None else ()
    gangs = [part for part in parts if isinstance(part, Gang)]
    alike = all(
        gang in at_hand or (gang.ohms == volume.resistance_ohms and gang.taper == volume.taper)
        for gang in gangs
    )
    return Effort(bool(gangs) and not (alike and len(gangs) == 1), len(gangs), len(parts))


@dataclass(frozen=True, eq=False)
class Scored:
    """A design with its figures in every situation, and what a preference makes of them.

    Attributes
    ----------
    design : Design
    figures : tuple of Merit
        One a situation.
    efforts : tuple of Effort
        What each situation's volume pot makes of it.
    scores_db : tuple of float
        Of this very guitar in each situation; smaller is better.
    share : ndarray, shape (s,)
        What each situation counts for; 1 together.
    drawn_db, bare_drawn_db : ndarray, shape (s, GUITARS)
        Scores on guitars like this one, of the design and of the bare pot.
    heard_at : tuple of {"input", "dirt", "screened"}
        What the figures of each situation are of: what reaches the input; what comes out
        of the dirt there; or, of what was too far behind to be played through the dirt,
        what reaches it.
    """

    design: Design
    figures: tuple[Merit, ...]
    efforts: tuple[Effort, ...]
    scores_db: tuple[float, ...]
    share: Array
    drawn_db: Array
    bare_drawn_db: Array
    heard_at: tuple[HeardAt, ...]

    @property
    def effort(self) -> Effort:
        """The most that any situation's volume pot makes of it."""
        return max(self.efforts, key=lambda one: one.rank)

    @property
    def taper_phon(self) -> float:
        """Of this very guitar, mean over the situations, by their weights."""
        return float(self.share @ [its.taper_phon for its in self.figures])

    @property
    def tone_db(self) -> float:
        """Of this very guitar, mean over the situations, by their weights."""
        return float(self.share @ [its.tone_db for its in self.figures])

    @cached_property
    def score_db(self) -> float:
        """Mean over the guitars like this one; of what was played through a dirt, of this one."""
        means = self.drawn_db.mean(axis=1)
        played = [at == "dirt" for at in self.heard_at]
        return float(self.share @ np.where(played, self.scores_db, means))

    @property
    def heard(self) -> HeardAt:
        """The last of "input", "dirt" and "screened" that any situation has."""
        return max(self.heard_at, key=get_args(HeardAt).index)

    @property
    def spread_db(self) -> tuple[float, float]:
        """What nine in ten of the guitars' scores lie between."""
        low, high = np.percentile(
            self.share @ self.drawn_db, (LOWEST_PERCENTILE, HIGHEST_PERCENTILE)
        )
        return float(low), float(high)

    @property
    def nearer(self) -> int | None:
        """On how many of the guitars it is nearer than the bare pot; None for that one."""
        if self.design.network is None:
            return None
        ahead = self.share @ self.drawn_db < self.share @ self.bare_drawn_db
        return int(np.count_nonzero(ahead))

    @property
    def spoilt(self) -> tuple[Spoilt, ...]:
        """What keeps the knob from being a volume knob, in any situation."""
        return tuple(what for what in SPOILT if any(what in its.spoilt for its in self.figures))

    @property
    def lucky(self) -> bool:
        """Whether most of the guitars do not gain by it."""
        return self.nearer is not None and self.nearer <= GUITARS // 2

    @property
    def may_come_first(self) -> bool:
        """Whether the knob remains one, most such guitars gain by it, and shops have it."""
        unheard = self.heard == "screened"
        return not (self.effort.special_order or self.spoilt or self.lucky or unheard)

    @property
    def worst(self) -> int:
        """Index of the situation with the highest score."""
        return int(np.argmax(self.scores_db))

    def alone(self, at: int) -> "Scored":
        """The same in one situation only."""
        one = slice(at, at + 1)
        return replace(
            self, figures=self.figures[one], efforts=self.efforts[one],
            scores_db=self.scores_db[one], share=np.ones(1), drawn_db=self.drawn_db[one],
            bare_drawn_db=self.bare_drawn_db[one], heard_at=self.heard_at[one],
        )  # fmt: skip


def all_scored(ears: Sequence[Ear], designs: Iterable[Design]) -> tuple[Scored, ...]:
    """Judge designs in every situation, in their order, by what reaches the input."""
    judged = tuple(designs)
    networks = [design.network for design in judged]
    each = list(zip(*(merits(ear, networks) for ear in ears), strict=True))
    drawn = np.array(
        [
            score(alike.taper_phon, alike.tone_db, ear.conditions.tone_weight)
            for ear, alike in ((ear, others_like(ear, (None, *networks))) for ear in ears)
        ]
    )
    share = shares(ears)
    at_input: tuple[HeardAt, ...] = tuple("input" for _ in ears)
    return tuple(
        Scored(
            design,
            figures,
            tuple(
                effort(design.network, ear.rig.volume, ear.conditions.gangs_at_hand) for ear in ears
            ),
            scores_of(ears, figures),
            share,
            drawn[:, 1 + index],
            drawn[:, 0],
            at_input,
        )
        for index, (design, figures) in enumerate(zip(judged, each, strict=True))
    )


def scores_of(ears: Sequence[Ear], figures: Sequence[Merit]) -> tuple[float, ...]:
    """A design's score in each situation."""
    return tuple(
        float(score(its.taper_phon, its.tone_db, ear.conditions.tone_weight))
        for ear, its in zip(ears, figures, strict=True)
    )


class Rankable(Protocol):
    """What designs are put in order by."""

    @property
    def effort(self) -> Effort: ...  # noqa: D102

    @property
    def score_db(self) -> float: ...  # noqa: D102

    @property
    def may_come_first(self) -> bool: ...  # noqa: D102


One = TypeVar("One", bound=Rankable)


def in_order(judged: Iterable[One]) -> tuple[One, ...]:
    """Put designs in order, best first.

    Parameters
    ----------
    judged : iterable of Scored

    Returns
    -------
    tuple of Scored

    Notes
    -----
    Of all whose score is less than `EQUAL_DB` behind the best, those that take
    least effort come first; then the same again with the rest. What stands
    before the bare pot is always that much ahead of it. What may not come first
    stands behind all that may.
    """
    return tuple(one for equal in in_classes(judged) for one in equal)


def in_classes(judged: Iterable[One]) -> tuple[tuple[One, ...], ...]:
    """The same order, those that are equal together."""
    listed = tuple(judged)
    behind = (one for one in listed if not one.may_come_first)
    return (*_classes(one for one in listed if one.may_come_first), *_classes(behind))


def _classes(judged: Iterable[One]) -> list[tuple[One, ...]]:
    left = sorted(judged, key=lambda one: one.score_db)
    bare = next((one for one in left if one.effort.parts == 0), None)
    found: list[tuple[One, ...]] = []
    while left:
        most = left[0].score_db + EQUAL_DB
        if bare is not None and bare in left and bare.score_db >= most:
            most = min(most, bare.score_db - EQUAL_DB + _ROUNDING_DB)
        alike = [one for one in left if one.score_db < most]
        found.append(tuple(sorted(alike, key=lambda one: (one.effort.rank, one.score_db))))
        left = left[len(alike) :]
    return found


def worth_their_parts(order: Sequence[One]) -> tuple[One, ...]:
    """Leave out what takes more effort than an earlier one and is not audibly better."""
    kept: list[One] = []
    for one in order:
        if not any(
            other.effort.rank < one.effort.rank and other.score_db - one.score_db < EQUAL_DB
            for other in kept
        ):
            kept.append(one)
    return tuple(kept)
