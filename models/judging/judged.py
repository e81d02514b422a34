"""Designs judged by what is heard in the end: through the dirt, where there is one.

What reaches a dirt is known for any number of designs in no time. What comes out of it
has to be played, so only the bare pot and the few that do best before it are.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Capture
from presolder.models.instrument.stage import Stage
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import beside_ideal
from presolder.models.judging.played import Out, come_out
from presolder.models.judging.ranking import (
    EQUAL_DB,
    HeardAt,
    Scored,
    all_scored,
    in_order,
    score,
    scores_of,
)

# So many designs are played beside the bare pot.
PLAYED = 3
_BARE = Design("bare", None)


def ranked(ears: Sequence[Ear], designs: Iterable[Design]) -> tuple[Scored, ...]:
    """Judge designs in every situation, best first."""
    return in_order(through_dirt(ears, all_scored(ears, designs)))


def judged(ears: Sequence[Ear], designs: Sequence[Design]) -> tuple[Scored, ...]:
    """Judge designs in their order, each played through the dirt if it is one of the few best."""
    bare_is_there = any(design.network is None for design in designs)
    beside = designs if bare_is_there else (_BARE, *designs)
    return through_dirt(ears, all_scored(ears, beside))[-len(designs) :]


def through_dirt(ears: Sequence[Ear], scored: Sequence[Scored]) -> tuple[Scored, ...]:
    """Judge the bare pot and the few best by what comes out of the dirt, in their order.

    Parameters
    ----------
    ears : sequence of Ear
        Those without dirt are left as they are.
    scored : sequence of Scored
        By what reaches the input; at least one.
    """
    if all(ear.dirt is None for ear in ears):
        return tuple(scored)
    fitted = [one for one in in_order(scored) if one.design.network is not None]
    few = [one for one in fitted if one.may_come_first][:PLAYED]
    few += [one for one in fitted if one not in few][: PLAYED - len(few)]
    few += [one for one in scored if one.design.network is None]
    designs = [one.design for one in few]
    outs = [None if ear.dirt is None else come_out(ear, designs) for ear in ears]
    played = dict(zip(map(id, few), as_played(ears, few, outs), strict=True))
    return tuple(played.get(id(one)) or _screened(ears, one) for one in scored)


def _screened(ears: Sequence[Ear], one: Scored) -> Scored:
    heard_at: tuple[HeardAt, ...] = tuple(
        "input" if ear.dirt is None else "screened" for ear in ears
    )
    return replace(one, heard_at=heard_at)


def as_played(
    ears: Sequence[Ear], scored: Sequence[Scored], outs: Sequence[Out | None]
) -> tuple[Scored, ...]:
    """Designs with the figures of what came out of the dirt in each situation that has one.

    Parameters
    ----------
    ears, scored
        As for `through_dirt`.
    outs : sequence of Out or None
        Of these designs. Where the player leaves the knob at dials of it, these count;
        else all of them do.
    """
    figures = [list(one.figures) for one in scored]
    for at, (ear, out) in enumerate(zip(ears, outs, strict=True)):
        if out is None:
            continue
        some = np.flatnonzero(np.isin(out.dial, ear.conditions.dials))
        if some.size < ear.conditions.dials.size:
            some = np.arange(out.dial.size)
        heard = beside_ideal(out.levels_db[:, some], out.ideal.at(some))
        for index, own in enumerate(figures):
            its = replace(own[at], dial=out.dial[some])
            own[at] = heard.into(its, index, float(out.ten.phon))
    heard_at: tuple[HeardAt, ...] = tuple("input" if out is None else "dirt" for out in outs)
    return tuple(
        replace(one, figures=tuple(own), scores_db=scores_of(ears, own), heard_at=heard_at)
        for one, own in zip(scored, figures, strict=True)
    )


def takes_apart(ear: Ear, order: Sequence[Scored]) -> tuple[str, ...]:
    """By which other takes the dirt would have it otherwise between the bare pot and its rival.

    Parameters
    ----------
    ear : Ear
    order : sequence of Scored
        Best first, in this situation alone.

    Returns
    -------
    tuple of str
        Names of takes; none without a dirt, or where a take was given.
    """
    played = [one for one in order if one.heard == "dirt" and one.design.network is not None]
    if ear.dirt is None or not played:
        return ()
    fitted_first = order[0].design.network is not None
    rival = order[0] if fitted_first else played[0]
    found = []
    others = [one for one in ear.conditions.others if one is not ear.conditions.material]
    # Circuits take their time; one more take than the first has to do.
    for material in others[-1:] if isinstance(ear.dirt, Stage) else others:
        rig = replace(ear.rig, take=Capture("string")) if material.of_string else ear.rig
        other = replace(ear, rig=rig, conditions=replace(ear.conditions, material=material))
        out = come_out(other, [_BARE, rival.design])
        heard = beside_ideal(out.levels_db, out.ideal)
        bare_db, rival_db = score(heard.taper_phon, heard.tone_db, ear.conditions.tone_weight)
        if (bare_db - rival_db >= EQUAL_DB) != fitted_first:
            found.append(material.name)
    return tuple(found)
