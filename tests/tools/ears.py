"""Rigs with a listener, for the tests of judging."""

import presolder as ps
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import all_scored
from presolder.models.judging.verdict import Need, need
from presolder.models.typing import Array

AS_USUAL = ps.Judging()


def ear_of(rig: Rig, **judging: object) -> Ear:
    """The rig under the usual conditions, but for what is given."""
    (ear,) = ears_of((ps.Situation("", rig),), ps.Judging(**judging))  # type: ignore[arg-type]
    return ear


def ears_of(
    situations: tuple[ps.Situation, ...], judging: ps.Judging = AS_USUAL
) -> tuple[Ear, ...]:
    """A rig in its situations, with a listener each."""
    return ps.compare(situations, ps.Design("bare", None), judging).ears


def need_of(ear: Ear, dial: Array) -> Need:
    """Whether it needs a bypass, beside the built-in designs."""
    return need(ear, dial, all_scored((ear,), built_in_designs(ear.rig.volume)))
