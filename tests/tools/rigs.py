"""Short ways to describe rigs in tests."""

from dataclasses import replace

from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.law import Taper
from presolder.models.instrument.rig import Capture, Channel, Rig
from presolder.render.files.rig_file import find_rig


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
    return replace(rig, take=Capture("string"))


def other_rigs() -> dict[str, Rig]:
    """Beside the built-in ones: what they have not."""
    base, two = find_rig("humbucker-500k"), find_rig("two-pickups")
    first, tone = base.first, base.first.tone
    assert tone is not None
    law = Taper("measured", points=((2.0, 0.03), (5.0, 0.17), (8.0, 0.52)))
    leaky = replace(first.pickup, leakage_henries=0.2 * first.pickup.inductance_henries)
    other = two.channels[1]
    return {
        "fifties": base.with_first(replace(first, tone=replace(tone, wiring="fifties"))),
        "measured taper": base.with_first(replace(first, volume=replace(first.volume, taper=law))),
        "no tone control": base.with_first(replace(first, tone=None)),
        "leakage": base.with_first(replace(first, pickup=leaky)),
        "independent": replace(base, volume_wiring="independent"),
        "other knob at 5": replace(two, channels=(two.channels[0], replace(other, held_at=5.0))),
    }
