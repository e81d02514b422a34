"""What was found of a cable, for people, programs and the rig file."""

from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.plausible import doubts
from presolder.models.instrument.quantities import format_quantity
from presolder.models.measuring.jack import Cable
from presolder.render.report.table import Block, lines_of, shows_itself


@shows_itself
@dataclass(frozen=True)
class CableReport:
    """A cable's capacitance and how sure it is.

    Attributes
    ----------
    cable : Cable
    measured : bool
        Whether it was measured, or is only typical of its kind and length.
    rig : str
        Which guitar it was measured with.
    """

    cable: Cable
    measured: bool
    rig: str = ""

    def blocks(self) -> tuple[Block, ...]:
        """The value, and lines for a rig file."""
        cable = self.cable
        value = format_quantity(float(f"{cable.farads:.3g}"), "farad")
        because = "19 times of 20" if self.measured else "as cables of its kind stray"
        said = f"cable: {value}, ±{100 * cable.error:.0f} % {because}"
        if cable.metres is not None:
            said += f"; {cable.farads * 1e12 / cable.metres:.0f} pF a metre"
        if self.rig:
            said += f"; measured with rig {self.rig}"
        if not self.measured:
            said += "; to know, measure it"
        return (said, *self.odd, "", "For the rig file:", "", *self.toml())

    @property
    def odd(self) -> tuple[str, ...]:
        """Whether cables are so long, or have so much, in sentences."""
        return doubts(("cable capacitance", self.cable.farads), ("cable length", self.cable.metres))

    def toml(self) -> list[str]:
        """The cable's section of a rig file."""
        value = format_quantity(float(f"{self.cable.farads:.3g}"), "farad")
        return ["[cable]", f'capacitance = "{value}"']

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "capacitance_farads": self.cable.farads,
            "error": round(self.cable.error, 4),
            "length_m": self.cable.metres,
            "measured": self.measured,
            "rig": self.rig or None,
            "odd": list(self.odd),
        }
