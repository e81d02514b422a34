"""The parts of a control chain: pickup, pots, tone control, and the input it feeds."""

import math
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from presolder.models.errors import InputError
from presolder.models.instrument.law import BENT_TAPERS, DIAL_MAX, Taper
from presolder.models.instrument.quantities import (
    format_quantity,
    require_component,
    require_within,
)
from presolder.models.instrument.stage import Stage

ToneWiring = Literal["modern", "fifties"]
TONE_WIRINGS: tuple[ToneWiring, ...] = get_args(ToneWiring)

# A hard strum on an ordinary pickup; common practice, no source.
TYPICAL_OUTPUT_VOLTS = 0.15
LEAST_OUTPUT_VOLTS, MOST_OUTPUT_VOLTS = 1e-3, 5.0


def require_dial(name: str, dial: float) -> None:
    """Refuse a dial position outside 0-10 (or not a number).

    Raises
    ------
    InputError
        Naming the value and the accepted range.
    """
    if not 0 <= dial <= DIAL_MAX:
        raise InputError(f"{name} = {dial:g} must lie between 0 and 10")


def require_turned_up(name: str, dial: float) -> None:
    """Refuse a dial position outside 0-10 (or not a number), and 0, where all is silent.

    Raises
    ------
    InputError
        Naming the value and the accepted range.
    """
    if not 0 < dial <= DIAL_MAX:
        raise InputError(f"{name}: {dial:g} must lie above 0 and up to 10")


def require_output(volts: float) -> None:
    """Refuse an output that no pickup has.

    Raises
    ------
    InputError
        Naming the value and the accepted range.
    """
    if not LEAST_OUTPUT_VOLTS <= volts <= MOST_OUTPUT_VOLTS:
        raise InputError(
            f"output = {format_quantity(volts, 'volt')} must lie between"
            f" {format_quantity(LEAST_OUTPUT_VOLTS, 'volt')} and"
            f" {format_quantity(MOST_OUTPUT_VOLTS, 'volt')}"
        )


@dataclass(frozen=True)
class Pickup:
    """A coil: EMF, winding resistance and inductance, with its own capacitance.

    Attributes
    ----------
    resistance_ohms, inductance_henries, capacitance_farads : float
        Winding values; the inductance is what there is at low frequencies, the
        capacitance lies from the pickup's output to ground.
    eddy_ohms : float or None
        Resistance across the inductance that stands for eddy-current loss.
    leakage_henries : float
        The part of the inductance that eddy currents do not act on: it is in
        series with the rest and the eddy resistance, which lie in parallel.
    output_volts : float
        Peak of its EMF in the loudest second of ordinary playing; what a
        circuit that it feeds is driven by.
    from_bridge_metres : float or None
        Where it sits along the strings; counts for takes of one string only.
    """

    resistance_ohms: float
    inductance_henries: float
    capacitance_farads: float = 0.0
    eddy_ohms: float | None = None
    leakage_henries: float = 0.0
    output_volts: float = TYPICAL_OUTPUT_VOLTS
    from_bridge_metres: float | None = None

    def __post_init__(self) -> None:
        if self.from_bridge_metres is not None:
            require_within([("from_bridge", 1e3 * self.from_bridge_metres, 2.0, 500.0)], "mm")
        require_component("resistance", self.resistance_ohms, "ohm")
        require_component("inductance", self.inductance_henries, "henry")
        require_component("capacitance", self.capacitance_farads, "farad", zero_ok=True)
        if self.eddy_ohms is not None:
            require_component("eddy", self.eddy_ohms, "ohm")
        self._require_leakage()
        require_output(self.output_volts)

    def _require_leakage(self) -> None:
        require_component("leakage", self.leakage_henries, "henry", zero_ok=True)
        if self.leakage_henries and self.eddy_ohms is None:
            raise InputError("leakage is given without eddy; without eddy loss it is no part")
        if self.leakage_henries >= self.inductance_henries:
            raise InputError(
                f"leakage = {format_quantity(self.leakage_henries, 'henry')} must be less than the"
                f" inductance, {format_quantity(self.inductance_henries, 'henry')}, which it is"
                " part of"
            )

    def wound(self, factor: float) -> "Pickup":
        """The same coil with all of its inductance changed by a factor."""
        return replace(
            self,
            inductance_henries=self.inductance_henries * factor,
            leakage_henries=self.leakage_henries * factor,
        )

    def __str__(self) -> str:
        eddy = f", eddy {format_quantity(self.eddy_ohms, 'ohm')}" if self.eddy_ohms else ""
        if self.leakage_henries:
            eddy += f", leakage {format_quantity(self.leakage_henries, 'henry')}"
        return (
            f"{format_quantity(self.resistance_ohms, 'ohm')},"
            f" {format_quantity(self.inductance_henries, 'henry')},"
            f" {format_quantity(self.capacitance_farads, 'farad')}{eddy}"
        )


@dataclass(frozen=True)
class Pot:
    """A potentiometer: total resistance in ohms and taper."""

    resistance_ohms: float
    taper: Taper = field(default_factory=Taper)

    def __post_init__(self) -> None:
        require_component("resistance", self.resistance_ohms, "ohm")

    def __str__(self) -> str:
        bend = f" ({self.taper.midpoint:g} at half)" if self.taper.kind in BENT_TAPERS else ""
        return f"{format_quantity(self.resistance_ohms, 'ohm')} {self.taper.kind}{bend}"


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
    no_load : bool
        Whether its track ends before dial 10, so that nothing is connected there.
    """

    pot: Pot
    capacitance_farads: float
    dial: float = DIAL_MAX
    wiring: ToneWiring = "modern"
    no_load: bool = False

    def __post_init__(self) -> None:
        require_component("capacitance", self.capacitance_farads, "farad")
        require_dial("dial", self.dial)
        if self.wiring not in TONE_WIRINGS:
            raise InputError(f'wiring = {self.wiring!r} must be "modern" or "fifties"')

    @property
    def connected(self) -> bool:
        """Whether it does anything where its knob stands."""
        return not (self.no_load and self.dial == DIAL_MAX)

    def __str__(self) -> str:
        no_load = ", no load at 10" if self.no_load else ""
        return (
            f"{self.pot}, {format_quantity(self.capacitance_farads, 'farad')},"
            f" dial {self.dial:g}, {self.wiring} wiring{no_load}"
        )


@dataclass(frozen=True)
class Load:
    """The input that the cable feeds.

    Attributes
    ----------
    resistance_ohms : float
        Infinite for none.
    capacitance_farads : float
    stage : Stage or None
        A circuit there, whose input comes on top.
    """

    resistance_ohms: float = math.inf
    capacitance_farads: float = 0.0
    stage: Stage | None = None

    def __post_init__(self) -> None:
        if self.resistance_ohms != math.inf:
            require_component("resistance", self.resistance_ohms, "ohm")
        require_component("capacitance", self.capacitance_farads, "farad", zero_ok=True)

    def __str__(self) -> str:
        if self.stage is not None:
            return f"the circuit {self.stage}"
        return (
            f"{format_quantity(self.resistance_ohms, 'ohm')},"
            f" {format_quantity(self.capacitance_farads, 'farad')}"
        )
