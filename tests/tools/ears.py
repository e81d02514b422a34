"""Rigs with a listener, for the tests of judging."""

import presolder as ps

# As the face makes them, without what it would judge.
from presolder._asked import asked_ears
from presolder.models.instrument.built_in import for_rig
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.recommendation import usual_ones
from presolder.models.judging.verdict import Need, need
from presolder.models.typing import Array
from presolder.render.report.sheet import Sheet

AS_USUAL = ps.Judging()


def ear_of(rig: Rig, **judging: object) -> Ear:
    """The rig under the usual conditions, but for what is given."""
    (ear,) = ears_of((ps.Situation("", rig),), ps.Judging(**judging))  # type: ignore[arg-type]
    return ear


def ears_of(
    situations: tuple[ps.Situation, ...], judging: ps.Judging = AS_USUAL
) -> tuple[Ear, ...]:
    """A rig in its situations, with a listener each."""
    return asked_ears(situations, judging)


def need_of(ear: Ear, dial: Array) -> Need:
    """Whether a bypass helps it, of the usual ones."""
    return need(ear, dial, usual_ones((ear,)))


def sheet_of(rig: Rig, design: ps.Design | str) -> Sheet:
    """What is soldered, without a word on the sound, which would take as long again."""
    named = ps.design(design) if isinstance(design, str) else design
    return Sheet((ear_of(rig),), for_rig(named, rig))
