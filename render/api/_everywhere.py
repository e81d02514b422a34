"""Judging in every situation of a guitar: need, figures of merit, the search."""

from collections.abc import Iterable
from dataclasses import replace

from presolder._asked import (
    DesignLike,
    DesignsLike,
    Numbers,
    Progress,
    SituationsLike,
    TakeLike,
    asked_designs,
    asked_ear,
    asked_situations,
    counted,
)
from presolder._judge import _MOST_SHOWN, Value, _at_hand, _shapes, _shelf
from presolder.models.instrument.designs import built_in_designs
from presolder.models.instrument.player import Playing
from presolder.models.instrument.quantities import require_within
from presolder.models.instrument.stock import Stock
from presolder.models.judging.ear import LISTENING_LEVEL_DB
from presolder.models.judging.everywhere import recommend_everywhere
from presolder.models.judging.need import need as judge_need
from presolder.models.judging.situations import Heard, ranked_overall
from presolder.render.report.everywhere import (
    ComparisonEverywhere,
    NeedEverywhere,
    SearchEverywhere,
)


def _heard(
    situations: SituationsLike,
    plays: Playing | None,
    dials: Numbers | None,
    take: TakeLike | None,
    listening_level: float,
    tone_weight: float | None,
    speaker: str | None,
) -> tuple[Heard, ...]:
    return tuple(
        Heard(
            one.name,
            asked_ear(one.rig, plays, dials, take, listening_level, tone_weight, speaker),
            one.weight,
        )
        for one in asked_situations(situations)
    )


def need_everywhere(
    situations: SituationsLike,
    plays: Playing | None = None,
    dials: Numbers | None = None,
    *,
    take: TakeLike | None = None,
    listening_level: float = LISTENING_LEVEL_DB,
    tone_weight: float | None = None,
    speaker: str | None = None,
) -> NeedEverywhere:
    """Judge whether a bypass is needed, in every situation of a rig.

    Parameters
    ----------
    situations : sequence of Situation, or str
        From `situations`, or a rig's name or file.
    plays, dials, take, listening_level, tone_weight, speaker
        As for `need`.

    Returns
    -------
    NeedEverywhere
        ``found`` has a judgement a situation, ``ranked`` the built-in designs.

    Raises
    ------
    InputError
        As `need`.

    Notes
    -----
    As for `need`; over the situations scores are means by their weights.

    Examples
    --------
    >>> import presolder as ps
    >>> found = ps.need_everywhere("split-humbucker")
    >>> [one.verdict for one in found.found]
    ['yes', 'yes', 'yes']
    """
    heard = _heard(situations, plays, dials, take, listening_level, tone_weight, speaker)
    return NeedEverywhere(
        heard,
        tuple(judge_need(one.ear, one.ear.conditions.dials) for one in heard),
        ranked_overall(heard, built_in_designs(heard[0].ear.rig.volume)),
    )


def compare_everywhere(
    situations: SituationsLike,
    designs: DesignsLike | None = None,
    *,
    plays: Playing | None = None,
    dials: Numbers | None = None,
    take: TakeLike | None = None,
    listening_level: float = LISTENING_LEVEL_DB,
    tone_weight: float | None = None,
    speaker: str | None = None,
) -> ComparisonEverywhere:
    """Rank designs by how well they serve in all situations of a rig.

    Parameters
    ----------
    situations : sequence of Situation, or str
        From `situations`, or a rig's name or file.
    designs : Design, str or iterable of them, optional
        By default every built-in one.
    plays, dials, take, listening_level, tone_weight, speaker
        As for `compare`.

    Returns
    -------
    ComparisonEverywhere
        ``ranked``, best first: by the mean of the scores, by the situations' weights.

    Raises
    ------
    InputError
        As `compare`.

    Notes
    -----
    As for `compare`.

    Examples
    --------
    >>> import presolder as ps
    >>> found = ps.compare_everywhere("split-humbucker", ["bare", "cap"])
    >>> len(found.ranked[0].each)
    3
    """
    heard = _heard(situations, plays, dials, take, listening_level, tone_weight, speaker)
    return ComparisonEverywhere(
        heard, ranked_overall(heard, asked_designs(designs, heard[0].ear.rig))
    )


def tailor_everywhere(
    situations: SituationsLike,
    *,
    series: str = "E12",
    topologies: Iterable[DesignLike] | None = None,
    resistors: tuple[Value, Value] = ("1k", "1M"),
    capacitors: tuple[Value, Value] = ("10p", "10n"),
    gangs: Iterable[Value] | None = None,
    plays: Playing | None = None,
    dials: Numbers | None = None,
    take: TakeLike | None = None,
    listening_level: float = LISTENING_LEVEL_DB,
    tone_weight: float | None = None,
    speaker: str | None = None,
    top: int = 6,
    stock: Stock | None = None,
    progress: Progress | None = None,
) -> SearchEverywhere:
    """Search values for the one bypass that serves best in all situations of a rig.

    Parameters
    ----------
    situations : sequence of Situation, or str
        From `situations`, or a rig's name or file.
    series, topologies, resistors, capacitors, gangs, top, stock, progress
        As for `tailor`.
    plays, dials, take, listening_level, tone_weight, speaker
        As for `tailor`.

    Returns
    -------
    SearchEverywhere
        ``found.best``, best first; ``found.own`` is what each situation would have by itself.

    Raises
    ------
    InputError
        As `tailor`.

    Notes
    -----
    As for `tailor`.

    Examples
    --------
    >>> import presolder as ps
    >>> result = ps.tailor_everywhere("split-humbucker", series="E6", topologies=["cap"])
    >>> result.found.bare_comes_first
    False
    """
    heard = _heard(situations, plays, dials, take, listening_level, tone_weight, speaker)
    require_within([("top", top, 1, _MOST_SHOWN)])
    rig = heard[0].ear.rig
    shelf = _shelf(rig, series, resistors, capacitors, gangs, stock)
    shapes = _shapes(rig, topologies, shelf)
    told = counted(progress, len(shapes))
    if stock is not None:
        heard = tuple(replace(one, ear=_at_hand(one.ear, shelf)) for one in heard)
    found = recommend_everywhere(heard, shapes, shelf, top=top, progress=told)
    return SearchEverywhere(heard, found, series, stock is not None)
