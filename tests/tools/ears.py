"""Rigs with a listener, for the tests of judging."""

from presolder._asked import asked_ear
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear


def ear_of(rig: Rig, **conditions: object) -> Ear:
    """The rig under the usual conditions, but for what is given."""
    return asked_ear(rig, **conditions)  # type: ignore[arg-type]
