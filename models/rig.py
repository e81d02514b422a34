"""The control chain as described by its owner: pickup, pots, cable, input, take."""

import math
from dataclasses import dataclass, field
from typing import Literal, get_args

from presolder.models.errors import InputError
from presolder.models.network import Network
from presolder.models.quantities import require_component
from presolder.models.taper import DIAL_MAX, Taper

DirtKind = Literal["smooth", "diodes", "lopsided", "fuzz"]
DIRT_KINDS: tuple[DirtKind, ...] = get_args(DirtKind)
VolumeWiring = Literal["lug", "independent"]
VOLUME_WIRINGS: tuple[VolumeWiring, ...] = get_args(VolumeWiring)
LARGEST_DRIVE_DB = 60.0


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
class Dirt:
    """A clipping stage and how hard it is driven.

    Attributes
    ----------
    kind : {"smooth", "diodes", "lopsided", "fuzz"}
        ``smooth``: a symmetric saturator, tanh. ``diodes``: an antiparallel
        diode pair behind a resistor. ``lopsided``: a biased tanh, with even
        harmonics. ``fuzz``: the same curve at a low-impedance input, where the
        guitar becomes part of the circuit.
    drive_db : float
        By how much the loudest second of the take, at dial 10, goes past the
        knee; 0 to 60.
    pre_hz, post_hz : float
        Corners of the high-pass before and the low-pass after the curve.
    level_db : float
        Output level.
    """

    kind: DirtKind = "smooth"
    drive_db: float = 20.0
    pre_hz: float = 120.0
    post_hz: float = 5500.0
    level_db: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in DIRT_KINDS:
            raise InputError(f"dirt kind {self.kind!r} is unknown; one of {', '.join(DIRT_KINDS)}")
        for name, value, low, high in (
            ("drive", self.drive_db, 0.0, LARGEST_DRIVE_DB),
            ("pre_hz", self.pre_hz, 1.0, 2000.0),
            ("post_hz", self.post_hz, 1000.0, 20_000.0),
            ("level_db", self.level_db, -60.0, 60.0),
        ):
            if not low <= value <= high:
                raise InputError(f"{name} = {value:g} must lie between {low:g} and {high:g}")

    @property
    def load(self) -> Load:
        """What the stage's input puts on the guitar; common practice, no source."""
        match self.kind:
            case "smooth":
                return Load(1e6, 30e-12)
            case "diodes":
                return Load(500e3, 50e-12)
            case "lopsided":
                return Load(220e3, 100e-12)
            case "fuzz":
                return Load(10e3, 100e-12)


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
class Second:
    """A second pickup with a volume of its own, joined by the switch in its middle position.

    Attributes
    ----------
    pickup : Pickup
    volume : Pot
    tone : Tone or None
    dial : float or None
        Where its volume stands; None if both knobs are turned together.
    network : Network, None or "same"
        Its own bypass; "same" if it gets the one under audition too.
    strength : float
        Its EMF over the first pickup's. Both follow the same string: what
        differs by their places along it is not modelled.
    """

    pickup: Pickup
    volume: Pot
    tone: Tone | None = None
    dial: float | None = DIAL_MAX
    network: Network | Literal["same"] | None = "same"
    strength: float = 1.0

    def __post_init__(self) -> None:
        if self.dial is not None:
            require_dial("dial", self.dial)
        if not 0 <= self.strength <= 100:
            raise InputError(f"strength = {self.strength:g} must lie between 0 and 100")

    def fitted(self, auditioned: Network | None) -> Network | None:
        """The bypass across its volume pot, given the one under audition."""
        return auditioned if self.network == "same" else self.network


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
    dirt : Dirt or None
        A clipping stage to listen through; its input then replaces `load`.
    second : Second or None
        A second pickup that is on as well.
    volume_wiring : {"lug", "independent"}
        The pickup at the input lug and the output at the wiper; or the other
        way round, so that one volume at 0 does not silence the other pickup.
    name, title : str
        For people and file names.
    """

    pickup: Pickup
    volume: Pot
    tone: Tone | None = None
    cable_farads: float = 0.0
    load: Load = field(default_factory=Load)
    take: Take = field(default_factory=Take)
    dirt: Dirt | None = None
    second: Second | None = None
    volume_wiring: VolumeWiring = "lug"
    name: str = "rig"
    title: str = ""

    def __post_init__(self) -> None:
        require_component("cable", self.cable_farads, "farad", zero_ok=True)
        if self.volume_wiring not in VOLUME_WIRINGS:
            raise InputError(
                f"wiring = {self.volume_wiring!r} must be one of {', '.join(VOLUME_WIRINGS)}"
            )
        if self.take.tone_dial is not None and self.tone is None:
            raise InputError("tone_dial is given for the take, but the rig has no [tone]")
