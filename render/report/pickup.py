"""What measurements say of a pickup, for people, programs and the rig file."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from presolder.models.circuit.coil import coil_response
from presolder.models.instrument.controls import TYPICAL_OUTPUT_VOLTS, Load, Pickup
from presolder.models.instrument.plausible import doubts
from presolder.models.instrument.quantities import format_code, format_quantity
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.coil import UNSEEN_RESPONSE_DB, Coil
from presolder.render.report.numbers import rounded_level
from presolder.render.report.table import Block, Table, lines_of, shows_itself

# Past this the model does not describe the coil, or the values are only guesses.
_MISFIT_DB, _UNSURE, _HOPELESS = 1.0, 0.1, 1.0
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
    rig : Rig or None
        The whole rig as fitted, if its controls were connected.
    """

    coil: Coil
    responses: int = 0
    rig: Rig | None = None

    def blocks(self) -> tuple[Block, ...]:
        """Values with their errors, doubts, and lines for a rig file."""
        coil = self.coil
        rows = [
            row
            for name, each in zip(self._names(), coil.coils, strict=True)
            for row in (
                (
                    f"inductance{name}",
                    format_quantity(each.inductance_henries, "henry"),
                    _error_text(coil.inductance_error, " 19 times of 20"),
                ),
                (
                    f"capacitance{name}",
                    format_quantity(each.capacitance_farads, "farad"),
                    _error_text(coil.capacitance_error),
                ),
            )
        ]
        if self.responses:
            between = (
                "between measurement and model"
                if self.responses == 1
                else "between measurement and model, of one response less another"
            )
            rows.append(("misfit", f"{coil.misfit_db:.2f} dB RMS", between))
        found = Table(("of the pickup", "value", "error"), tuple(rows), words=3)
        return (found, *self._doubts(), "", "For the rig file:", "", *self.toml(), "", _CAUTION)

    @property
    def odd(self) -> tuple[str, ...]:
        """Which of the values pickups do not have, in sentences."""
        coils = self.coil.coils
        return doubts(
            ("winding resistance", sum(coil.resistance_ohms for coil in coils)),
            ("pickup inductance", sum(coil.inductance_henries for coil in coils)),
            ("winding capacitance", min(coil.capacitance_farads for coil in coils)),
        )

    def _doubts(self) -> list[str]:
        coil, said = self.coil, list(self.odd)
        if not self.responses:
            said.append(
                "Two readings do not show the losses, which shift both: the response may be"
                f" {UNSEEN_RESPONSE_DB:g} dB off near its peak. To narrow it, record two whole"
                " responses, one with a known capacitor across the pickup."
            )
        if self.responses and coil.misfit_db > _MISFIT_DB:
            said.append(
                "The model does not describe this measurement well; check the exciter and the"
                " meter's values."
            )
        if coil.second is not None:
            said.append(
                "No one coil fits, and two in series do, each with a capacitance of its own, as far"
                " as these responses go. A coil that moved between them looks the same: measure"
                " again, and see whether the answer stays. How much of the strings each coil hears"
                " they do not show: half, here."
            )
        elif self.responses and max(coil.inductance_error, coil.capacitance_error) > _UNSURE:
            said.append(
                "One response fixes little more than L times C: measure again with a known"
                " capacitor across the pickup, and give both."
                if self.responses == 1
                else "Of inductance, capacitance and eddy loss the responses settle some only"
                " together: the curve can be trusted further than each value by itself."
            )
        return said

    def toml(self) -> list[str]:
        """The sections of a rig file that were found."""
        if self.coil.second is None:
            return ["[pickup]", *_values(self.coil.pickup), *self._controls()]
        output = f'output = "{1e3 * TYPICAL_OUTPUT_VOLTS / 2:g} mV"'
        first, second = ([*_values(coil), output] for coil in self.coil.coils)
        return ["# Instead of [pickup]:", "[pickups.own.a]", *first, "", "[pickups.own.b]", *second]

    def _names(self) -> tuple[str, ...]:
        return ("",) if self.coil.second is None else (" of one coil", " of the other")

    def _controls(self) -> list[str]:
        """What the fit says of pots and cable, as changes to what the rig file has."""
        if self.rig is None:
            return []
        first, lines = self.rig.first, []
        volume = format_quantity(first.volume.resistance_ohms, "ohm")
        lines += ["", "[volume]", f'resistance = "{volume}"']
        if first.tone is not None:
            pot = format_quantity(first.tone.pot.resistance_ohms, "ohm")
            farads = format_quantity(first.tone.capacitance_farads, "farad")
            lines += ["", "[tone]", f'resistance = "{pot}"', f'capacitance = "{farads}"']
        if self.rig.cable_farads:
            farads = format_quantity(self.rig.cable_farads, "farad")
            lines += ["", "[cable]", f'capacitance = "{farads}"']
        return lines

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        rig = self.rig
        hz = np.geomspace(500.0, 30_000.0, 20_001)
        free = np.abs(np.sum([coil_response(coil, hz, Load()) for coil in self.coil.coils], axis=0))
        return {
            **_plain_coil(self.coil.pickup),
            "inductance_error": rounded_level(self.coil.inductance_error),
            "capacitance_error": rounded_level(self.coil.capacitance_error),
            "misfit_db": self.coil.misfit_db,
            "second_coil": None if self.coil.second is None else _plain_coil(self.coil.second),
            "unloaded_resonance_hz": round(float(hz[np.argmax(free)]), 1),
            "volume_ohms": None if rig is None else rig.volume.resistance_ohms,
            "cable_farads": None if rig is None else rig.cable_farads,
            "odd": list(self.odd),
        }


def _values(coil: Pickup) -> list[str]:
    """A coil's lines in a rig file."""
    lines = [
        f'resistance = "{format_quantity(coil.resistance_ohms, "ohm")}"',
        f'inductance = "{format_quantity(coil.inductance_henries, "henry")}"',
        f'capacitance = "{format_quantity(coil.capacitance_farads, "farad")}"',
    ]
    if coil.eddy_ohms is not None:
        lines.append(f'eddy = "{format_code(float(f"{coil.eddy_ohms:.3g}"), "ohm")}"')
    if coil.leakage_henries:
        lines.append(f'leakage = "{format_quantity(coil.leakage_henries, "henry")}"')
    return lines


def _plain_coil(coil: Pickup) -> dict[str, float | None]:
    return {
        "resistance_ohms": coil.resistance_ohms,
        "inductance_henries": coil.inductance_henries,
        "capacitance_farads": coil.capacitance_farads,
        "eddy_ohms": coil.eddy_ohms,
        "leakage_henries": coil.leakage_henries,
    }


def _error_text(error: float, often: str = "") -> str:
    if error >= _HOPELESS:
        return "not settled by this measurement"
    return f"±{100 * error:.1f} %{often}"
