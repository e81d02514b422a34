"""Which values each kind of part has, and what a slip of a power of ten was meant to be.

Ranges are common practice, no source.
"""

from dataclasses import dataclass
from typing import Literal

from presolder.models.errors import ImplausibleValueError
from presolder.models.instrument.network import Capacitor, Gang, Network, Resistor, leaves
from presolder.models.instrument.quantities import Unit, format_code, format_quantity

Kind = Literal[
    "winding resistance", "pickup inductance", "leakage inductance", "winding capacitance",
    "eddy resistance", "volume pot", "volume pedal", "tone pot", "tone capacitor",
    "cable capacitance", "cable length", "cable capacitance a metre", "input resistance",
    "input capacitance", "bypass resistor", "bypass capacitor", "second gang",
]  # fmt: skip


@dataclass(frozen=True)
class Usual:
    """The values of a kind of part.

    Attributes
    ----------
    unit : {"ohm", "farad", "henry", "m", "pF/m"}
    low, high : float
        What is usual.
    least, most : float
        Past these it cannot be meant.
    """

    unit: Unit | Literal["m", "pF/m"]
    low: float
    high: float
    least: float
    most: float

    def text(self, value: float) -> str:
        """A value as one would write it."""
        match self.unit:
            case "ohm" | "farad":
                return format_code(value, self.unit)
            case "henry":
                return format_quantity(value, self.unit)
            case _:
                return f"{value:.3g} {self.unit}"

    def spoken(self, value: float) -> str:
        """A value for people."""
        match self.unit:
            case "ohm" | "farad" | "henry":
                return format_quantity(value, self.unit)
            case _:
                return f"{value:g} {self.unit}"

    @property
    def range(self) -> str:
        """What is usual, in words."""
        return f"{self.spoken(self.low)} to {self.spoken(self.high)}"


USUAL: dict[Kind, Usual] = {
    "winding resistance": Usual("ohm", 1e3, 30e3, 30.0, 300e3),
    "pickup inductance": Usual("henry", 0.5, 15.0, 0.02, 100.0),
    "leakage inductance": Usual("henry", 0.05, 12.0, 1e-3, 100.0),
    "winding capacitance": Usual("farad", 20e-12, 600e-12, 0.5e-12, 20e-9),
    "eddy resistance": Usual("ohm", 8e3, 10e6, 200.0, 1e9),
    "volume pot": Usual("ohm", 50e3, 1.5e6, 2e3, 20e6),
    "volume pedal": Usual("ohm", 10e3, 1e6, 1e3, 20e6),
    "tone pot": Usual("ohm", 50e3, 1.5e6, 2e3, 20e6),
    "tone capacitor": Usual("farad", 1e-9, 220e-9, 20e-12, 5e-6),
    "cable capacitance": Usual("farad", 20e-12, 5e-9, 0.5e-12, 100e-9),
    "cable length": Usual("m", 0.1, 30.0, 0.01, 150.0),
    "cable capacitance a metre": Usual("pF/m", 40.0, 400.0, 4.0, 4000.0),
    "input resistance": Usual("ohm", 5e3, 50e6, 300.0, 1e10),
    "input capacitance": Usual("farad", 1e-12, 2e-9, 0.05e-12, 100e-9),
    "bypass resistor": Usual("ohm", 1e3, 5e6, 20.0, 200e6),
    "bypass capacitor": Usual("farad", 20e-12, 47e-9, 0.5e-12, 2e-6),
    "second gang": Usual("ohm", 10e3, 2e6, 1e3, 20e6),
}
# Slips, the likelier first: a prefix left out or another one, then a figure too many.
_SLIPS = (3, -3, 6, -6, 9, -9, 12, -12, 1, -1, 2, -2)
# Of lengths: centimetres, then a figure too many.
_LENGTH_SLIPS = (-2, 2, -1, 1, -3, 3)


def meant(kind: Kind, value: float) -> float | None:
    """The usual value that a slip of a power of ten makes of this one, if any."""
    usual = USUAL[kind]
    slips = _LENGTH_SLIPS if usual.unit in {"m", "pF/m"} else _SLIPS
    slipped = (value * 10.0**power for power in slips)
    return next((v for v in slipped if usual.low <= v <= usual.high), None)


def oddity(kind: Kind, value: float) -> str | None:
    """What is odd about a value, in words; None if nothing is.

    Raises
    ------
    ImplausibleValueError
        If the value cannot be meant.
    """
    usual = USUAL[kind]
    if usual.low <= value <= usual.high or value == 0:
        return None
    likely = meant(kind, value)
    asked = "" if likely is None else f"; did you mean {usual.text(float(f'{likely:.6g}'))}?"
    if usual.least <= value <= usual.most:
        return f"{usual.spoken(value)} is odd for a {kind}, usual are {usual.range}{asked}"
    raise ImplausibleValueError(
        f"{usual.spoken(value)} cannot be a {kind}, usual are {usual.range}{asked}"
    )


def doubts(*measured: tuple[Kind, float | None]) -> tuple[str, ...]:
    """What is odd about values that were measured, a sentence each; of None, nothing.

    A slip in a reading makes them odd, so they are told and not refused.
    """
    found = []
    for kind, value in measured:
        if value is None:
            continue
        try:
            # In as many figures as a reading has.
            odd = oddity(kind, float(f"{value:.3g}"))
        except ImplausibleValueError as error:
            odd = str(error)
        if odd is not None:
            found.append(odd if odd.endswith("?") else f"{odd}.")
    return tuple(found)


def oddities(network: Network | None) -> tuple[str, ...]:
    """What is odd about the fixed parts of a bypass.

    Raises
    ------
    ImplausibleValueError
        If a value cannot be meant.
    """
    found = []
    for leaf in leaves(network) if network is not None else ():
        match leaf:
            case Capacitor(farads):
                found.append(oddity("bypass capacitor", farads))
            case Gang(ohms):
                found.append(oddity("second gang", ohms))
            case Resistor(ohms):
                found.append(oddity("bypass resistor", ohms))
    return tuple(odd for odd in found if odd is not None)
