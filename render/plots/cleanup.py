"""How dirt clears as the knob comes down, as a picture."""

import math

import numpy as np
from matplotlib.figure import Figure

from presolder.models.instrument.network import Design
from presolder.models.judging.cleanup import Cleanup
from presolder.render.plots.style import Canvas, colour_of, line_style, save, spread_apart


def plot_cleanup(
    canvas: Canvas, title: str, designs: tuple[Design, ...], figures: tuple[Cleanup, ...]
) -> None:
    """Draw distortion against dial, one labelled line a design.

    Parameters
    ----------
    canvas : Path or text file
        A PNG or SVG file, or where SVG text goes.
    title : str
        What is driven how.
    designs, figures
        In the same order.
    """
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
    save(figure, canvas)
