"""Designs in every situation that a guitar is used in: weighed together, and at worst."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from presolder.models.instrument.network import Design
from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import Effort, Scored, all_scored, in_order
from presolder.models.typing import Array


@dataclass(frozen=True, eq=False)
class Heard:
    """A situation as it is listened to.

    Attributes
    ----------
    name : str
    ear : Ear
        The guitar in this situation and the conditions.
    weight : float
        How much it counts beside the others.
    wanted_db : ndarray, shape (d,), or None
        Level at each of the conditions' dials, re dial 10, that is wanted
        there; None to keep the bare pot's taper, by loudness.
    """

    name: str
    ear: Ear
    weight: float = 1.0
    wanted_db: Array | None = None


def shares(heard: Sequence[Heard]) -> Array:
    """What each situation counts for, shape (s,); 1 together."""
    weights = np.array([one.weight for one in heard])
    return np.asarray(weights / weights.sum(), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Overall:
    """A design with its figures in every situation.

    Attributes
    ----------
    design : Design
    effort : Effort
        The most that any situation's volume pot makes of it.
    each : tuple of Scored
        One a situation.
    score_db : float
        Weighted mean of their scores; smaller is better.
    """

    design: Design
    effort: Effort
    each: tuple[Scored, ...]
    score_db: float

    @property
    def worst(self) -> int:
        """Index of the situation with the highest score."""
        return int(np.argmax([one.score_db for one in self.each]))


def overall(heard: Sequence[Heard], designs: Iterable[Design]) -> tuple[Overall, ...]:
    """Judge designs in every situation, in their order."""
    judged = tuple(designs)
    each = [all_scored(one.ear, judged) for one in heard]
    share = shares(heard)
    return tuple(
        Overall(
            design,
            max((one.effort for one in its), key=lambda effort: effort.rank),
            its,
            float(share @ [one.score_db for one in its]),
        )
        for design, its in zip(judged, zip(*each, strict=True), strict=True)
    )


def ranked_overall(heard: Sequence[Heard], designs: Iterable[Design]) -> tuple[Overall, ...]:
    """Judge designs in every situation, best first."""
    return in_order(overall(heard, designs))
