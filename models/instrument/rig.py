"""The whole instrument: channels, cable, the input it feeds, and how its takes were made."""

from dataclasses import dataclass, field, replace
from html import escape
from typing import Literal, get_args

from presolder.models.decibels import amplitude
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot, Tone, require_dial
from presolder.models.instrument.dirt import AnyDirt, load_of
from presolder.models.instrument.network import Network
from presolder.models.instrument.player import Player
from presolder.models.instrument.quantities import format_quantity, require_component
from presolder.models.instrument.stage import Stage
from presolder.models.instrument.taper import DIAL_MAX

VolumeWiring = Literal["lug", "independent"]
VOLUME_WIRINGS: tuple[VolumeWiring, ...] = get_args(VolumeWiring)
Captured = Literal["jack", "string"]
CAPTURED: tuple[Captured, ...] = get_args(Captured)
MOST_CHANNELS = 2


@dataclass(frozen=True)
class Channel:
    """One pickup with a volume of its own, and what hangs on it.

    Attributes
    ----------
    pickup : Pickup
    volume : Pot
    tone : Tone or None
    bypass : Network, None or "auditioned"
        Across the volume pot: the design under audition, or one of its own.
    held_at : float or None
        Where its volume stands; None if it follows the knob under audition.
    strength : float
        Its EMF over the first channel's; below 0 if it is out of phase with
        it. All follow the same string: what differs by their places along it
        is not modelled.
    """

    pickup: Pickup
    volume: Pot
    tone: Tone | None = None
    bypass: Network | Literal["auditioned"] | None = "auditioned"
    held_at: float | None = None
    strength: float = 1.0

    def __post_init__(self) -> None:
        if self.held_at is not None:
            require_dial("dial", self.held_at)
        if not -100 <= self.strength <= 100:
            raise InputError(f"strength = {self.strength:g} must lie between -100 and 100")

    @property
    def auditioned(self) -> bool:
        """Whether it gets the design under audition."""
        return self.bypass == "auditioned"

    def fitted(self, network: Network | None) -> Network | None:
        """The bypass across its volume pot, given the one under audition."""
        return network if self.bypass == "auditioned" else self.bypass


@dataclass(frozen=True)
class Take:
    """How a recording was made.

    Attributes
    ----------
    captured : {"jack", "string"}
        ``jack``: the file already went through an instrument's chain.
        ``string``: the file is the pickup's raw EMF.
    rig : Rig or None
        For a jack take, the instrument as it stood during the recording. A
        rig made with a jack take of None fills itself in; from then on the
        take stays as it is, whatever is changed about the rig.
    dial : float
        Where the volume stood.
    network : Network or None
        The bypass fitted during the take.
    """

    captured: Captured = "jack"
    rig: "Rig | None" = None
    dial: float = DIAL_MAX
    network: Network | None = None

    def __post_init__(self) -> None:
        if self.captured not in CAPTURED:
            raise InputError(f'captured = {self.captured!r} must be "jack" or "string"')
        require_dial("volume_dial", self.dial)
        if self.dial == 0:
            raise InputError("volume_dial = 0 would have recorded silence; it must be above 0")


@dataclass(frozen=True)
class Rig:
    """Everything between the string and the first active stage.

    Attributes
    ----------
    channels : tuple of Channel
        One, or two that are on together; the first one's knob is turned.
    cable_farads : float
        Capacitance of the whole cable.
    load : Load
        The input at the cable's end.
    take : Take
        How takes of it were made; the default is at its jack, at dial 10.
    dirt : Dirt, Stage or None
        A clipping curve or circuit to listen through; its input then replaces `load`.
    volume_wiring : {"lug", "independent"}
        The pickup at the input lug and the output at the wiper; or the other
        way round, so that one volume at 0 does not silence the other pickup.
    name, title : str
        For people and file names.
    player : Player
        What is done with the knob.
    """

    channels: tuple[Channel, ...]
    cable_farads: float = 0.0
    load: Load = field(default_factory=Load)
    take: Take = field(default_factory=Take)
    dirt: AnyDirt | None = None
    volume_wiring: VolumeWiring = "lug"
    name: str = "rig"
    title: str = ""
    player: Player = field(default_factory=Player)

    def __post_init__(self) -> None:
        if not 1 <= len(self.channels) <= MOST_CHANNELS:
            raise InputError(f"a rig has 1 to {MOST_CHANNELS} channels, not {len(self.channels)}")
        if self.channels[0].held_at is not None or not self.channels[0].auditioned:
            raise InputError("the first channel follows the knob and gets the auditioned bypass")
        require_component("cable", self.cable_farads, "farad", zero_ok=True)
        if self.volume_wiring not in VOLUME_WIRINGS:
            raise InputError(
                f"wiring = {self.volume_wiring!r} must be one of {', '.join(VOLUME_WIRINGS)}"
            )
        if self.take.captured == "jack" and self.take.rig is None:
            as_it_stands = replace(self, take=Take("string"), dirt=None)
            object.__setattr__(self, "take", replace(self.take, rig=as_it_stands))

    @property
    def first(self) -> Channel:
        """The channel whose knob is turned."""
        return self.channels[0]

    @property
    def as_recorded(self) -> "Rig":
        """The instrument as it stood during its takes; as it is, for string takes."""
        return self.take.rig or self

    @property
    def as_heard(self) -> "Rig":
        """The instrument as it is listened to: with dirt, it feeds the dirt's input."""
        return self if self.dirt is None else self.feeding(load_of(self.dirt))

    def volts_into(self, stage: Stage) -> float:
        """Peak of the first pickup's EMF in the loudest second, played with a stage's touch."""
        return self.first.pickup.output_volts * amplitude(stage.touch_db)

    def with_first(self, channel: Channel) -> "Rig":
        """The rig with another first channel."""
        return replace(self, channels=(channel, *self.channels[1:]))

    def feeding(self, load: Load) -> "Rig":
        """The rig into another input."""
        return replace(self, load=load)

    def rows(self) -> list[tuple[str, str]]:
        """Its values, section by section, for people."""
        independent = ", independent wiring" if self.volume_wiring == "independent" else ""
        rows = [("pickup", str(self.first.pickup)), ("volume", f"{self.first.volume}{independent}")]
        if self.first.tone is not None:
            rows.append(("tone", str(self.first.tone)))
        for other in self.channels[1:]:
            held = other.held_at
            stands = "turned together with the first" if held is None else f"at {held:g}"
            rows.append(("second", f"pickup {other.pickup}"))
            rows.append(("", f"volume {other.volume}, {stands}"))
            if other.tone is not None:
                rows.append(("", f"tone {other.tone}"))
        rows.append(("cable", format_quantity(self.cable_farads, "farad")))
        rows.append(("input", str(self.load)))
        if self.dirt is not None:
            rows.append(("dirt", f"{self.dirt.kind}, whose input is {load_of(self.dirt)}"))
        rows.append(("take", f"captured at the {self.take.captured}"))
        rows.append(("player", str(self.player)))
        return rows

    def __str__(self) -> str:
        head = f"{self.name}: {self.title}" if self.title else self.name
        return "\n".join([head, *(f"    {name:8}{value}" for name, value in self.rows())])

    def _repr_html_(self) -> str:
        """For a notebook: a small table."""
        rows = "".join(
            f"<tr><th>{escape(name)}</th><td>{escape(value)}</td></tr>"
            for name, value in self.rows()
        )
        return f"<table><caption>{escape(self.title or self.name)}</caption>{rows}</table>"
