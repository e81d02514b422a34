"""What lies between the pickups' controls and the input at the end of the cable."""

from dataclasses import dataclass
from typing import Literal, get_args

from presolder.models.errors import InputError
from presolder.models.instrument.controls import Pot, require_dial
from presolder.models.instrument.network import Network
from presolder.models.instrument.quantities import (
    format_quantity,
    require_component,
    require_within,
)

Auditioned = Literal["auditioned"]
BufferPlace = Literal["guitar", "cable"]
BUFFER_PLACES: tuple[BufferPlace, ...] = get_args(BufferPlace)
LARGEST_GAIN_DB = 40.0


@dataclass(frozen=True)
class Volume:
    """A volume pot that all the sound goes through: a master, or one in a pedal.

    Attributes
    ----------
    volume : Pot
    bypass : Network, None or "auditioned"
        Between its input lug and its wiper, as of a channel.
    held_at : float or None
        Where it stands; None if it follows the knob under audition.
    """

    volume: Pot
    bypass: Network | Auditioned | None = "auditioned"
    held_at: float | None = None

    def __post_init__(self) -> None:
        if self.held_at is not None:
            require_dial("dial", self.held_at)

    @property
    def auditioned(self) -> bool:
        """Whether it gets the design under audition."""
        return self.bypass == "auditioned"

    def fitted(self, network: Network | None) -> Network | None:
        """The bypass across it, given the one under audition."""
        return network if self.bypass == "auditioned" else self.bypass


@dataclass(frozen=True)
class Pedal:
    """A volume pedal, and the cable after it."""

    volume: Volume
    cable_farads: float = 0.0

    def __post_init__(self) -> None:
        require_component("cable", self.cable_farads, "farad", zero_ok=True)


@dataclass(frozen=True)
class Buffer:
    """A buffer or preamplifier; linear, and as wide as the sound.

    Attributes
    ----------
    place : {"guitar", "cable"}
        Before the cable, in the guitar, or at the cable's far end.
    input_ohms, input_farads, output_ohms : float
    gain_db : float
    """

    place: BufferPlace = "guitar"
    input_ohms: float = 1e6
    input_farads: float = 0.0
    output_ohms: float = 1e3
    gain_db: float = 0.0

    def __post_init__(self) -> None:
        if self.place not in BUFFER_PLACES:
            raise InputError(f"place = {self.place!r} must be one of {', '.join(BUFFER_PLACES)}")
        require_component("input_resistance", self.input_ohms, "ohm")
        require_component("input_capacitance", self.input_farads, "farad", zero_ok=True)
        require_component("output_resistance", self.output_ohms, "ohm")
        require_within([("gain_db", self.gain_db, -LARGEST_GAIN_DB, LARGEST_GAIN_DB)])

    def __str__(self) -> str:
        where = "in the guitar" if self.place == "guitar" else "after the cable"
        return (
            f"{where}, {format_quantity(self.input_ohms, 'ohm')} in,"
            f" {format_quantity(self.output_ohms, 'ohm')} out, {self.gain_db:+g} dB"
        )
