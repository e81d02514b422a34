"""Short ways to describe rigs in tests."""

from dataclasses import replace

from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.rig import Channel, Rig, Take


def single(
    pickup: Pickup,
    volume: Pot,
    tone: Tone | None = None,
    cable: float = 0.0,
    load: Load | None = None,
) -> Rig:
    """One pickup with its controls."""
    return Rig((Channel(pickup, volume, tone),), cable, load or Load())


def with_other(rig: Rig, **changes: object) -> Rig:
    """A two-pickup rig with its second channel changed."""
    first, other = rig.channels
    return replace(rig, channels=(first, replace(other, **changes)))  # type: ignore[arg-type]


def as_string_take(rig: Rig) -> Rig:
    return replace(rig, take=Take("string"))
