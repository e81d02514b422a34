"""A whole guitar: its pickups, its switch, and how it is set up in each situation."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pot, Tone, require_dial
from presolder.models.instrument.law import DIAL_MAX, Taper
from presolder.models.instrument.onward import Buffer, Pedal, Volume
from presolder.models.instrument.player import Player
from presolder.models.instrument.rig import Capture, Channel, Rig, VolumeWiring
from presolder.models.instrument.source import CoilsInParallel, Source, Wound, coils_of

MASTER, PEDAL = "master", "pedal"
_MOST_WEIGHT = 1000.0
Knob = TypeVar("Knob", Channel, Volume)


@dataclass(frozen=True)
class Own:
    """A pickup's own volume, and its tone if it has one."""

    volume: Volume
    tone: Tone | None = None


@dataclass(frozen=True)
class Blend:
    """A dual pot that fades between two pickups.

    Each gang has a pickup at its wiper and the output at its input lug, so
    that what is turned off does not short the other out. Its track is straight
    and ends in the middle: common practice, no source.

    Attributes
    ----------
    ohms : float
        Of each gang.
    between : tuple of str
        The pickup that is alone at 0, and the one at 10; both are full on at 5.
    dial : float
    """

    ohms: float
    between: tuple[str, str]
    dial: float = 5.0

    def __post_init__(self) -> None:
        require_dial("dial", self.dial)

    def own(self, pickup: str) -> Own:
        """What it is to one of its pickups: a volume that stands somewhere."""
        stands = DIAL_MAX - self.dial if pickup == self.between[0] else self.dial
        return Own(Volume(Pot(self.ohms, Taper("blend")), None, stands))


@dataclass(frozen=True)
class Instrument:
    """Everything there is, whatever is switched on.

    Attributes
    ----------
    positions : mapping of str to Source
        What each position of the switch puts on; one if there is no switch.
    own : mapping of str to Own
        By pickup; empty if all share one volume.
    master : Volume or None
        After those, or the only one.
    tone : Tone or None
        Shared by all.
    blend : Blend or None
    volume_wiring : {"lug", "independent"}
    buffer, cable_farads, pedal, load, player, name, title
        As of a `Rig`.
    turns : str
        Whose volume is the knob under audition, unless `at` is told otherwise; see there.
    """

    positions: Mapping[str, Source]
    own: Mapping[str, Own]
    master: Volume | None = None
    tone: Tone | None = None
    blend: Blend | None = None
    volume_wiring: VolumeWiring = "lug"
    buffer: Buffer | None = None
    cable_farads: float = 0.0
    pedal: Pedal | None = None
    load: Load = field(default_factory=Load)
    player: Player = field(default_factory=Player)
    name: str = "rig"
    title: str = ""
    turns: str = ""

    def at(self, position: str, turns: str = "") -> Rig:
        """The rig as it is with the switch at a position.

        Parameters
        ----------
        position : str
        turns : str
            Whose volume is the knob under audition: a pickup's name,
            ``"master"`` or ``"pedal"``; by default as the instrument says, or
            the master, or else that of the first pickup that is on.

        Returns
        -------
        Rig
            Its takes are EMF.

        Raises
        ------
        InputError
            If there is no such position or volume, or pickups that are wired
            otherwise than side by side have volumes of their own.
        """
        if position not in self.positions:
            raise InputError(
                f"switch = {position!r}: must be one of {', '.join(map(repr, self.positions))}"
            )
        parts = tuple(self._channels(self.positions[position]))
        names = [name for name, _ in parts]
        # The only volume there is stands in the channel's place.
        master = None if self._only_volume else self.master
        pedal = self.pedal
        onward = ((MASTER, master), (PEDAL, pedal))
        known = [*names, *(name for name, one in onward if one is not None)]
        turned = turns or self.turns or (names[0] if master is None else MASTER)
        if turned not in known:
            raise InputError(f"turns = {turned!r}: must be one of {', '.join(map(repr, known))}")
        channels = tuple(_standing(one, name == turned) for name, one in parts)
        return Rig(
            channels,
            self.cable_farads,
            self.load,
            Capture("string"),
            volume_wiring="independent" if self.blend is not None else self.volume_wiring,
            name=self.name,
            title=self.title,
            player=self.player,
            master=None if master is None else _standing(master, turned == MASTER),
            tone=None if self._only_volume else self.tone,
            position=position,
            behind_switch=self._only_volume and len(self.positions) > 1,
            blend_dial=None if self.blend is None else self.blend.dial,
            buffer=self.buffer,
            pedal=None
            if pedal is None
            else replace(pedal, volume=_standing(pedal.volume, turned == PEDAL)),
        )

    def with_tone_at(self, dial: float) -> "Instrument":
        """The same with every tone knob at a dial.

        Raises
        ------
        InputError
            If there is none, or the dial is out of range; so the next two.
        """
        require_dial("tone_dial", dial)
        own = {
            name: replace(one, tone=None if one.tone is None else replace(one.tone, dial=dial))
            for name, one in self.own.items()
        }
        tone = None if self.tone is None else replace(self.tone, dial=dial)
        if tone is None and not any(one.tone for one in own.values()):
            raise InputError(f"tone_dial = {dial:g}, but the rig has no tone control")
        return replace(self, own=own, tone=tone)

    def with_blend_at(self, dial: float) -> "Instrument":
        """The same with the blend pot at a dial."""
        require_dial("blend_dial", dial)
        if self.blend is None:
            raise InputError(f"blend_dial = {dial:g}, but the rig has no [blend]")
        return replace(self, blend=replace(self.blend, dial=dial))

    def with_pedal_at(self, dial: float) -> "Instrument":
        """The same with the volume pedal at a dial."""
        require_dial("pedal_dial", dial)
        if self.pedal is None:
            raise InputError(f"pedal_dial = {dial:g}, but the rig has no [pedal]")
        volume = replace(self.pedal.volume, held_at=dial)
        return replace(self, pedal=replace(self.pedal, volume=volume))

    @property
    def _only_volume(self) -> bool:
        return not self.own and self.blend is None

    def _channels(self, source: Source) -> Iterator[tuple[str, Channel]]:
        """What is on, by the volume that it goes through."""
        if self._only_volume:
            assert self.master is not None
            volume = self.master
            yield MASTER, _channel(source, volume, self.tone)
            return
        parts = source.parts if isinstance(source, CoilsInParallel) else (source,)
        for part in parts:
            pickups = {coil.name.partition(".")[0] for coil in coils_of(part)}
            name = min(pickups)
            own = self.own.get(name)
            if self.blend is not None and name in self.blend.between:
                own = self.blend.own(name)
            if len(pickups) > 1 or own is None:
                raise InputError(
                    f"{part}: pickups with a volume each, or on a blend pot, can only be wired"
                    " side by side, with ||"
                )
            yield name, _channel(part, own.volume, own.tone)


def _channel(source: Source, volume: Volume, tone: Tone | None) -> Channel:
    share = 1.0
    if isinstance(source, Wound):
        share = source.share
        source = source.pickup
    return Channel(source, volume.volume, tone, volume.bypass, volume.held_at, share)


def _standing(one: Knob, turned: bool) -> Knob:
    """A volume as it is while another is turned, or turned with the design under audition."""
    return replace(one, held_at=None, bypass="auditioned") if turned else one


@dataclass(frozen=True)
class Situation:
    """One of the ways in which a guitar is used.

    Attributes
    ----------
    name : str
    rig : Rig
        The guitar in this situation.
    weight : float
        How much it counts beside the others.
    """

    name: str
    rig: Rig
    weight: float = 1.0

    def __post_init__(self) -> None:
        if not 0 < self.weight <= _MOST_WEIGHT:
            raise InputError(
                f"weight = {self.weight:g} must lie above 0 and up to {_MOST_WEIGHT:g}"
            )


def find_situation(situations: Sequence[Situation], name: str) -> Situation:
    """The one of this name.

    Raises
    ------
    InputError
        If there is none.
    """
    for one in situations:
        if one.name == name:
            return one
    if len(situations) == 1:
        raise InputError(f"situation {name!r} is not in the rig, which has no situations")
    known = ", ".join(repr(one.name) for one in situations)
    raise InputError(f"situation {name!r} is not in the rig; one of {known}")
