"""The control chain as described by its owner: pickup, pots, cable, input, take."""

import math
from dataclasses import dataclass, field
from typing import Literal

from presolder.models.errors import InputError
from presolder.models.network import Network
from presolder.models.quantities import require_component
from presolder.models.taper import DIAL_MAX, Taper


def require_dial(name: str, dial: float) -> None:
    """Refuse a dial position outside 0-10 (or not a number).

    Raises
    ------
    InputError
        Naming the value and the accepted range.
    """
    if not 0 <= dial <= DIAL_MAX:
        raise InputError(f"{name} = {dial:g} must lie between 0 and 10")


@dataclass(frozen=True)
class Pickup:
    """A coil: EMF, winding resistance and inductance, with its own capacitance.

    Attributes
    ----------
    resistance_ohms, inductance_henries, capacitance_farads : float
        Winding values; the capacitance lies from the pickup's output to ground.
    eddy_ohms : float or None
        Resistance across the inductance that stands for eddy-current loss.
    """

    resistance_ohms: float
    inductance_henries: float
    capacitance_farads: float = 0.0
    eddy_ohms: float | None = None

    def __post_init__(self) -> None:
        require_component("resistance", self.resistance_ohms, "ohm")
        require_component("inductance", self.inductance_henries, "henry")
        require_component("capacitance", self.capacitance_farads, "farad", zero_ok=True)
        if self.eddy_ohms is not None:
            require_component("eddy", self.eddy_ohms, "ohm")


@dataclass(frozen=True)
class Pot:
    """A potentiometer: total resistance in ohms and taper."""

    resistance_ohms: float
    taper: Taper = field(default_factory=Taper)

    def __post_init__(self) -> None:
        require_component("resistance", self.resistance_ohms, "ohm")


@dataclass(frozen=True)
class Tone:
    """A tone control: pot as rheostat in series with a capacitor, to ground.

    Attributes
    ----------
    pot : Pot
        At dial 10 all of its resistance is in series, at dial 0 none.
    capacitance_farads : float
        The tone capacitor.
    dial : float
        Where the tone knob stands, 0-10.
    wiring : {"modern", "fifties"}
        Connected to the volume pot's input lug, or to its wiper.
    """

    pot: Pot
    capacitance_farads: float
    dial: float = 10.0
    wiring: Literal["modern", "fifties"] = "modern"

    def __post_init__(self) -> None:
        require_component("capacitance", self.capacitance_farads, "farad")
        require_dial("dial", self.dial)
        if self.wiring not in ("modern", "fifties"):
            raise InputError(f'wiring = {self.wiring!r} must be "modern" or "fifties"')


@dataclass(frozen=True)
class Load:
    """The input that the cable feeds: resistance (infinite for none) and capacitance."""

    resistance_ohms: float = math.inf
    capacitance_farads: float = 0.0

    def __post_init__(self) -> None:
        if self.resistance_ohms != math.inf:
            require_component("resistance", self.resistance_ohms, "ohm")
        require_component("capacitance", self.capacitance_farads, "farad", zero_ok=True)


@dataclass(frozen=True)
class Take:
    """How the recording was made.

    Attributes
    ----------
    captured : {"jack", "string"}
        ``jack``: the file already went through this instrument's chain.
        ``string``: the file is the pickup's raw EMF.
    cable_farads, input_ohms, input_farads, tone_dial : float or None
        What differed from the rig during the take; None means as in the rig.
    volume_dial : float
        Where the volume stood during the take.
    network : Network or None
        The bypass network fitted during the take.
    """

    captured: Literal["jack", "string"] = "jack"
    cable_farads: float | None = None
    input_ohms: float | None = None
    input_farads: float | None = None
    volume_dial: float = DIAL_MAX
    tone_dial: float | None = None
    network: Network | None = None

    def __post_init__(self) -> None:
        if self.captured not in ("jack", "string"):
            raise InputError(f'captured = {self.captured!r} must be "jack" or "string"')
        require_dial("volume_dial", self.volume_dial)
        if self.volume_dial == 0:
            raise InputError("volume_dial = 0 would have recorded silence; it must be above 0")
        if self.tone_dial is not None:
            require_dial("tone_dial", self.tone_dial)
        if self.cable_farads is not None:
            require_component("cable", self.cable_farads, "farad", zero_ok=True)
        if self.input_farads is not None:
            require_component("input_capacitance", self.input_farads, "farad", zero_ok=True)
        if self.input_ohms is not None and self.input_ohms != math.inf:
            require_component("input_resistance", self.input_ohms, "ohm")


@dataclass(frozen=True)
class Rig:
    """Everything between the string and the first active stage.

    Attributes
    ----------
    pickup : Pickup
    volume : Pot
    tone : Tone or None
    cable_farads : float
        Capacitance of the whole cable.
    load : Load
    take : Take
    name, title : str
        For people and file names.
    """

    pickup: Pickup
    volume: Pot
    tone: Tone | None = None
    cable_farads: float = 0.0
    load: Load = field(default_factory=Load)
    take: Take = field(default_factory=Take)
    name: str = "rig"
    title: str = ""

    def __post_init__(self) -> None:
        require_component("cable", self.cable_farads, "farad", zero_ok=True)
        if self.take.tone_dial is not None and self.tone is None:
            raise InputError("tone_dial is given for the take, but the rig has no [tone]")
