"""At which dial each design's dirt turns clean: for people, programs and tables."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TextIO

from presolder.models.instrument.dirt import AnyDirt, Dirt
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.played import Played, cleaning_order
from presolder.models.judging.tones import TONES_HZ, TOUCHES_DB, Cleanup, clean_dial
from presolder.render import plots
from presolder.render.report.numbers import finite, rounded
from presolder.render.report.rigs import dirt_plain
from presolder.render.report.table import (
    Block,
    Table,
    frame_of,
    lines_of,
    plain_cell,
    shows_itself,
)

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


def _at(dial: float | None) -> str:
    return "never" if dial is None else f"at {dial:.1f}"


@shows_itself
@dataclass(frozen=True, eq=False)
class CleanupReport:
    """Distortion of tones and of playing over the dial, one figure a design.

    Attributes
    ----------
    rig : Rig
    dirt : Dirt or Stage
    tone_hz : float
    designs : tuple of Design
    figures : tuple of Cleanup
        Of tones, in the designs' order.
    take : str
        What was played.
    played : tuple of Played
        Of playing, in the designs' order.
    """

    rig: Rig
    dirt: AnyDirt
    tone_hz: float
    designs: tuple[Design, ...]
    figures: tuple[Cleanup, ...]
    take: str
    played: tuple[Played, ...]

    @property
    def driven(self) -> str:
        """What it is driven by, in words."""
        if isinstance(self.dirt, Dirt):
            return f"{self.dirt.drive_db:g} dB past its knee"
        return f"{1e3 * self.rig.volts_into(self.dirt):.3g} mV of EMF at the loudest"

    @property
    def title(self) -> str:
        """What is driven how, for a plot."""
        return f"{self.rig.name} into {self.dirt.kind}, {self.driven}"

    def blocks(self) -> tuple[Block, ...]:
        """In cleaning order: where tones and playing turn clean, and what edge is left."""
        rows = []
        for index in cleaning_order(self.played):
            under = self.played[index]
            rows.append(
                (
                    self.designs[index].name,
                    *(_at(dial) for dial in _clean_dials(self.figures[index])),
                    _at(under.clean_dial),
                    f"{under.edge_left_db:+.0f} dB",
                    f"{under.unevenness_db:.1f} dB",
                )
            )
        table = Table(
            ("design", f"{self.tone_hz:g} Hz 10 %", "3 %", "playing", "edge left", "uneven"),
            tuple(rows),
        )
        said = (
            f"Rig: {self.rig.name}, into {self.dirt.kind}, {self.driven}; played: {self.take}."
            " First what cleans earliest under playing (a tenth of it unrelated to the strings), to"
            " the nearest half of a number; among equals what keeps more edge."
        )
        return (table, said)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "rig": self.rig.name,
            "dirt": dirt_plain(self.dirt),
            "pickup_output_volts": self.rig.output_volts,
            "tone_hz": self.tone_hz,
            "take": self.take,
            "order": [self.designs[index].name for index in cleaning_order(self.played)],
            "designs": [
                _design_plain(design, figure) | {"played": _played_plain(under)}
                for design, figure, under in zip(
                    self.designs, self.figures, self.played, strict=True
                )
            ],
        }

    def records(self) -> Iterator[dict[str, Any]]:
        """A row per design and dial; a threshold never met is None."""
        for design, figure in zip(self.designs, self.figures, strict=True):
            clean = _clean_dials(figure)
            for i, dial in enumerate(figure.dial):
                numbers = 100 * figure.thd[i], figure.level_db[i], figure.treble_db[i]
                yield dict(zip(COLUMNS, (design.name, dial, *numbers, *clean), strict=True))

    def to_frame(self) -> Any:  # noqa: ANN401
        """The rows as a `pandas.DataFrame`."""
        return frame_of(self.records())

    def write_csv(self, file: TextIO) -> None:
        """Write one row per design and dial; a threshold never met is left empty."""
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for row in self.records():
            design, dial, thd, level_db, treble_db, *clean = row.values()
            numbers = f"{dial:g}", f"{thd:.4f}", f"{level_db:.3f}", f"{treble_db:.3f}"
            ends = ("" if at is None else f"{at:.3f}" for at in clean)
            writer.writerow((plain_cell(design), *numbers, *ends))

    def plot(self, axes: Any) -> None:  # noqa: ANN401
        """Draw what playing leaves of distortion over the dial on axes of one's own."""
        plots.draw_played(axes, self.designs, self.played)


def _played_plain(under: Played) -> dict[str, Any]:
    return {
        "clean_below_10_percent_dial": rounded(under.clean_dial),
        "edge_left_db": round(under.edge_left_db, 2),
        "unevenness_db": round(under.unevenness_db, 2),
        "dials": finite(under.dial),
        "distortion_percent": finite(100 * under.distortion),
        "level_db": finite(under.level_db),
        "brightness_db": finite(under.brightness_db),
    }


def _design_plain(design: Design, figure: Cleanup) -> dict[str, Any]:
    ten, three = _clean_dials(figure)
    return {
        "design": design.name,
        "expression": format_network(design.network) or None,
        "clean_below_10_percent_dial": rounded(ten),
        "clean_below_3_percent_dial": rounded(three),
        "dials": finite(figure.dial),
        "thd_percent": finite(100 * figure.thd),
        "level_db": finite(figure.level_db),
        "treble_db": finite(figure.treble_db),
        "tones": [
            {"tone_hz": hz, "touch_db": touch, "thd_percent": finite(100 * thd)}
            for touch, rows in zip(TOUCHES_DB, figure.tones_thd, strict=True)
            for hz, thd in zip(TONES_HZ, rows, strict=True)
        ],
    }
