"""The one bypass that serves a guitar best in all of its situations."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from presolder.models.instrument.designs import built_in_designs
from presolder.models.instrument.network import Design, Network, format_network
from presolder.models.judging.ranking import EQUAL_DB, in_order
from presolder.models.judging.recommendation import candidates, standing_first
from presolder.models.judging.search import (
    Found,
    Shelf,
    by_steps,
    combinations,
    plateau,
    tailor,
)
from presolder.models.judging.situations import Heard, Overall, overall


@dataclass(frozen=True, eq=False)
class Everywhere:
    """The outcome of a search over situations.

    Attributes
    ----------
    best : tuple of Overall
        Best first, one a topology: those that stand before the bare pot and
        whose parts earn something; where there are none, the lowest score.
    bare_comes_first : bool
        Whether nothing found is audibly ahead of the bare pot, all weighed.
    bare, built_in : Overall
        The bare pot, and the built-in design other than bare that comes first.
    own : tuple of Found
        What comes first in each situation by itself, of all that was judged in full.
    searched, topologies : int
        How many designs, of how many topologies.
    by_steps : bool
        Whether there were so many that not each was tried, but a grid that closes in.
    equals : int
        As of a `Recommendation`.
    """

    best: tuple[Overall, ...]
    bare_comes_first: bool
    bare: Overall
    built_in: Overall
    own: tuple[Found, ...]
    searched: int
    topologies: int
    equals: int
    by_steps: bool

    @property
    def ahead_of_bare_db(self) -> float:
        """By how much the first is ahead of the bare pot, all weighed."""
        return self.bare.score_db - self.best[0].score_db

    @property
    def built_in_is_as_good(self) -> bool:
        """Whether the built-in design is not audibly behind, all weighed."""
        return self.built_in.score_db - self.best[0].score_db < EQUAL_DB

    def gives_up_db(self, one: Overall) -> tuple[float, ...]:
        """What a design is behind each situation's own best."""
        return tuple(
            its.score_db - own.scores_db[at]
            for at, (its, own) in enumerate(zip(one.each, self.own, strict=True))
        )


def recommend_everywhere(
    heard: Sequence[Heard],
    shapes: tuple[Network, ...],
    shelf: Shelf,
    *,
    top: int = 6,
    progress: Callable[[int], None] = lambda _: None,
) -> Everywhere:
    """Search topologies and judge the best of each in every situation.

    Parameters
    ----------
    heard, shapes, shelf, progress
        As for `tailor`.
    top : int
        The most to return.

    Returns
    -------
    Everywhere
    """
    found = tailor(heard, shapes, shelf, progress=progress)
    chosen = candidates(found, shapes, top)
    designs = (Design(format_network(one.network), one.network) for one in chosen)
    bare, *judged = overall(heard, (Design("bare", None), *designs))
    shown, bare_comes_first = standing_first(bare, judged, shapes, top)
    fitted = built_in_designs(heard[0].ear.rig.volume)[1:]
    return Everywhere(
        shown,
        bare_comes_first,
        bare,
        in_order(overall(heard, fitted))[0],
        tuple(min(found, key=lambda one: one.scores_db[at]) for at in range(len(heard))),
        sum(combinations(shape, shelf) for shape in shapes),
        len(shapes),
        len(plateau(found)),
        by_steps(shapes, shelf),
    )
