"""Whether a finished guitar does what was predicted, for people and programs."""

from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import Design
from presolder.models.instrument.quantities import format_quantity
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.third_octaves import BAND_HZ
from presolder.models.measuring.verify import Cause, Findings, in_figures, within_spread
from presolder.render.report.numbers import finite
from presolder.render.report.table import Block, Table, lines_of, shows_itself


def cause_text(cause: Cause) -> str:
    """A cause with the value found and the one described."""
    if cause.kind == "midpoint":
        return f"taper midpoint {cause.value:.2f} instead of {cause.nominal:g}"
    what = "cable" if cause.kind == "cable" else "capacitor"
    return (
        f"{what} {format_quantity(float(f'{cause.value:.2g}'), 'farad')}"
        f" instead of {format_quantity(cause.nominal, 'farad')}"
    )


@shows_itself
@dataclass(frozen=True, eq=False)
class VerifyReport:
    """What takes of a finished guitar say.

    Attributes
    ----------
    rig : Rig
    design : Design
        What was fitted.
    found : Findings
        The numbers.
    """

    rig: Rig
    design: Design
    found: Findings

    def blocks(self) -> tuple[Block, ...]:
        """The verdict, and level and treble as measured and as predicted."""
        found = self.found
        measured, predicted = in_figures(found.measured_db), in_figures(found.predicted_db)
        rows = tuple(
            (
                f"{dial:g}",
                *(f"{x[i]:.1f}" for x in (measured[0], predicted[0], measured[1], predicted[1])),
            )
            for i, dial in enumerate(found.dial)
        )
        head = ("dial", "level measured", "predicted", "treble measured", "predicted")
        return (
            *self._verdict(),
            "",
            Table(head, rows, words=0),
            "dB against the first take",
        )

    def _verdict(self) -> tuple[str, ...]:
        found = self.found
        best = found.causes[0]
        match found.verdict:
            case "fits":
                said = "It fits: the guitar does what was predicted."
                if not found.unseen:
                    return (said,)
                unseen = ", ".join(found.unseen)
                return (
                    said,
                    f"These takes would not show a wrong value of: {unseen}.{self._ask()}",
                )
            case "explained":
                return (f"It does not fit. {cause_text(best)} explains it, and nothing else does.",)
            case "undecided":
                rivals = "; ".join(cause_text(cause) for cause in found.causes[: found.rivals])
                return (
                    "It does not fit, and these takes cannot tell which of these is why:"
                    f" {rivals}.",
                    self._ask().strip()
                    or "No take at another dial would tell; measure one of these parts directly.",
                )
            case "unexplained":
                return (
                    "It does not fit, and no single value explains it; nearest:"
                    f" {cause_text(best)}. Check the wiring, the takes and the rig file.",
                )

    def _ask(self) -> str:
        if self.found.ask_dial is None:
            return ""
        return f" A take at dial {self.found.ask_dial:g} would tell."

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        found = self.found
        return {
            "rig": self.rig.name,
            "design": self.design.name,
            "verdict": found.verdict,
            "chi2": round(found.chi2, 3),
            "doubt_chi2": round(found.doubt_chi2, 3),
            "causes": [
                {
                    "parameter": cause.name,
                    "kind": cause.kind,
                    "described": cause.nominal,
                    "found": cause.value,
                    "chi2": round(cause.chi2, 3),
                    "within_usual_spread": within_spread(cause),
                }
                for cause in found.causes
            ],
            "rivals": found.rivals,
            "ask_dial": found.ask_dial,
            "unseen": list(found.unseen),
            "band_hz": [round(float(hz), 2) for hz in BAND_HZ],
            "takes": self._takes_plain(),
        }

    def _takes_plain(self) -> list[dict[str, Any]]:
        found = self.found
        measured, predicted = in_figures(found.measured_db), in_figures(found.predicted_db)
        return [
            {
                "dial": float(dial),
                "level_db": {
                    "measured": float(measured[0][i]),
                    "predicted": float(predicted[0][i]),
                },
                "treble_db": {
                    "measured": float(measured[1][i]),
                    "predicted": float(predicted[1][i]),
                },
                "bands_measured_db": finite(found.measured_db[i], 3),
                "bands_predicted_db": finite(found.predicted_db[i], 3),
            }
            for i, dial in enumerate(found.dial)
        ]
