"""The cleanup command's job: distortion over the dial as CSV, words and a plot."""

import csv
import math
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from presolder.models.cleanup import Cleanup, clean_dial
from presolder.models.network import Design, format_network
from presolder.render.plotstyle import colour_of, line_style, spread_apart

COLUMNS = (
    "design",
    "dial",
    "thd_percent",
    "level_db",
    "treble_db",
    "clean_below_10_percent",
    "clean_below_3_percent",
)


def write_cleanup(file: TextIO, designs: tuple[Design, ...], figures: list[Cleanup]) -> None:
    """Write one row per design and dial; a threshold never met is left empty."""
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(COLUMNS)
    for design, figure in zip(designs, figures, strict=True):
        ten, three = (clean_dial(figure, threshold) for threshold in (0.10, 0.03))
        for i, dial in enumerate(figure.dial):
            writer.writerow(
                (
                    design.name,
                    f"{dial:g}",
                    f"{100 * figure.thd[i]:.4f}",
                    f"{figure.level_db[i]:.3f}",
                    f"{figure.treble_db[i]:.3f}",
                    "" if ten is None else f"{ten:.2f}",
                    "" if three is None else f"{three:.2f}",
                )
            )


def in_words(design: Design, figure: Cleanup) -> str:
    """A line such as ``series   10 % at 6.1, clean (3 %) at 4.2``."""
    texts = []
    for label, threshold in (("10 %", 0.10), ("clean (3 %)", 0.03)):
        dial = clean_dial(figure, threshold)
        where = "never" if dial is None else f"at {dial:.1f}"
        texts.append(f"{label} {where}")
    return f"{design.name:16} {', '.join(texts)}"


def as_json(design: Design, figure: Cleanup) -> dict[str, Any]:
    """A design's numbers by dial as plain values."""
    ten, three = (clean_dial(figure, threshold) for threshold in (0.10, 0.03))
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


def plot_cleanup(
    path: Path, title: str, designs: tuple[Design, ...], figures: list[Cleanup]
) -> None:
    """Draw distortion against dial, one labelled line a design.

    Parameters
    ----------
    path : Path
        A PNG or SVG file.
    title : str
        What is driven how.
    designs, figures
        In the same order.
    """
    # Half a second to import, which only plotting should pay.
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 4.6), layout="constrained")
    axes = figure.subplots()
    labels = []
    for i, (design, curve) in enumerate(zip(designs, figures, strict=True)):
        percent = np.maximum(100 * curve.thd, 1e-3)
        axes.semilogy(curve.dial, percent, **line_style(i))
        height = float(np.interp(1.0, curve.dial, np.log10(percent)))
        labels.append((height, design.name, colour_of(i)))
    for percent_line in (10, 3):
        axes.axhline(percent_line, color="0.75", linewidth=0.8, zorder=0)
        axes.annotate(
            f"{percent_line} %", (1.1, percent_line * 1.06), color="0.35", fontsize=8, va="bottom"
        )
    axes.set_xlim(1.0, 10.0)
    axes.set_ylim(0.1, 100.0)
    labels.sort()
    heights = spread_apart([max(place, -0.885) for place, *_ in labels], 0.115, math.inf)
    for (_, name, colour), height in zip(labels, heights, strict=True):
        axes.annotate(
            name, (0.93, 10.0**height), color=colour, fontsize=9, ha="right", va="center",
            annotation_clip=False, parse_math=False,
        )  # fmt: skip
    axes.yaxis.tick_right()
    axes.yaxis.set_label_position("right")
    axes.set_yticks([0.1, 1, 10, 100], ["0.1", "1", "10", "100"])
    axes.set_ylabel("total harmonic distortion, %")
    axes.set_xlabel("volume dial")
    axes.set_title(title, loc="left", fontsize=11, parse_math=False)
    axes.spines[["top", "left"]].set_visible(False)
    figure.savefig(path, dpi=110)
