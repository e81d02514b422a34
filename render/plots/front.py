"""The search's picture: what the taper pays for the tone."""

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import Scored
from presolder.models.judging.recommendation import Recommendation
from presolder.render.plots.style import Canvas, colour_of, quiet_axes, save, spread_apart

_MOST_NAMED = 9


def plot_front(canvas: Canvas, ears: Sequence[Ear], found: Recommendation) -> None:
    """Draw the front between taper and tone, the best found, and the built-in designs.

    Parameters
    ----------
    canvas : Path or text file
        A PNG or SVG file, or where SVG text goes.
    ears : sequence of Ear
        The rig and the conditions; of several situations, means by their weights are drawn.
    found : Recommendation
        Its best are marked and named.
    """
    figure = Figure(figsize=(10.5, 5.6), layout="constrained")
    draw_front(figure.subplots(), ears, found)
    save(figure, canvas)


def draw_front(axes: Axes, ears: Sequence[Ear], found: Recommendation) -> None:
    """Draw the same on axes of one's own; parameters as for `plot_front`."""
    best = tuple(one.judged for one in found.best)
    built_in = found.usual
    right = max(3.0, *_points(built_in)[0], *_points(best)[0])
    # From the first to the last, and on at its height to the edge.
    taper = [*(one.taper_phon for one in found.front), 2.0 * right]
    tone = [*(one.tone_db for one in found.front), found.front[-1].tone_db]
    axes.step(taper, tone, where="post", color=colour_of(2), linewidth=1.8)
    sound = tuple(one for one in built_in if not one.spoilt)
    spoilt = tuple(one for one in built_in if one.spoilt)
    axes.plot(*_points(sound), "s", color=colour_of(6), markersize=5)
    axes.plot(*_points(spoilt), "s", color=colour_of(6), markersize=5, markerfacecolor="none")
    axes.plot(*_points(best), "o", color=colour_of(3), markersize=6)
    inside = [y for x, y in zip(taper, tone, strict=True) if x <= right]
    heights = [*inside, *_points(built_in)[1], *_points(best)[1]]
    axes.set_xlim(-0.03 * right, 1.06 * right)
    axes.set_ylim(0.95 * min(heights), 1.03 * max(*_points(built_in)[1], *_points(best)[1]))
    named = {one.design for one in best}
    _name(axes, tuple(one for one in built_in if one.design not in named), best[:_MOST_NAMED])
    axes.annotate(
        "no design found lies below this line, but for hollow ones, which spoil the knob",
        (0.03, 0.05), xycoords="axes fraction", fontsize=8.5, color=colour_of(2),
    )  # fmt: skip
    quiet_axes(
        axes, "louder or softer than an ideal knob, RMS phon",
        "treble lost and gained against an ideal knob, RMS dB",
        f"{ears[0].rig.name}: dots are the best found, squares the built-in designs",
    )  # fmt: skip


def _points(judged: tuple[Scored, ...]) -> tuple[list[float], list[float]]:
    """Taper shifts and tone strays."""
    return [one.taper_phon for one in judged], [one.tone_db for one in judged]


def _name(axes: Axes, built_in: tuple[Scored, ...], best: tuple[Scored, ...]) -> None:
    """Write every design's name beside the axes, with a line to its mark."""
    names = sorted(
        (one.tone_db, one.taper_phon, one.design.name, colour)
        for judged, colour in ((built_in, colour_of(6)), (best, colour_of(3)))
        for one in judged
    )
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
