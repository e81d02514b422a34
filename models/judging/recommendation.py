"""What the search finds, judged in full beside the bare pot and the built-in designs."""

from collections.abc import Callable
from dataclasses import dataclass

from presolder.models.instrument.network import Design, Network, format_network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.merit import DIALS
from presolder.models.judging.ranking import (
    TONE_WEIGHT,
    Scored,
    ahead_of_its_kind_db,
    best_built_in,
    scored,
)
from presolder.models.judging.search import (
    Found,
    Shelf,
    best_of_each,
    combinations,
    front,
    tailor,
)
from presolder.models.typing import Array


@dataclass(frozen=True)
class Candidate:
    """One of the best found.

    Attributes
    ----------
    found : Found
    judged : Scored
        By the full figures.
    better_than_built_in_db : float or None
        By how much its score is below that of the built-in design of its
        topology; None if there is none.
    """

    found: Found
    judged: Scored
    better_than_built_in_db: float | None


@dataclass(frozen=True, eq=False)
class Recommendation:
    """The outcome of a search.

    Attributes
    ----------
    best : tuple of Candidate
        Best first, one a topology: those ahead of the bare pot, or the single
        best one where none is.
    bare, built_in : Scored
        The bare pot, and the best built-in design.
    front : tuple of Found
        Those that no other beats in both taper and tone.
    searched, topologies : int
        How many designs, of how many topologies.
    """

    best: tuple[Candidate, ...]
    bare: Scored
    built_in: Scored
    front: tuple[Found, ...]
    searched: int
    topologies: int

    @property
    def ahead_of_bare_db(self) -> float:
        """By how much the best is ahead of the bare pot; at most 0 if it is not."""
        return self.bare.score_db - self.best[0].judged.score_db


def recommend(
    rig: Rig,
    shapes: tuple[Network, ...],
    shelf: Shelf,
    tone_weight: float = TONE_WEIGHT,
    dials: Array = DIALS,
    *,
    top: int = 6,
    progress: Callable[[int], None] = lambda _: None,
) -> Recommendation:
    """Search topologies and judge the best of each.

    Parameters
    ----------
    rig, shapes, shelf, tone_weight, dials, progress
        As for `tailor`.
    top : int
        The most to return.

    Returns
    -------
    Recommendation
    """
    found = tailor(rig, shapes, shelf, tone_weight, dials, progress=progress)
    bare = scored(rig, Design("bare", None), tone_weight, dials)
    judged = []
    for one in best_of_each(found, tone_weight):
        design = Design(format_network(one.network), one.network)
        judged.append((one, scored(rig, design, tone_weight, dials)))
    ahead = [pair for pair in judged if pair[1].score_db < bare.score_db]
    best = tuple(
        Candidate(one, its, ahead_of_its_kind_db(rig, its, one.shape, tone_weight, dials))
        for one, its in (ahead or judged[:1])[:top]
    )
    return Recommendation(
        best,
        bare,
        best_built_in(rig, tone_weight, dials),
        tuple(front(found)),
        sum(combinations(shape, shelf) for shape in shapes),
        len(shapes),
    )
