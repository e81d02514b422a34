"""What designs do over the dial, with the spread of parts: for people, programs and tables."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TextIO

import numpy as np

from presolder.models.decibels import decibels
from presolder.models.hearing.change import NOTICED_DB
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import Character
from presolder.models.judging.ear import Ear
from presolder.models.judging.tolerance import TIGHTER, Builds, TighterCapacitor
from presolder.models.typing import Array, ComplexArray
from presolder.render import plots
from presolder.render.report.judged import conditions_plain, judged_by
from presolder.render.report.numbers import finite
from presolder.render.report.table import (
    Block,
    Table,
    fitting,
    frame_of,
    html_of,
    lines_of,
    plain_cell,
    shows_itself,
)

COLUMNS = ("design", "dial", "frequency_hz", "gain_db", "phase_deg")


@dataclass(frozen=True, eq=False)
class Ends:
    """What ears notice of the spread of a design's parts.

    Attributes
    ----------
    ear : Ear
        The conditions.
    largest_db : ndarray, shape (n,)
        By part, from `heard_ends`.
    tighter : TighterCapacitor or None
    """

    ear: Ear
    largest_db: Array
    tighter: TighterCapacitor | None


@shows_itself
@dataclass(frozen=True, eq=False)
class Curves:
    """Level and treble of designs over the dial, and their responses.

    Attributes
    ----------
    rig : Rig
    designs : tuple of Design
    dial : ndarray, shape (d,)
        Positions; at 0 the output is silent.
    frequency_hz : ndarray, shape (f,)
        Of the responses.
    response : ndarray of complex, shape (designs, d, f)
        Volts at the input per volt of the pickup's EMF.
    characters : tuple of Character
        Level and treble at those dials, one a design.
    builds : tuple of Builds or None
        What the spread of parts does, one a design, over the dials above 0.
    ends : tuple of Ends or None
        What ears notice of it, one a design.
    """

    rig: Rig
    designs: tuple[Design, ...]
    dial: Array
    frequency_hz: Array
    response: ComplexArray
    characters: tuple[Character, ...]
    builds: tuple[Builds, ...] | None = None
    ends: tuple[Ends, ...] | None = None

    def blocks(self) -> tuple[Block, ...]:
        """Level and treble at each dial above 0, against dial 10."""
        heard, curves = self.dial > 0, self.characters
        dials = self.dial[heard]
        drawn = self.builds or ()
        blocks: list[Block] = [
            "level at 500 Hz, dB (dial 10 is 0)",
            self._table(dials, [c.level_db[heard] for c in curves], [b.level_db for b in drawn]),
            "",
            "treble at 2-4 kHz against 500 Hz, dB (dial 10 is 0)",
            self._table(dials, [c.treble_db[heard] for c in curves], [b.treble_db for b in drawn]),
        ]
        for design, builds, ends in zip(self.designs, drawn, self.ends or (), strict=False):
            blocks += ["", *_what_matters(design, builds, ends)]
        if self.ends:
            return (*blocks, "", *judged_by((self.ends[0].ear,)))
        return (*blocks, f"Rig: {self.rig.name}")

    def _table(self, dials: Array, values: list[Array], drawn: list[Array]) -> Table:
        rows = []
        for i, design in enumerate(self.designs):
            cells = [f"{value:.1f}" for value in values[i]]
            if drawn:
                low, _, high = drawn[i]
                cells = [
                    f"{cell} ({a:.1f} to {b:.1f})"
                    for cell, a, b in zip(cells, low, high, strict=True)
                ]
            rows.append((design.name, *cells))
        return Table(("", *(f"at {dial:g}" for dial in dials)), tuple(rows))

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON; silence is None."""
        return {
            "rig": self.rig.name,
            "dials": finite(self.dial),
            "frequency_hz": [round(float(f), 6) for f in self.frequency_hz],
            "designs": [self._design_plain(i) for i in range(len(self.designs))],
        }

    def _design_plain(self, i: int) -> dict[str, Any]:
        design, curve, response = self.designs[i], self.characters[i], self.response[i]
        return {
            "design": design.name,
            "expression": format_network(design.network) or None,
            "level_db": finite(curve.level_db),
            "treble_db": finite(curve.treble_db),
            "gain_db": [finite(row) for row in decibels(response)],
            "phase_deg": [finite(row) for row in np.angle(response, deg=True)],
            "tolerance": (
                None
                if self.builds is None or self.ends is None
                else _builds_plain(self.builds[i], self.ends[i])
            ),
        }

    def records(self) -> Iterator[dict[str, Any]]:
        """A row per design, dial and frequency.

        Gain is from the pickup's EMF to the output, minus infinity where the output is
        exactly silent (dial 0); phase is in -180 to 180 degrees.
        """
        gain_db, phase_deg = decibels(self.response), np.angle(self.response, deg=True)
        for k, design in enumerate(self.designs):
            for i, dial in enumerate(self.dial):
                for j, frequency in enumerate(self.frequency_hz):
                    row = (design.name, dial, frequency, gain_db[k, i, j], phase_deg[k, i, j])
                    yield dict(zip(COLUMNS, row, strict=True))

    def to_frame(self) -> Any:  # noqa: ANN401
        """The rows as a `pandas.DataFrame`."""
        return frame_of(self.records())

    def write_csv(self, file: TextIO) -> None:
        """Write the transfer functions, a row per design, dial and frequency."""
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for row in self.records():
            design, dial, frequency, gain_db, phase_deg = row.values()
            numbers = f"{dial:g}", f"{frequency:.10g}", f"{gain_db:.6f}", f"{phase_deg:.6f}"
            writer.writerow((plain_cell(design), *numbers))

    def plot(self, axes: Any, dial: float = 7.0) -> None:  # noqa: ANN401
        """Draw the responses at a dial on axes of one's own.

        Parameters
        ----------
        axes : matplotlib.axes.Axes
        dial : float
            Above 0.
        """
        plots.draw_response(axes, self.rig, self.designs, dial)

    def _repr_html_(self) -> str:
        """For a notebook: the plot, as far as it has room for the dials, then the tables."""
        drawing = io.StringIO()
        shown = self.dial[self.dial > 0][: plots.MOST_PANELS]
        plots.plot_curves(drawing, self.rig, self.designs, shown)
        return fitting(drawing.getvalue()) + html_of(self.blocks())


def _what_matters(design: Design, builds: Builds, ends: Ends) -> Iterator[Block]:
    yield f"{design.name}: what makes two builds differ"
    order = np.argsort(-builds.treble_share, kind="stable")
    rows = tuple(
        (
            builds.parts[i].name,
            f"{100 * builds.level_share[i]:.0f} %",
            f"{100 * builds.treble_share[i]:.0f} %",
            f"{ends.largest_db[i]:.1f} dB",
            "yes" if ends.largest_db[i] >= NOTICED_DB else "no",
        )
        for i in order
    )
    yield Table(("part", "of the level", "of the treble", "alone at most", "heard"), rows)
    tighter = ends.tighter
    if tighter is not None:
        now, then = f"{tighter.now_db:.1f} dB", f"{tighter.then_db:.1f} dB"
        if tighter.now_db < NOTICED_DB:
            yield (
                f"The spread of the capacitor is not heard ({now} at most);"
                f" a {100 * TIGHTER:g} % one is not worth paying for."
            )
        else:
            yield (
                f"A {100 * TIGHTER:g} % capacitor moves the sound by {then} instead of {now};"
                f" {'worth it' if tighter.worth_it else 'not worth paying for'}."
            )


def _builds_plain(builds: Builds, ends: Ends) -> dict[str, Any]:
    tighter = ends.tighter
    percentiles = ("p5", "p50", "p95")
    return {
        "dials": finite(builds.dial),
        "level_db": dict(zip(percentiles, map(finite, builds.level_db), strict=True)),
        "treble_db": dict(zip(percentiles, map(finite, builds.treble_db), strict=True)),
        "parts": [
            {
                "part": part.name,
                "kind": part.kind,
                "spread": part.spread,
                "level_share": round(float(level), 4),
                "treble_share": round(float(treble), 4),
                "largest_change_db": round(float(largest), 4),
            }
            for part, level, treble, largest in zip(
                builds.parts,
                builds.level_share,
                builds.treble_share,
                ends.largest_db,
                strict=True,
            )
        ],
        "treble_deviation_db": round(builds.treble_deviation_db, 4),
        "capacitor_change_db": None if tighter is None else round(tighter.now_db, 4),
        "capacitor_change_with_5_percent_db": (
            None if tighter is None else round(tighter.then_db, 4)
        ),
        "judged_by": conditions_plain(ends.ear),
    }
