"""How dirt clears as the knob comes down, as a picture."""

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure

from presolder.models.instrument.network import Design
from presolder.models.judging.played import CLEAN, Played
from presolder.models.judging.tones import Cleanup
from presolder.models.typing import Array
from presolder.render.plots.style import Canvas, colour_of, line_style, save, spread_apart

# What is too small to be told by the estimate, or by an ear.
_LOWEST_PERCENT, _LOWEST_DB = 1.0, -40.0
_MOST_ACROSS = 4


def plot_cleanup(
    canvas: Canvas,
    title: str,
    designs: tuple[Design, ...],
    figures: tuple[Cleanup, ...],
    played: tuple[Played, ...],
    tone_hz: float,
) -> None:
    """Draw distortion of a tone and of playing, level and brightness against dial.

    Parameters
    ----------
    canvas : Path or text file
        A PNG or SVG file, or where SVG text goes.
    title : str
        What is driven how.
    designs, figures, played
        In the same order: the designs, of a tone, of playing.
    tone_hz : float
        The tone.
    """
    figure = Figure(figsize=(11, 7.4), layout="constrained")
    (tone, playing), (level, bright) = figure.subplots(2, 2, sharex=True)
    for i, (tones, under) in enumerate(zip(figures, played, strict=True)):
        style = line_style(i)
        tone.semilogy(tones.dial, np.maximum(100 * tones.thd, _LOWEST_PERCENT / 10), **style)
        level.plot(under.dial, np.maximum(under.level_db, _LOWEST_DB), **style)
        bright.plot(under.dial, under.brightness_db, **style)
    for axes, said in (
        (tone, f"a tone of {tone_hz:g} Hz: harmonic distortion, %"),
        (level, "playing: level after the dirt, dB"),
        (bright, "playing: edge above 1.5 kHz after the dirt, dB"),
    ):
        axes.set_title(said, loc="left", fontsize=10)
        axes.spines[["top", "right"]].set_visible(False)
    _percents(tone, _LOWEST_PERCENT / 10)
    draw_played(playing, designs, played)
    for axes in (level, bright):
        axes.set_xlabel("volume dial")
    figure.suptitle(title, x=0.01, ha="left", fontsize=11, parse_math=False)
    save(figure, canvas)


def plot_map(
    canvas: Canvas,
    title: str,
    designs: tuple[Design, ...],
    dial: Array,
    strengths_db: Array,
    distortion: Array,
) -> None:
    """Draw how dirty playing is over dial and picking strength, a picture a design.

    Parameters
    ----------
    canvas : Path or text file
    title : str
    designs : tuple of Design
    dial : ndarray, shape (d,)
    strengths_db : ndarray, shape (s,)
    distortion : ndarray, shape (n, s, d)
    """
    across = min(len(designs), _MOST_ACROSS)
    down = -(-len(designs) // across)
    figure = Figure(figsize=(2.2 + 2.7 * across, 0.9 + 2.7 * down), layout="constrained")
    grid = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
    for axes in grid.flat[len(designs) :]:
        axes.set_axis_off()
    for axes, design, each in zip(grid.flat, designs, distortion, strict=False):
        percent = np.clip(100 * each, _LOWEST_PERCENT, 100.0)
        painted = axes.pcolormesh(
            dial, strengths_db, percent, cmap="YlOrBr", shading="gouraud",
            norm=LogNorm(_LOWEST_PERCENT, 100.0),
        )  # fmt: skip
        if percent.min() < 100 * CLEAN < percent.max():
            axes.contour(dial, strengths_db, percent, [100 * CLEAN], colors="0.15", linewidths=1.4)
        axes.set_title(design.name, loc="left", fontsize=10, parse_math=False)
        axes.axhline(0.0, color="0.4", linewidth=0.6, linestyle=":")
        axes.set_xlim(10.0, float(dial[0]))
    for axes in grid[-1]:
        axes.set_xlabel("volume dial")
    for axes in grid[:, 0]:
        axes.set_ylabel("picked harder, dB")
    bar = figure.colorbar(painted, ax=grid, shrink=0.9)
    ticks = (1, 3, 10, 30, 100)
    bar.set_ticks(ticks, labels=[f"{value:g} %" for value in ticks])
    bar.set_ticks([], minor=True)
    bar.set_label("dirt; the line is what passes for clean")
    figure.suptitle(title, x=0.01, ha="left", fontsize=11, parse_math=False)
    save(figure, canvas)


def draw_played(axes: Axes, designs: tuple[Design, ...], played: tuple[Played, ...]) -> None:
    """Draw what playing leaves of distortion over the dial, on axes of one's own."""
    labels = []
    for i, (design, under) in enumerate(zip(designs, played, strict=True)):
        percent = np.maximum(100 * under.distortion, _LOWEST_PERCENT)
        axes.semilogy(under.dial, percent, **line_style(i))
        labels.append((float(np.log10(percent[0])), design.name, colour_of(i)))
    axes.set_title("playing: what is not linearly related to it, %", loc="left", fontsize=10)
    axes.spines[["top", "right"]].set_visible(False)
    _percents(axes, _LOWEST_PERCENT)
    lowest = float(min(one.dial[0] for one in played))
    axes.set_xlim(10.0, lowest)
    _name_lines(axes, lowest - 0.15, labels)


def _percents(axes: Axes, low: float) -> None:
    """Percent on a logarithmic axis, with lines at what passes for clean."""
    axes.set_ylim(low, 110.0)
    ticks = [value for value in (0.1, 1, 3, 10, 30, 100) if value >= low]
    axes.set_yticks(ticks, [f"{value:g}" for value in ticks])
    axes.set_yticks([], minor=True)
    for line in (3.0, 10.0):
        axes.axhline(line, color="0.8", linewidth=0.8, zorder=0)


def _name_lines(axes: Axes, dial: float, labels: list[tuple[float, str, str]]) -> None:
    """Each line's name beyond its end, where the knob is lowest, in a column."""
    labels.sort()
    heights = spread_apart([place for place, *_ in labels], 0.13, math.inf)
    for (_, name, colour), height in zip(labels, heights, strict=True):
        axes.annotate(
            name, (dial, 10.0**height), color=colour, fontsize=9, ha="left", va="center",
            annotation_clip=False, parse_math=False,
        )  # fmt: skip
