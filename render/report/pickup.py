"""What measurements say of a pickup, for people, programs and the rig file."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from presolder.models.instrument.controls import Load
from presolder.models.instrument.quantities import format_code, format_quantity
from presolder.models.measuring.coil import Coil, coil_response
from presolder.render.report.table import Block, Table, lines_of, shows_itself

# Past this the model does not describe the coil, or the values are only guesses.
_MISFIT_DB, _UNSURE = 1.0, 0.1
_CAUTION = (
    "Measure with the guitar unplugged from any amplifier, into a recording input only;"
    " feed the exciter coil quietly."
)


@shows_itself
@dataclass(frozen=True, eq=False)
class PickupReport:
    """A pickup's values and how sure they are.

    Attributes
    ----------
    coil : Coil
    responses : int
        How many responses were fitted; 0 if two resonance readings were given.
    """

    coil: Coil
    responses: int = 0

    def blocks(self) -> tuple[Block, ...]:
        """Values with their errors, doubts, and lines for a rig file."""
        coil, pickup = self.coil, self.coil.pickup
        because = "standard error" if self.responses else "if a reading is 1 % off"
        rows = [
            (
                "inductance",
                format_quantity(pickup.inductance_henries, "henry"),
                f"±{100 * coil.inductance_error:.1f} % {because}",
            ),
            (
                "capacitance",
                format_quantity(pickup.capacitance_farads, "farad"),
                f"±{100 * coil.capacitance_error:.1f} %",
            ),
        ]
        if self.responses:
            rows.append(("misfit", f"{coil.misfit_db:.2f} dB RMS", "between measurement and model"))
        found = Table(("of the pickup", "value", "error"), tuple(rows), words=3)
        return (found, *self._doubts(), "", "For the rig file:", "", *self.toml(), "", _CAUTION)

    def _doubts(self) -> list[str]:
        coil, doubts = self.coil, []
        if self.responses and coil.misfit_db > _MISFIT_DB:
            doubts.append(
                "The model does not describe this measurement well; check the exciter and the"
                " meter's values."
            )
        if self.responses == 1 and max(coil.inductance_error, coil.capacitance_error) > _UNSURE:
            doubts.append(
                "One response fixes little more than L times C: measure again with a known"
                " capacitor across the pickup, and give both."
            )
        return doubts

    def toml(self) -> list[str]:
        """The pickup's section of a rig file."""
        pickup = self.coil.pickup
        lines = [
            "[pickup]",
            f'resistance = "{format_quantity(pickup.resistance_ohms, "ohm")}"',
            f'inductance = "{format_quantity(pickup.inductance_henries, "henry")}"',
            f'capacitance = "{format_quantity(pickup.capacitance_farads, "farad")}"',
        ]
        if pickup.eddy_ohms is not None:
            lines.append(f'eddy = "{format_code(float(f"{pickup.eddy_ohms:.2g}"), "ohm")}"')
        return lines

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        pickup = self.coil.pickup
        hz = np.geomspace(500.0, 30_000.0, 20_001)
        free = np.abs(coil_response(pickup, hz, Load()))
        return {
            "resistance_ohms": pickup.resistance_ohms,
            "inductance_henries": pickup.inductance_henries,
            "capacitance_farads": pickup.capacitance_farads,
            "eddy_ohms": pickup.eddy_ohms,
            "inductance_error": self.coil.inductance_error,
            "capacitance_error": self.coil.capacitance_error,
            "misfit_db": self.coil.misfit_db,
            "unloaded_resonance_hz": round(float(hz[np.argmax(free)]), 1),
        }
