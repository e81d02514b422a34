"""The whole instrument: channels, cable, the input it feeds, and how its takes were made."""

from dataclasses import dataclass, field, replace
from html import escape
from typing import Literal, get_args

from presolder.models.decibels import amplitude
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot, Tone, require_dial
from presolder.models.instrument.dirt import AnyDirt, load_of
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import Network
from presolder.models.instrument.onward import Buffer, Pedal, Volume
from presolder.models.instrument.player import Player
from presolder.models.instrument.quantities import format_quantity, require_component
from presolder.models.instrument.source import Source, coils_of
from presolder.models.instrument.stage import Stage
from presolder.models.instrument.string import String

VolumeWiring = Literal["lug", "independent"]
VOLUME_WIRINGS: tuple[VolumeWiring, ...] = get_args(VolumeWiring)
Captured = Literal["jack", "string"]
CAPTURED: tuple[Captured, ...] = get_args(Captured)
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth")
MOST_CHANNELS = len(ORDINALS)


@dataclass(frozen=True)
class Channel:
    """Pickups with a volume of their own, and what hangs on it.

    Attributes
    ----------
    pickup : Pickup, or what several make together
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

    pickup: Source
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
class Capture:
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
    string : String or None
        If all of it is played on one string: then pickups differ by their
        places along it. None for any playing; then all have the same EMF.
    string_place_metres : float or None
        Of a string take on one string, how far from the bridge its pickup sat.
    """

    captured: Captured = "jack"
    rig: "Rig | None" = None
    dial: float = DIAL_MAX
    network: Network | None = None
    string: String | None = None
    string_place_metres: float | None = None

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
        Those that are on together, joined at their outputs.
    cable_farads : float
        Capacitance of the whole cable.
    load : Load
        The input at the cable's end.
    take : Capture
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
    master : Volume or None
        After the channels' own volumes, where the guitar has both.
    tone : Tone or None
        Where the channels join, for all of them: at the master's input lug, or
        at its wiper; one that belongs to a single channel is that one's.
    buffer : Buffer or None
    pedal : Pedal or None
        After the cable, and after a buffer there.
    position : str
        Where its switch stands; empty if it has none.
    behind_switch : bool
        Whether the switch lies before the first channel's volume, which all share.
    blend_dial : float or None
        Where the blend pot stands that two of its volumes are the gangs of, if it has one.
    """

    channels: tuple[Channel, ...]
    cable_farads: float = 0.0
    load: Load = field(default_factory=Load)
    take: Capture = field(default_factory=Capture)
    dirt: AnyDirt | None = None
    volume_wiring: VolumeWiring = "lug"
    name: str = "rig"
    title: str = ""
    player: Player = field(default_factory=Player)
    master: Volume | None = None
    tone: Tone | None = None
    buffer: Buffer | None = None
    pedal: Pedal | None = None
    position: str = ""
    behind_switch: bool = False
    blend_dial: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= len(self.channels) <= MOST_CHANNELS:
            raise InputError(f"a rig has 1 to {MOST_CHANNELS} channels, not {len(self.channels)}")
        if not any(one.held_at is None and one.auditioned for one in self.volumes):
            raise InputError("one volume must follow the knob and get the auditioned bypass")
        require_component("cable", self.cable_farads, "farad", zero_ok=True)
        if self.volume_wiring not in VOLUME_WIRINGS:
            raise InputError(
                f"wiring = {self.volume_wiring!r} must be one of {', '.join(VOLUME_WIRINGS)}"
            )
        if self.take.string is not None:
            for coil in (coil for one in self.channels for coil in coils_of(one.pickup)):
                if not isinstance(coil.pickup, Pickup) or coil.pickup.from_bridge_metres is None:
                    raise InputError(
                        "open_string: the take is of one string, so each pickup needs from_bridge,"
                        f" and {coil} has none"
                    )
        if self.take.captured == "jack" and self.take.rig is None:
            as_it_stands = replace(self, take=Capture("string", string=self.take.string), dirt=None)
            object.__setattr__(self, "take", replace(self.take, rig=as_it_stands))

    @property
    def first(self) -> Channel:
        """The first channel."""
        return self.channels[0]

    @property
    def volumes(self) -> tuple[Channel | Volume, ...]:
        """Every volume control, from the pickups onward."""
        pedal = None if self.pedal is None else self.pedal.volume
        return (*self.channels, *(one for one in (self.master, pedal) if one is not None))

    @property
    def knob(self) -> Channel | Volume:
        """The volume control under audition: the first that is turned and gets the design."""
        return next(one for one in self.volumes if one.held_at is None and one.auditioned)

    @property
    def volume(self) -> Pot:
        """The pot under audition."""
        return self.knob.volume

    @property
    def nearest_tone(self) -> Tone | None:
        """The tone control beside the knob under audition, or the one nearest to it."""
        own = self.knob.tone if isinstance(self.knob, Channel) else None
        return own or self.tone or self.first.tone

    @property
    def coil(self) -> Pickup:
        """The coil of the first channel.

        Raises
        ------
        InputError
            If it has several, or a piezo.
        """
        (first, *others) = coils_of(self.first.pickup)
        if others or not isinstance(first.pickup, Pickup):
            raise InputError(f"this needs a single coil, but {self.first.pickup} is on")
        return first.pickup

    @property
    def output_volts(self) -> float:
        """Of the first coil or piezo, which an EMF of 1 stands for."""
        first = coils_of(self.first.pickup)[0]
        return first.pickup.output_volts / abs(first.share * self.first.strength)

    @property
    def for_any_playing(self) -> "Rig":
        """The rig for takes that are not of one string."""
        if self.take.string is None:
            return self
        stood = None if self.take.rig is None else self.take.rig.for_any_playing
        take = replace(self.take, rig=stood, string=None, string_place_metres=None)
        return replace(self, take=take)

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
        return self.output_volts * amplitude(stage.touch_db)

    def with_first(self, channel: Channel) -> "Rig":
        """The rig with another first channel."""
        return replace(self, channels=(channel, *self.channels[1:]))

    def with_volume(self, pot: Pot) -> "Rig":
        """The rig with another pot under audition."""
        knob = self.knob
        return self.with_volumes(
            tuple(replace(one, volume=pot) if one is knob else one for one in self.volumes)
        )

    def with_volumes(self, volumes: tuple[Channel | Volume, ...]) -> "Rig":
        """The rig with all of its `volumes` replaced, in their order."""
        onward = iter(one for one in volumes if isinstance(one, Volume))
        return replace(
            self,
            channels=tuple(one for one in volumes if isinstance(one, Channel)),
            master=None if self.master is None else next(onward),
            pedal=None if self.pedal is None else replace(self.pedal, volume=next(onward)),
        )

    @property
    def volume_names(self) -> tuple[str, ...]:
        """What to call each of the `volumes` beside the others."""
        onward = (("master", self.master), ("pedal", self.pedal))
        named = [name for name, one in onward if one is not None]
        return (*ORDINALS[: len(self.channels)], *named)

    def with_tone(self, tone: Tone | None) -> "Rig":
        """The rig with its `nearest_tone` replaced."""
        knob = self.knob
        if not isinstance(knob, Channel) or knob.tone is None:
            if self.tone is not None:
                return replace(self, tone=tone)
            knob = self.first
        channels = (replace(one, tone=tone) if one is knob else one for one in self.channels)
        return replace(self, channels=tuple(channels))

    def feeding(self, load: Load) -> "Rig":
        """The rig into another input."""
        return replace(self, load=load)

    def rows(self) -> list[tuple[str, str]]:
        """Its values, section by section, for people."""
        switch = [("switch", f"at {self.position!r}")] if self.position else []
        independent = ", independent wiring" if self.volume_wiring == "independent" else ""
        first = self.first
        held = "" if first.held_at is None else f", at {first.held_at:g}"
        blended = self.blend_dial is not None
        turned = f"{first.volume}{independent}{held}"
        rows = [
            *switch,
            ("pickup", str(first.pickup)),
            ("blend", f"{first.volume}, at {self.blend_dial:g}") if blended else ("volume", turned),
        ]
        if first.tone is not None:
            rows.append(("tone", str(first.tone)))
        for ordinal, other in zip(ORDINALS[1:], self.channels[1:], strict=False):
            rows.append((ordinal, f"pickup {other.pickup}"))
            if not blended:
                rows.append(("", f"volume {other.volume}, {_stands(other)}"))
            if other.tone is not None:
                rows.append(("", f"tone {other.tone}"))
        rows += self._onward_rows()
        rows.append(("input", str(self.load)))
        if self.dirt is not None:
            rows.append(("dirt", f"{self.dirt.kind}, whose input is {load_of(self.dirt)}"))
        rows.append(("take", f"captured at the {self.take.captured}{self._emf_said()}"))
        rows.append(("player", str(self.player)))
        return rows

    def _emf_said(self) -> str:
        """What of the string several coils get."""
        if self.take.string is not None:
            return f", on one string of {self.take.string.open_hz:g} Hz"
        several = sum(len(coils_of(one.pickup)) for one in self.channels) > 1
        return "; all coils have the same EMF" if several else ""

    def _onward_rows(self) -> list[tuple[str, str]]:
        """What follows the channels, up to the input."""
        rows = []
        if self.tone is not None:
            rows.append(("tone", f"{self.tone}, for all"))
        if self.master is not None:
            rows.append(("master", f"{self.master.volume}, {_stands(self.master)}"))
        if self.buffer is not None:
            rows.append(("buffer", str(self.buffer)))
        rows.append(("cable", format_quantity(self.cable_farads, "farad")))
        if self.pedal is not None:
            volume = self.pedal.volume
            rows.append(("pedal", f"{volume.volume}, {_stands(volume)}"))
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


def _stands(one: Channel | Volume) -> str:
    """Where a volume stands, in words."""
    return "turned" if one.held_at is None else f"at {one.held_at:g}"
