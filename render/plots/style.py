"""The look that all plots share: lines told apart without colour, labelled where they end."""

from pathlib import Path
from typing import Any, TextIO

from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

# Dark to light with different dashes: apart in greyscale and for colour-blind eyes.
_COLOURS = ("#000000", "#5b2a86", "#0b6e8f", "#a8433a", "#2f7d4f", "#b8860b", "#7f7f7f", "#c77cb0")
# Fewer than colours, so that the ninth line is like none before it.
_DASHES: tuple[Any, ...] = (
    "-", (0, (6, 2)), (0, (1, 1.3)), (0, (7, 2, 1, 2)), (0, (3, 1.2)), (0, (12, 3)),
    (0, (7, 2, 1, 2, 1, 2)),
)  # fmt: skip
# Room for a label of 8.5 points.
_LABEL_INCHES = 0.145
# A PNG or SVG file, or where the text of an SVG goes.
Canvas = Path | TextIO


def line_style(index: int) -> dict[str, Any]:
    """Keyword arguments of a line for the design of that number."""
    return {
        "color": _COLOURS[index % len(_COLOURS)],
        "linestyle": _DASHES[index % len(_DASHES)],
        "linewidth": 1.8,
    }


def colour_of(index: int) -> str:
    """The colour of that line."""
    return _COLOURS[index % len(_COLOURS)]


def quiet_axes(axes: Axes, x_label: str, y_label: str, title: str) -> None:
    """Take away the frame and add words."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(alpha=0.2)
    axes.set_xlabel(x_label)
    axes.set_ylabel(y_label)
    axes.set_title(title, loc="left", fontsize=11, parse_math=False)


def label_lines(axes: Axes, x: float, ends: list[tuple[float, str, str]]) -> None:
    """Write names to the right of where lines end, moved apart where they would overlap.

    Parameters
    ----------
    axes : Axes
        With its limits set.
    x : float
        Where the lines end.
    ends : list of (height, name, colour)
    """
    low, high = axes.get_ylim()
    inches = axes.get_window_extent().height / figure_of(axes).dpi
    placed = sorted((min(max(height, low), high), name, colour) for height, name, colour in ends)
    gap = (high - low) * _LABEL_INCHES / inches
    heights = spread_apart([height for height, _, _ in placed], gap, high)
    for (true, name, colour), height in zip(placed, heights, strict=True):
        axes.annotate(
            name,
            (x, true),
            xytext=(1.045, height),
            textcoords=axes.get_yaxis_transform(),
            color=colour,
            fontsize=8.5,
            va="center",
            parse_math=False,
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": colour,
                "linewidth": 0.6,
                "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
        )


def save(figure: Figure, canvas: Canvas) -> None:
    """Write a figure; an SVG without the time of day, so that it can be made again."""
    svg = not isinstance(canvas, Path) or canvas.suffix == ".svg"
    # Or the names inside an SVG would be drawn at random.
    with rc_context({"svg.hashsalt": "presolder"}):
        figure.savefig(
            canvas,
            dpi=110,
            format="svg" if svg else None,
            metadata={"Date": None} if svg else None,
        )


def figure_of(axes: Axes) -> Figure:
    """The figure that holds the axes."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    return figure


def spread_apart(heights: list[float], gap: float, high: float) -> list[float]:
    """Rising heights moved at least a gap apart, the highest no higher than `high`."""
    moved: list[float] = []
    for height in heights:
        moved.append(max(height, moved[-1] + gap) if moved else height)
    ceiling = high
    for i in reversed(range(len(moved))):
        moved[i] = min(moved[i], ceiling)
        ceiling = moved[i] - gap
    return moved
