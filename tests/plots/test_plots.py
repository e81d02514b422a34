"""What plots show: the numbers of the reports, ticks that stand where they say, names that can be read."""

from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

import presolder as ps
from presolder.models.instrument.dirt import Dirt
from presolder.render import plots

RIG = "humbucker-500k"
DESIGNS = ("bare", "cap", "68k + 1n5")
DIALS = (10.0, 7.0, 4.0, 2.0)


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Figure]]:
    """Figures as they were when they were saved."""
    kept: list[Figure] = []
    monkeypatch.setattr(Figure, "savefig", lambda self, *_, **__: kept.append(self))
    yield kept
    for figure in kept:
        FigureCanvasAgg(figure).draw()
        require_readable(figure)


def boxes(figure: Figure, axes: Axes) -> list[Bbox]:
    renderer = FigureCanvasAgg(figure).get_renderer()
    named = [one for one in axes.texts if isinstance(one, Annotation) and one.get_text()]
    # Of the words alone, not of the line that leads to them.
    return [super(Annotation, one).get_window_extent(renderer) for one in named]


def require_readable(figure: Figure) -> None:
    """No name beyond the picture's edge, and none over another."""
    whole = figure.bbox
    for axes in figure.axes:
        found = boxes(figure, axes)
        for box in found:
            assert box.x0 >= whole.x0 - 1 and box.x1 <= whole.x1 + 1, axes.get_title("left")
            assert box.y0 >= whole.y0 - 1 and box.y1 <= whole.y1 + 1, axes.get_title("left")
        for one, other in combinations(found, 2):
            # A fifth of a line's height may touch.
            high = min(one.y1, other.y1) - max(one.y0, other.y0)
            wide = min(one.x1, other.x1) - max(one.x0, other.x0)
            assert wide <= 0 or high <= 0.2 * one.height, axes.get_title("left")
        title = axes.title if axes.get_title() else axes._left_title  # type: ignore[attr-defined]
        assert title.get_text(), "a picture without a title"
        # A design may be called "$1 cap$"; what else is written is not in the axes' own units.
        named = [one for one in axes.texts if getattr(one, "xycoords", "data") == "data"]
        assert not any(one.get_parse_math() for one in named)
    renderer = FigureCanvasAgg(figure).get_renderer()
    # Each with its ticks, labels and names.
    areas = [axes.get_tightbbox(renderer) for axes in figure.axes]
    for area in areas:
        assert area is not None and area.x0 >= whole.x0 and area.x1 <= whole.x1 + 1
        assert area.y0 >= whole.y0 and area.y1 <= whole.y1
    for one, other in combinations(areas, 2):
        assert not one.overlaps(other), "pictures over one another"
    assert sum(axes.get_position().width * axes.get_position().height for axes in figure.axes) > 0.3


def curves_of(axes: Axes) -> list[Line2D]:
    """Lines that are drawn from data, in the order of the designs."""
    return [line for line in axes.lines if np.size(line.get_xdata()) > 2]


def require_ticks_where_they_say(axes: Axes) -> None:
    low, high = sorted(axes.get_xlim())
    for place, label in zip(axes.get_xticks(), axes.get_xticklabels(), strict=True):
        said = label.get_text()
        if said and low <= place <= high:
            number = float(said.replace("k", "")) * (1000 if said.endswith("k") else 1)
            assert number == place


def named_by_colour(axes: Axes) -> dict[str, str]:
    return {one.get_text(): to_hex(one.get_color()) for one in axes.texts}


def test_curves(drawn: list[Figure]) -> None:
    rig, designs = ps.rig(RIG), [ps.design(name) for name in DESIGNS]
    plots.plot_curves(Path("a.svg"), rig, tuple(designs), np.array(DIALS))
    (figure,) = drawn
    level, treble, *responses = figure.axes
    assert len(responses) == len(DIALS)
    told = ps.curves(rig, designs, list(DIALS)).plain()["designs"]
    for axes, key in ((level, "level_db"), (treble, "treble_db")):
        lines = curves_of(axes)
        assert len(lines) == len(DESIGNS)
        for line, design in zip(lines, told, strict=True):
            at = [np.argmin(np.abs(np.asarray(line.get_xdata()) - dial)) for dial in DIALS]
            assert np.asarray(line.get_ydata())[at] == pytest.approx(design[key], abs=0.15)
            assert named_by_colour(axes)[design["design"]] == to_hex(line.get_color())
            (name,) = (one for one in axes.texts if one.get_text() == design["design"])
            assert isinstance(name, Annotation)
            ends = float(np.asarray(line.get_ydata())[0])
            assert name.xy == pytest.approx((0.5, np.clip(ends, *axes.get_ylim())))
        assert axes.get_xlim() == (10.0, 0.5)
        assert list(axes.get_xticks()) == list(range(10, 0, -1))
        heights = np.concatenate([np.asarray(line.get_ydata()) for line in lines])
        assert 0 < heights.min() - axes.get_ylim()[0] <= 1.5
    for axes, dial in zip(responses, DIALS, strict=True):
        assert axes.get_title("left") == f"response at {dial:g}"
        lines = curves_of(axes)
        for line, design in zip(lines, designs, strict=True):
            hz = np.asarray(line.get_xdata())[::40]
            gain = np.asarray(line.get_ydata())[::40]
            assert gain == pytest.approx(ps.response_db(rig, design, hz=hz, dial=dial).ravel())
        low, high = axes.get_ylim()
        highest = max(float(np.max(line.get_ydata())) for line in lines)
        assert low < high and 0.5 < high - highest < 4.0
        require_ticks_where_they_say(axes)
    # The first of each row says what is drawn upwards.
    said = [bool(axes.get_ylabel()) for axes in responses]
    assert said == [True, False, False, True]
    # At 10 they are one circuit, and one name says so.
    assert set(named_by_colour(responses[0])) == {"all designs"}
    assert set(named_by_colour(responses[-1])) == set(DESIGNS)
    # Three beside each other, below the upper two.
    places = [axes.get_position() for axes in figure.axes]
    assert places[2].y0 == pytest.approx(places[4].y0) and places[5].y1 < places[2].y0


def test_spreads_lie_round_their_own_curves(drawn: list[Figure]) -> None:
    rig, designs, dials = ps.rig(RIG), (ps.design("cap"),), np.linspace(1.0, 10.0, 10)
    found = ps.curves(rig, designs, dials, spread=ps.Spread(), draws=60, seed=1)
    plots.plot_curves(Path("a.svg"), rig, designs, np.array([5.0]), found.builds)
    for axes in drawn[0].axes[:2]:
        (line,), (shade,) = curves_of(axes), axes.collections
        outline = shade.get_paths()[0].vertices
        for dial in (3.0, 6.0):
            inside = outline[np.isclose(outline[:, 0], dial), 1]
            at = np.argmin(np.abs(np.asarray(line.get_xdata()) - dial))
            middle = float(np.asarray(line.get_ydata())[at])
            assert inside.min() - 0.2 <= middle <= inside.max() + 0.2
            assert 0.05 < np.ptp(inside) < 12.0
            builds = found.builds[0]
            low, _, high = (builds.level_db if axes is drawn[0].axes[0] else builds.treble_db)[
                :, np.argmin(np.abs(builds.dial - dial))
            ]
            assert (inside.min(), inside.max()) == pytest.approx((low, high), abs=1e-9)
        assert "9 in 10 builds within the shade" in axes.get_title("left")


@pytest.mark.thorough
def test_cleanup(drawn: list[Figure]) -> None:
    report = ps.cleanup(RIG, ["bare", "cap"], dirt=Dirt("smooth"))
    plots.plot_cleanup(
        Path("a.png"), report.title, report.designs, report.figures, report.played, 1000.0
    )
    (figure,) = drawn
    tone, playing, level, bright = figure.axes
    for axes in (tone, playing):
        heights = sorted(
            float(np.asarray(line.get_ydata())[0])
            for line in axes.lines
            if np.size(line.get_xdata()) == 2
        )
        assert heights == [3.0, 10.0]
        assert axes.get_yscale() == "log" and axes.get_ylim()[1] == 110.0
        ticks = [label.get_text() for label in axes.get_yticklabels()]
        assert [float(text) for text in ticks] == pytest.approx(list(axes.get_yticks()))
    for i, (tones, under) in enumerate(zip(report.figures, report.played, strict=True)):
        for axes, wanted, dials in (
            (tone, np.maximum(100 * tones.thd, 0.1), tones.dial),
            (playing, np.maximum(100 * under.distortion, 1.0), under.dial),
            (level, np.maximum(under.level_db, -40.0), under.dial),
            (bright, under.brightness_db, under.dial),
        ):
            line = curves_of(axes)[i]
            assert np.array_equal(np.asarray(line.get_xdata()), dials)
            assert np.asarray(line.get_ydata()) == pytest.approx(wanted)
        assert named_by_colour(playing)[report.designs[i].name] == to_hex(
            curves_of(playing)[i].get_color()
        )
    assert playing.get_xlim()[0] == 10.0
    assert len({tuple(line.get_linestyle()) for line in curves_of(tone)}) == 2


@pytest.mark.thorough
def test_front(drawn: list[Figure]) -> None:
    found = ps.tailor(RIG, topologies=[ps.design("cap"), ps.design("series")], series="E6", top=3)
    plots.plot_front(Path("a.svg"), found.ears, found.found)
    (axes,) = drawn[0].axes
    front, sound, spoilt, best = axes.lines
    assert spoilt.get_markerfacecolor() == "none" != sound.get_markerfacecolor()
    assert len(np.asarray(best.get_xdata())) == len(found.found.best)
    for one, x, y in zip(found.found.best, best.get_xdata(), best.get_ydata(), strict=True):
        assert (x, y) == (one.judged.taper_phon, one.judged.tone_db)
    compared = ps.compare(RIG, list(ps.designs())).plain()["designs"]
    for marks, is_spoilt in ((sound, False), (spoilt, True)):
        places = sorted(zip(marks.get_xdata(), marks.get_ydata(), strict=True))
        alone = [
            own
            for one in compared
            for own in one["situations"].values()
            if bool(own["spoilt"]) == is_spoilt
        ]
        wanted = sorted((one["taper_phon"], one["tone_db"]) for one in alone)
        assert np.array(places) == pytest.approx(np.array(wanted), abs=1e-3)
    (low_x, high_x), (low_y, high_y) = axes.get_xlim(), axes.get_ylim()
    for marks in (sound, spoilt, best):
        assert (np.asarray(marks.get_xdata()) <= high_x).all()
        assert (np.asarray(marks.get_xdata()) >= low_x).all()
        assert (np.asarray(marks.get_ydata()) <= high_y).all()
        assert (np.asarray(marks.get_ydata()) >= low_y).all()
    # The marks fill the picture, and nothing found lies below the front.
    assert high_y < 1.5 * max(*sound.get_ydata(), *best.get_ydata())
    steps = np.asarray(front.get_xdata()), np.asarray(front.get_ydata())
    for x, y in zip(best.get_xdata(), best.get_ydata(), strict=True):
        # Of the very figures, but for rounding.
        assert y >= steps[1][np.searchsorted(steps[0], x + 1e-9, side="right") - 1] - 1e-9
    of_best = {one.judged.design.name for one in found.found.best}
    for name, colour in named_by_colour(axes).items():
        below = name.startswith("no design found lies below this line")
        marks = front if below else best if name in of_best else sound
        assert colour == to_hex(marks.get_color())
    names = {one.get_text() for one in axes.texts}
    assert {one.judged.design.name for one in found.found.best} <= names


@pytest.mark.thorough
def test_plots_on_axes_of_ones_own() -> None:
    """One axes each, with a line a design; nothing else of the caller's figure is touched."""
    figure = Figure()
    responses, front, clean = figure.subplots(3)
    designs = ["bare", "cap"]
    ps.curves(RIG, designs, [10, 7]).plot(responses, dial=7)
    ps.tailor(RIG, topologies=["cap", "series"], series="E6", top=2).plot(front)
    report = ps.cleanup(RIG, designs, dials=[4, 7, 10])
    report.plot(clean)
    assert len(figure.axes) == 3
    assert len(responses.lines) == 2 and responses.get_xscale() == "log"
    for line, design in zip(responses.lines, designs, strict=True):
        hz = np.asarray(line.get_xdata())
        told = np.asarray(ps.response_db(RIG, design, 7, hz))
        assert np.asarray(line.get_ydata()) == pytest.approx(told)
    assert len(front.lines) == 4
    for line, under in zip(clean.lines, report.played, strict=False):
        assert np.asarray(line.get_ydata()) == pytest.approx(
            np.maximum(100 * under.distortion, 1.0)
        )
