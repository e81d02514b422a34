"""At which dial each design's dirt turns clean: for people, programs and tables."""

import csv
from dataclasses import asdict, dataclass
from typing import Any, TextIO

from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.cleanup import Cleanup, clean_dial
from presolder.render.report.table import Block, Table, lines_of, shows_itself

COLUMNS = (
    "design",
    "dial",
    "thd_percent",
    "level_db",
    "treble_db",
    "clean_below_10_percent",
    "clean_below_3_percent",
)
_THRESHOLDS = (0.10, 0.03)


def _clean_dials(figure: Cleanup) -> list[float | None]:
    return [clean_dial(figure, threshold) for threshold in _THRESHOLDS]


@shows_itself
@dataclass(frozen=True, eq=False)
class CleanupReport:
    """Distortion of a reference tone over the dial, one figure a design.

    Attributes
    ----------
    rig : Rig
    dirt : Dirt
    tone_hz : float
    designs : tuple of Design
    figures : tuple of Cleanup
        In the designs' order.
    """

    rig: Rig
    dirt: Dirt
    tone_hz: float
    designs: tuple[Design, ...]
    figures: tuple[Cleanup, ...]

    @property
    def title(self) -> str:
        """What is driven how, for a plot."""
        return (
            f"{self.rig.name}, {self.dirt.kind} at {self.dirt.drive_db:g} dB, {self.tone_hz:g} Hz"
        )

    def blocks(self) -> tuple[Block, ...]:
        """The dial at which distortion falls through 10 % and 3 %."""
        rows = tuple(
            (
                design.name,
                *("never" if d is None else f"at {d:.1f}" for d in _clean_dials(figure)),
            )
            for design, figure in zip(self.designs, self.figures, strict=True)
        )
        return (Table(("design", "10 %", "clean (3 %)"), rows), f"Rig: {self.rig.name}")

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "rig": self.rig.name,
            "dirt": asdict(self.dirt),
            "tone_hz": self.tone_hz,
            "designs": [
                _design_plain(design, figure)
                for design, figure in zip(self.designs, self.figures, strict=True)
            ],
        }

    def write_csv(self, file: TextIO) -> None:
        """Write one row per design and dial; a threshold never met is left empty."""
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for design, figure in zip(self.designs, self.figures, strict=True):
            clean = ["" if dial is None else f"{dial:.2f}" for dial in _clean_dials(figure)]
            for i, dial in enumerate(figure.dial):
                numbers = f"{100 * figure.thd[i]:.4f}", f"{figure.level_db[i]:.3f}"
                writer.writerow(
                    (design.name, f"{dial:g}", *numbers, f"{figure.treble_db[i]:.3f}", *clean)
                )


def _design_plain(design: Design, figure: Cleanup) -> dict[str, Any]:
    ten, three = _clean_dials(figure)
    return {
        "design": design.name,
        "expression": format_network(design.network) or None,
        "clean_below_10_percent_dial": ten,
        "clean_below_3_percent_dial": three,
        "dials": [round(float(dial), 4) for dial in figure.dial],
        "thd_percent": [round(100 * float(thd), 4) for thd in figure.thd],
        "level_db": [round(float(level), 4) for level in figure.level_db],
        "treble_db": [round(float(treble), 4) for treble in figure.treble_db],
    }
