"""How dirt clears as the knob comes down, as a picture."""

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from presolder.models.instrument.network import Design
from presolder.models.judging.played import Played
from presolder.models.judging.tones import Cleanup
from presolder.render.plots.style import Canvas, colour_of, line_style, save, spread_apart

# What is too small to be told by the estimate, or by an ear.
_LOWEST_PERCENT, _LOWEST_DB = 1.0, -40.0


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
