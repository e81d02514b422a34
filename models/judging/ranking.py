"""What a preference makes of designs: scores, ranks, and which one comes first."""

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np

from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.network import Design, Gang, Network, leaves
from presolder.models.instrument.topologies import built_in_of
from presolder.models.judging.ear import Ear, shares
from presolder.models.judging.merit import Merit, merits
from presolder.models.typing import Array

# Scores nearer than this are called equal: treble that is 1 dB nearer, which is
# just noticed, in half of its bands. Common practice, no source.
EQUAL_DB = 0.5
_ROUNDING_DB = 1e-9


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
        In each situation; smaller is better.
    taper_phon, tone_db, score_db : float
        Means over the situations, by their weights.
    """

    design: Design
    figures: tuple[Merit, ...]
    efforts: tuple[Effort, ...]
    scores_db: tuple[float, ...]
    taper_phon: float
    tone_db: float
    score_db: float

    @property
    def effort(self) -> Effort:
        """The most that any situation's volume pot makes of it."""
        return max(self.efforts, key=lambda one: one.rank)

    @property
    def worst(self) -> int:
        """Index of the situation with the highest score."""
        return int(np.argmax(self.scores_db))

    def alone(self, at: int) -> "Scored":
        """The same in one situation only."""
        its, score_db = self.figures[at], self.scores_db[at]
        return Scored(
            self.design, (its,), (self.efforts[at],), (score_db,),
            its.taper_phon, its.tone_db, score_db,
        )  # fmt: skip


def all_scored(ears: Sequence[Ear], designs: Iterable[Design]) -> tuple[Scored, ...]:
    """Judge designs in every situation, in their order."""
    judged = tuple(designs)
    networks = [design.network for design in judged]
    share = shares(ears)
    each = zip(*(merits(ear, networks) for ear in ears), strict=True)
    found = []
    for design, figures in zip(judged, each, strict=True):
        scores = tuple(
            float(score(its.taper_phon, its.tone_db, ear.conditions.tone_weight))
            for ear, its in zip(ears, figures, strict=True)
        )
        efforts = tuple(
            effort(design.network, ear.rig.volume, ear.conditions.gangs_at_hand) for ear in ears
        )
        means = share @ [
            (its.taper_phon, its.tone_db, score_db)
            for its, score_db in zip(figures, scores, strict=True)
        ]
        found.append(Scored(design, figures, efforts, scores, *means.tolist()))
    return tuple(found)


class Rankable(Protocol):
    """What designs are put in order by."""

    @property
    def effort(self) -> Effort: ...  # noqa: D102

    @property
    def score_db(self) -> float: ...  # noqa: D102


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
    before the bare pot is always that much ahead of it. A design that needs a
    special order stands behind the first one that does not.
    """
    left = sorted(judged, key=lambda one: one.score_db)
    bare = next((one for one in left if one.effort.parts == 0), None)
    ranked: list[One] = []
    while left:
        most = left[0].score_db + EQUAL_DB
        if bare is not None and bare in left and bare.score_db >= most:
            most = min(most, bare.score_db - EQUAL_DB + _ROUNDING_DB)
        alike = [one for one in left if one.score_db < most]
        ranked += sorted(alike, key=lambda one: (one.effort.rank, one.score_db))
        left = left[len(alike) :]
    stock = next((one for one in ranked if not one.effort.special_order), None)
    if stock is not None:
        ranked.remove(stock)
        ranked.insert(0, stock)
    return tuple(ranked)


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


def ranked(ears: Sequence[Ear], designs: Iterable[Design]) -> tuple[Scored, ...]:
    """Judge designs, best first."""
    return in_order(all_scored(ears, designs))


def built_in_ranked(ears: Sequence[Ear]) -> tuple[Scored, ...]:
    """The bare pot and the built-in designs, best first."""
    return ranked(ears, built_in_designs(ears[0].rig.volume))


def best_fitted(ears: Sequence[Ear]) -> Scored:
    """The built-in design, other than bare, that comes first."""
    fitted = built_in_designs(ears[0].rig.volume)[1:]
    return ranked(ears, fitted)[0]


def ahead_of_its_kind_db(ears: Sequence[Ear], one: Scored, shape: Network) -> float | None:
    """By how much a score is below that of the built-in design of its topology, if any."""
    volume = ears[0].rig.volume
    alike = all_scored(ears, (Design("", network) for network in built_in_of(shape, volume)))
    return min(other.score_db for other in alike) - one.score_db if alike else None
