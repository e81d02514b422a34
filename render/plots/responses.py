"""The curves command's picture: level and treble over the dial, and the response at some dials."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import character
from presolder.models.judging.tolerance import Builds
from presolder.models.typing import Array
from presolder.render.plots.style import (
    Canvas,
    colour_of,
    label_lines,
    line_style,
    quiet_axes,
    save,
)

MOST_PANELS = 6
_DIALS = np.linspace(0.5, 10.0, 96)
_HZ = np.geomspace(80.0, 12_000.0, 400)
_LOWEST_DB = -60.0


def plot_curves(
    canvas: Canvas,
    rig: Rig,
    designs: tuple[Design, ...],
    dials: Array,
    spreads: tuple[Builds, ...] | None = None,
) -> None:
    """Draw designs side by side.

    Parameters
    ----------
    canvas : Path or text file
        A PNG or SVG file, or where SVG text goes.
    rig : Rig
        The instrument.
    designs : tuple of Design
    dials : ndarray, shape (d,)
        Positions above 0 whose frequency response is drawn, at most `MOST_PANELS`.
    spreads : list of Builds, optional
        One per design; drawn behind the lines over the dial.
    """
    rows = 1 + (dials.size + 2) // 3
    inches = 4.0 * rows
    figure = Figure(figsize=(15, inches))
    top, bottom = 1 - 0.4 / inches, 0.5 / inches
    upper = figure.add_gridspec(
        1, 2, left=0.05, right=0.91, top=top, bottom=bottom + (top - bottom) * (rows - 1) / rows
        + 0.55 / inches, wspace=0.3,
    )  # fmt: skip
    lower = figure.add_gridspec(
        rows - 1, 3, left=0.05, right=0.91, bottom=bottom, wspace=0.44, hspace=0.34,
        top=bottom + (top - bottom) * (rows - 1) / rows - 0.35 / inches,
    )  # fmt: skip
    level, treble = figure.add_subplot(upper[0]), figure.add_subplot(upper[1])
    _over_dial(level, treble, rig, designs, spreads)
    for number, dial in enumerate(dials):
        axes = figure.add_subplot(lower[number // 3, number % 3])
        draw_response(
            axes, rig, designs, float(dial), "dB, EMF to input" if number % 3 == 0 else ""
        )
    save(figure, canvas)


def _over_dial(
    level: Axes,
    treble: Axes,
    rig: Rig,
    designs: tuple[Design, ...],
    spreads: tuple[Builds, ...] | None,
) -> None:
    curves = [character(rig, design.network, _DIALS) for design in designs]
    low = max(_LOWEST_DB, min(float(curve.level_db.min()) for curve in curves) - 1.0)
    for axes, values in (
        (level, [curve.level_db for curve in curves]),
        (treble, [curve.treble_db for curve in curves]),
    ):
        axes.set_xlim(10.0, 0.5)
        if axes is level:
            axes.set_ylim(low, 1.5)
        else:
            span = np.concatenate(values)
            axes.set_ylim(max(-25.0, float(span.min()) - 1.0), float(span.max()) + 1.0)
        ends = []
        for i, (design, curve) in enumerate(zip(designs, values, strict=True)):
            axes.plot(_DIALS, curve, **line_style(i))
            if spreads is not None:
                of_axes = spreads[i].level_db if axes is level else spreads[i].treble_db
                axes.fill_between(
                    spreads[i].dial, of_axes[0], of_axes[2], color=colour_of(i), alpha=0.13,
                    linewidth=0,
                )  # fmt: skip
            ends.append((float(curve[0]), design.name, colour_of(i)))
        axes.set_xticks(range(10, 0, -1))
        label_lines(axes, 0.5, ends)
    shaded = ", 9 in 10 builds within the shade" if spreads is not None else ""
    quiet_axes(level, "volume dial", "dB against dial 10", f"level at 500 Hz{shaded}")
    quiet_axes(
        treble, "volume dial", "dB against dial 10", f"treble, 2-4 kHz against 500 Hz{shaded}"
    )


def draw_response(
    axes: Axes, rig: Rig, designs: tuple[Design, ...], dial: float,
    y_label: str = "dB, EMF to input",
) -> None:  # fmt: skip
    """Draw the responses of designs at one dial.

    Parameters
    ----------
    axes : Axes
    rig : Rig
    designs : tuple of Design
    dial : float
        Above 0.
    y_label : str
    """
    gains = [
        decibels(transfer(chain_equations(rig, design.network), _HZ, dial)[0]) for design in designs
    ]
    top = max(float(gain.max()) for gain in gains)
    axes.set_xscale("log")
    axes.set_xlim(_HZ[0], _HZ[-1])
    axes.set_ylim(top - 36.0, top + 2.0)
    for i, gain in enumerate(gains):
        axes.plot(_HZ, gain, **line_style(i))
    ends = [
        (float(gain[-1]), design.name, colour_of(i))
        for i, (design, gain) in enumerate(zip(designs, gains, strict=True))
    ]
    if len(designs) > 1 and np.ptp([height for height, _, _ in ends]) < 0.05:
        ends = [(ends[0][0], "all designs", "#000000")]
    axes.set_xticks([100, 300, 1000, 3000, 10_000], ["100", "300", "1k", "3k", "10k"])
    axes.minorticks_off()
    label_lines(axes, float(_HZ[-1]), ends)
    quiet_axes(axes, "Hz", y_label, f"response at {dial:g}")
