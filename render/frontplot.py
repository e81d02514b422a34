"""The tailor command's picture: what the taper pays for the tone."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from presolder.models.designs import BUILT_IN
from presolder.models.merit import DIALS, merit
from presolder.models.network import format_network
from presolder.models.rig import Rig
from presolder.models.tailor import Found
from presolder.render.plotstyle import colour_of, quiet_axes, save, spread_apart

_MOST_NAMED = 9


def plot_front(
    path: Path, rig: Rig, best: list[Found], front: list[Found], dials: NDArray[np.float64] = DIALS
) -> None:
    """Draw the front between taper and tone, the best found, and the built-in designs.

    Parameters
    ----------
    path : Path
        A PNG or SVG file.
    rig : Rig
        The instrument.
    best : list of Found
        Best first, marked and named.
    front : list of Found
        By rising taper shift.
    dials : ndarray, shape (d,)
        Positions that counted.
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.5, 5.6), layout="constrained")
    axes = figure.subplots()
    axes.step(
        [f.taper_rms_db for f in front], [f.tone_rms_db for f in front], where="post",
        color=colour_of(2), linewidth=1.8,
    )  # fmt: skip
    built_in = [(design.name, merit(rig, design.network, dials)) for design in BUILT_IN]
    axes.plot(
        [m.taper_rms_db for _, m in built_in], [m.tone_rms_db for _, m in built_in], "s",
        color=colour_of(6), markersize=5,
    )  # fmt: skip
    axes.plot(
        [f.taper_rms_db for f in best], [f.tone_rms_db for f in best], "o", color=colour_of(3),
        markersize=6,
    )  # fmt: skip
    right = max(3.0, *(m.taper_rms_db for _, m in built_in), *(f.taper_rms_db for f in best))
    shown = [f.tone_rms_db for f in front if f.taper_rms_db <= right]
    highest = max(*(m.tone_rms_db for _, m in built_in), *(f.tone_rms_db for f in best))
    axes.set_xlim(-0.03 * right, 1.06 * right)
    axes.set_ylim(0.95 * min(shown), 1.03 * highest)
    names = [(m.tone_rms_db, m.taper_rms_db, name, colour_of(6)) for name, m in built_in]
    names += [
        (f.tone_rms_db, f.taper_rms_db, format_network(f.network), colour_of(3))
        for f in best[:_MOST_NAMED]
    ]
    names.sort()
    low, high = axes.get_ylim()
    heights = spread_apart([tone for tone, *_ in names], 0.034 * (high - low), high)
    for (tone, taper, name, colour), height in zip(names, heights, strict=True):
        axes.annotate(
            name, (taper, tone), xytext=(1.02, height), textcoords=axes.get_yaxis_transform(),
            fontsize=8.5, color=colour, va="center", annotation_clip=False,
            parse_math=False,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.5, "alpha": 0.6,
                        "relpos": (0.0, 0.5), "shrinkB": 2},
        )  # fmt: skip
    first = min(range(len(front)), key=lambda i: abs(front[i].taper_rms_db - 0.55 * right))
    axes.annotate(
        "no design found lies below this line",
        (front[first].taper_rms_db, front[first].tone_rms_db),
        xytext=(0, -16), textcoords="offset points", fontsize=8.5, color=colour_of(2), ha="center",
    )  # fmt: skip
    quiet_axes(
        axes, "taper shift, RMS dB", "tone stray from dial 10, RMS dB",
        f"{rig.name}: dots are the best found, squares the built-in designs",
    )  # fmt: skip
    save(figure, path)
