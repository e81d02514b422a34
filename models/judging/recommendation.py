"""What the search finds, judged in full beside the bare pot and the built-in designs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from presolder.models.errors import InputError
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Design, Leaf, Network, format_network
from presolder.models.instrument.topologies import DEFAULT_SHAPES, canonical
from presolder.models.judging.ear import Ear
from presolder.models.judging.judged import through_dirt
from presolder.models.judging.merit import merits
from presolder.models.judging.ranking import (
    EQUAL_DB,
    Scored,
    all_scored,
    effort,
    in_order,
    scores_of,
    worth_their_parts,
)
from presolder.models.judging.search import (
    Found,
    Shelf,
    best_of_each,
    by_steps,
    combinations,
    common_shelf,
    front,
    plateau,
    tailor,
)


@dataclass(frozen=True)
class Candidate:
    """One of the best found.

    Attributes
    ----------
    judged : Scored
        By the full figures.
    better_than_built_in_db : float or None
        By how much its score is below that of the built-in design of its
        topology; None if there is none.
    at_the_edge : tuple of Leaf
        Parts that are the smallest or largest of those searched.
    """

    judged: Scored
    better_than_built_in_db: float | None
    at_the_edge: tuple[Leaf, ...]


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
    usual : tuple of Scored
        The bare pot and the built-in designs, best first.
    front : tuple of Found
        Those that no other beats in both taper and tone.
    own : tuple of Found
        What comes first in each situation by itself, of all that was judged in full.
    searched, topologies : int
        How many designs, of how many topologies.
    by_steps : bool
        Whether there were so many that not each was tried, but a grid that closes in.
    as_good : tuple of Found
        Of those judged in full, what sounds as good as the best of the first one's
        topology, the commonest values first; with itself.
    """

    best: tuple[Candidate, ...]
    bare_comes_first: bool
    usual: tuple[Scored, ...]
    front: tuple[Found, ...]
    own: tuple[Found, ...]
    searched: int
    topologies: int
    as_good: tuple[Found, ...]
    by_steps: bool

    @property
    def bare(self) -> Scored:
        """The bare pot."""
        return _bare_of(self.usual)

    @property
    def built_in(self) -> Scored:
        """The built-in design other than bare that comes first."""
        return next(one for one in self.usual if one.design.network is not None)

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
        """Whether the built-in design is not audibly behind, and leaves the knob one."""
        return self.built_in.may_come_first and self.ahead_of_built_in_db < EQUAL_DB

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
    with_built_in: bool = False,
    progress: Callable[[int], None] = lambda _: None,
) -> Recommendation:
    """Search topologies and judge the best of each.

    Parameters
    ----------
    ears, shapes, shelf, progress
        As for `tailor`.
    top : int
        The most to return.
    with_built_in : bool
        Whether built-in designs may be among them.

    Returns
    -------
    Recommendation
    """
    found = tailor(ears, shapes, shelf, progress=progress)
    firsts = candidates(found, shapes, top)
    own = _designs(firsts)
    designs = (*built_in_designs(ears[0].rig), *own)
    everything = through_dirt(ears, all_scored(ears, designs))
    bare, *built_in = everything[: -len(own)]
    judged = [*everything[-len(own) :], *(built_in if with_built_in else ())]
    shown, bare_comes_first = standing_first(bare, judged, shapes, top)

    def candidate(one: Scored) -> Candidate:
        network = one.design.network
        alike = [its for its in built_in if canonical(its.design.network) == canonical(network)]
        better = min((its.score_db for its in alike), default=np.nan) - one.score_db
        edge = shelf.at_its_edge(network) if network is not None else ()
        return Candidate(one, float(better) if alike else None, edge)

    kept = [one for one in found if not one.spoilt] or found
    of_firsts = canonical(shown[0].design.network)
    as_good = plateau([one for one in found if canonical(one.shape) == of_firsts] or found)
    return Recommendation(
        tuple(candidate(one) for one in shown),
        bare_comes_first,
        in_order([bare, *built_in]),
        tuple(front(found)),
        tuple(min(kept, key=lambda one: one.scores_db[at]) for at in range(len(ears))),
        sum(combinations(shape, shelf) for shape in shapes),
        len(shapes),
        tuple(as_good),
        by_steps(shapes, shelf),
    )


def usual_ones(ears: Sequence[Ear]) -> tuple[Scored, ...]:
    """The bare pot and the built-in designs, best first; and what is found besides.

    The search is asked where none of the built-in ones is nearer than the bare pot, so
    that what it would find is never said not to be there.
    """
    built_in = all_scored(ears, built_in_designs(ears[0].rig))
    if in_order(built_in)[0].design.network is not None:
        order = in_order(through_dirt(ears, built_in))
        if order[0].design.network is not None:
            return order
    if all(list(ear.conditions.dials) == [DIAL_MAX] for ear in ears):
        return in_order(built_in)
    shelf = common_shelf(ears[0].rig.volume)
    firsts = candidates(tailor(ears, DEFAULT_SHAPES, shelf), DEFAULT_SHAPES, len(DEFAULT_SHAPES))
    bare = _bare_of(built_in)
    bare_db = float(bare.share @ bare.scores_db)
    # What is behind on this very guitar is not ahead on those like it.
    hopeful = [one for one in firsts if not one.spoilt and one.score_db < bare_db]
    found = all_scored(ears, _designs(hopeful)) if hopeful else ()
    everything = through_dirt(ears, (*built_in, *found))
    order = in_order(everything)
    ahead = order[: order.index(_bare_of(order))]
    known = {one.design.name for one in built_in}
    kept = [one for one in worth_their_parts(ahead) if one.design.name not in known]
    return tuple(one for one in order if one.design.name in known or one in kept)


@dataclass(frozen=True)
class FirstLook:
    """The nearest of the built-in designs on this very guitar, before others like it are asked.

    Attributes
    ----------
    design : Design
        What may come first: the bare pot where none is audibly nearer.
    nearer_db : float
        By how much its score is less than the bare pot's; 0 for that one.
    """

    design: Design
    nearer_db: float


def first_look(ear: Ear) -> FirstLook:
    """Judge the built-in designs by what reaches the input, at the dials that count."""
    designs = list(built_in_designs(ear.rig))
    figures = merits(ear, [design.network for design in designs])
    score_db = [scores_of((ear,), (one,))[0] for one in figures]
    bare = next(i for i, design in enumerate(designs) if design.network is None)
    gangs = ear.conditions.gangs_at_hand
    fit = [
        i
        for i, design in enumerate(designs)
        if not figures[i].spoilt
        and not effort(design.network, ear.rig.volume, gangs).special_order
        and score_db[i] <= score_db[bare] - EQUAL_DB
    ]
    nearest = min(fit, key=lambda i: score_db[i], default=bare)
    return FirstLook(designs[nearest], score_db[bare] - score_db[nearest])


def _designs(found: Sequence[Found]) -> list[Design]:
    return [Design(format_network(one.network), one.network) for one in found]


def _bare_of(scored: Sequence[Scored]) -> Scored:
    return next(one for one in scored if one.design.network is None)


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
    least = min(judged, key=lambda one: (not one.may_come_first, one.score_db))
    return (shown or (least,))[:top], not ahead
