"""Rigs with a listener, for the tests of judging."""

from presolder._asked import Judging, asked_ears, asked_situations
from presolder.models.instrument.designs import built_in_designs
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.need import Need, need
from presolder.models.judging.ranking import all_scored
from presolder.models.typing import Array


def ear_of(rig: Rig, **judging: object) -> Ear:
    """The rig under the usual conditions, but for what is given."""
    (ear,) = asked_ears(asked_situations(rig), Judging(**judging))  # type: ignore[arg-type]
    return ear


def need_of(ear: Ear, dial: Array) -> Need:
    """Whether it needs a bypass, beside the built-in designs."""
    return need(ear, dial, all_scored((ear,), built_in_designs(ear.rig.volume)))
