"""What the search finds, judged in full beside the bare pot and the built-in designs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from presolder.models.errors import InputError
from presolder.models.instrument.network import Design, Network, format_network
from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import (
    EQUAL_DB,
    Scored,
    ahead_of_its_kind_db,
    all_scored,
    best_fitted,
    in_order,
    worth_their_parts,
)
from presolder.models.judging.search import (
    Found,
    Shelf,
    best_of_each,
    by_steps,
    combinations,
    front,
    plateau,
    tailor,
)


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
    """The outcome of a search; over several situations, all weighed.

    Attributes
    ----------
    best : tuple of Candidate
        Best first, one a topology: those that stand before the bare pot and
        whose parts earn something; where there are none, the lowest score.
    bare_comes_first : bool
        Whether nothing found is audibly ahead of the bare pot.
    bare, built_in : Scored
        The bare pot, and the built-in design other than bare that comes first.
    front : tuple of Found
        Those that no other beats in both taper and tone.
    own : tuple of Found
        What comes first in each situation by itself, of all that was judged in full.
    searched, topologies : int
        How many designs, of how many topologies.
    by_steps : bool
        Whether there were so many that not each was tried, but a grid that closes in.
    equals : int
        How many designs, of those judged in full, sound as good as the best of
        the first one's topology.
    """

    best: tuple[Candidate, ...]
    bare_comes_first: bool
    bare: Scored
    built_in: Scored
    front: tuple[Found, ...]
    own: tuple[Found, ...]
    searched: int
    topologies: int
    equals: int
    by_steps: bool

    @property
    def ahead_of_bare_db(self) -> float:
        """By how much the first is ahead of the bare pot."""
        return self.bare.score_db - self.best[0].judged.score_db

    @property
    def ahead_of_built_in_db(self) -> float:
        """By how much the first is ahead of the built-in design."""
        return self.built_in.score_db - self.best[0].judged.score_db

    @property
    def built_in_is_as_good(self) -> bool:
        """Whether the built-in design is not audibly behind."""
        return self.ahead_of_built_in_db < EQUAL_DB

    @property
    def gives_up_db(self) -> tuple[float, ...]:
        """What the first is behind each situation's own best."""
        first = self.best[0].judged
        return tuple(
            its_db - own.scores_db[at]
            for at, (its_db, own) in enumerate(zip(first.scores_db, self.own, strict=True))
        )


def recommend(
    ears: Sequence[Ear],
    shapes: tuple[Network, ...],
    shelf: Shelf,
    *,
    top: int = 6,
    progress: Callable[[int], None] = lambda _: None,
) -> Recommendation:
    """Search topologies and judge the best of each.

    Parameters
    ----------
    ears, shapes, shelf, progress
        As for `tailor`.
    top : int
        The most to return.

    Returns
    -------
    Recommendation
    """
    found = tailor(ears, shapes, shelf, progress=progress)
    firsts = candidates(found, shapes, top)
    designs = (Design(format_network(one.network), one.network) for one in firsts)
    bare, *judged = all_scored(ears, (Design("bare", None), *designs))
    shape_of = {id(its): one for one, its in zip(firsts, judged, strict=True)}
    shown, bare_comes_first = standing_first(bare, judged, shapes, top)
    best = tuple(
        Candidate(shape_of[id(its)], its, ahead_of_its_kind_db(ears, its, shape_of[id(its)].shape))
        for its in shown
    )
    return Recommendation(
        best,
        bare_comes_first,
        bare,
        best_fitted(ears),
        tuple(front(found)),
        tuple(min(found, key=lambda one: one.scores_db[at]) for at in range(len(ears))),
        sum(combinations(shape, shelf) for shape in shapes),
        len(shapes),
        len(plateau(found)),
        by_steps(shapes, shelf),
    )


def candidates(found: list[Found], shapes: tuple[Network, ...], top: int) -> list[Found]:
    """The best of each topology; of a single one those that are as good, commonest parts first.

    Raises
    ------
    InputError
        If nothing was found: a drawer has too few parts.
    """
    if not found:
        raise InputError("there are not enough parts for any design of these topologies")
    return best_of_each(found) if len(shapes) > 1 else plateau(found)[:top]


def standing_first(
    bare: Scored, judged: Sequence[Scored], shapes: tuple[Network, ...], top: int
) -> tuple[tuple[Scored, ...], bool]:
    """What is worth its parts of what is ahead of the bare pot; and whether nothing is.

    Of one topology that is all that is ahead, in the order judged; where nothing
    is, the lowest score.
    """
    order = in_order([bare, *judged])
    ahead = order[: order.index(bare)]
    if len(shapes) > 1:
        shown = worth_their_parts(ahead)
    else:
        shown = tuple(one for one in judged if one in ahead)
    return (shown or (min(judged, key=lambda one: one.score_db),))[:top], not ahead
