"""At which dial each design's dirt turns clean: for people, programs and tables."""

import csv
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TextIO

import numpy as np

from presolder.models.instrument.dirt import AnyDirt, Dirt
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.played import Out, Played, by_strength
from presolder.models.judging.ranking import Scored
from presolder.models.judging.tones import TONES_HZ, TOUCHES_DB, Cleanup, clean_dial
from presolder.models.typing import Array
from presolder.render import plots
from presolder.render.report.figures import marks_explained, marks_of
from presolder.render.report.judged import conditions_plain, judged_by
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
    "played_distortion_percent",
    "played_level_db",
    "played_brightness_db",
)
CLEANS = (
    "Best first: most like an ideal knob, which turns the strings down and nothing else (the same"
    " order as compare has for who cleans up dirt). Clean: less than a tenth of what is played is"
    " distortion. Edge left: treble over body there, against 10. Uneven: by how much the steps from"
    " dial to dial differ."
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
    ear : Ear
        The rig into the dirt, and what is heard.
    tone_hz : float
    designs : tuple of Design
    figures : tuple of Cleanup
        Of tones, in the designs' order.
    out : Out
        Of playing, in the designs' order, beside an ideal knob.
    scored : tuple of Scored
        In the designs' order, by what comes out.
    order : tuple of int
        Indices of designs, the nearest to an ideal knob first.
    """

    ear: Ear
    tone_hz: float
    designs: tuple[Design, ...]
    figures: tuple[Cleanup, ...]
    out: Out
    scored: tuple[Scored, ...]
    order: tuple[int, ...]

    @property
    def rig(self) -> Rig:
        """The guitar."""
        return self.ear.rig

    @property
    def dirt(self) -> AnyDirt:
        """What it feeds."""
        assert self.ear.dirt is not None
        return self.ear.dirt

    @property
    def played(self) -> tuple[Played, ...]:
        """Figures of playing, in the designs' order."""
        return self.out.figures

    @property
    def driven(self) -> str:
        """What it is driven by, in words."""
        if isinstance(self.dirt, Dirt):
            return f"{self.dirt.drive_db:g} dB past its knee"
        return f"{1e3 * self.rig.volts_into(self.dirt):.3g} mV of EMF at the loudest"

    def by_strength(
        self, strengths_db: Array, progress: Callable[[int], None] = lambda _: None
    ) -> Array:
        """Distortion of playing by how much harder the strings are picked.

        Parameters
        ----------
        strengths_db : ndarray, shape (s,)
        progress : callable, optional
            Called with the dials done since the last call.

        Returns
        -------
        ndarray, shape (n, s, d)
            Of each design, at the dials that were played.
        """
        dial = self.played[0].dial
        return by_strength(self.ear, self.designs, dial, np.asarray(strengths_db), progress)

    @property
    def title(self) -> str:
        """What is driven how, for a plot."""
        return f"{self.rig.name} into {self.dirt.kind}, {self.driven}"

    def blocks(self) -> tuple[Block, ...]:
        """Where tones and playing turn clean, and what edge is left; the nearest to ideal first."""
        rows: list[tuple[str, ...]] = [
            ("ideal knob", "", "", *_played_cells(self.out.ideal_figures), "", "")
        ]
        for index in self.order:
            one = self.scored[index]
            rows.append(
                (
                    self.designs[index].name,
                    *(_at(dial) for dial in _clean_dials(self.figures[index])),
                    *_played_cells(self.played[index]),
                    f"{one.score_db:.2f}",
                    ", ".join(marks_of(one)),
                )
            )
        table = Table(
            (
                "design", f"{self.tone_hz:g} Hz 10 %", "3 %", "playing", "edge left", "uneven",
                "score", "mark",
            ),
            tuple(rows),
        )  # fmt: skip
        return (
            table,
            CLEANS,
            *marks_explained(self.scored),
            *judged_by((self.ear,)),
            self._driven(),
        )

    def _driven(self) -> str:
        return f"Driven {self.driven}, by the RMS of the loudest second at 10."

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
            "take": self.ear.conditions.material.name,
            "judged_by": conditions_plain(self.ear),
            "order": [self.designs[index].name for index in self.order],
            "ideal": _played_plain(self.out.ideal_figures),
            "designs": [
                _design_plain(design, figure)
                | {
                    "played": _played_plain(under),
                    "score_db": round(one.score_db, 4),
                    "spoilt": list(one.spoilt),
                }
                for design, figure, under, one in zip(
                    self.designs, self.figures, self.played, self.scored, strict=True
                )
            ],
        }

    def records(self) -> Iterator[dict[str, Any]]:
        """A row per design and dial; what was not played there, or never turns clean, is None."""
        for design, figure, under in zip(self.designs, self.figures, self.played, strict=True):
            clean = _clean_dials(figure)
            told = np.stack([100 * under.distortion, under.level_db, under.brightness_db], axis=1)
            heard = dict(zip(under.dial.tolist(), told.tolist(), strict=True))
            for i, dial in enumerate(figure.dial):
                numbers = 100 * figure.thd[i], figure.level_db[i], figure.treble_db[i]
                played = heard.get(round(float(dial), 9), (None,) * 3)
                row = (design.name, dial, *numbers, *clean, *played)
                yield dict(zip(COLUMNS, row, strict=True))

    def to_frame(self) -> Any:  # noqa: ANN401
        """The rows as a `pandas.DataFrame`."""
        return frame_of(self.records())

    def write_csv(self, file: TextIO) -> None:
        """Write one row per design and dial; what is None is left empty."""
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for row in self.records():
            design, dial, thd, level_db, treble_db, *rest = row.values()
            numbers = f"{dial:g}", f"{thd:.4f}", f"{level_db:.3f}", f"{treble_db:.3f}"
            ends = ("" if one is None else f"{one:.3f}" for one in rest)
            writer.writerow((plain_cell(design), *numbers, *ends))

    def plot(self, axes: Any) -> None:  # noqa: ANN401
        """Draw what playing leaves of distortion over the dial on axes of one's own."""
        plots.draw_played(axes, self.designs, self.played)


def _played_cells(under: Played) -> tuple[str, str, str]:
    """Where playing turns clean, what edge is left there, and how even the way there is."""
    return (
        _at(under.clean_dial), f"{under.edge_left_db:+.0f} dB", f"{under.unevenness_db:.1f} dB"
    )  # fmt: skip


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
            for touch, rows in zip(TOUCHES_DB, figure.tones_thd, strict=False)
            for hz, thd in zip(TONES_HZ, rows, strict=True)
        ],
    }
