"""The pot from behind, and the network between its lugs, as an SVG drawing."""

from collections.abc import Iterator
from dataclasses import dataclass

import schemdraw
from schemdraw import Drawing, elements
from schemdraw.segments import SegmentArc, SegmentCircle, SegmentPoly

from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
    format_network,
)
from presolder.models.instrument.placement import Placed, placed_parts, section_of, value_text
from presolder.render.plots.drawn import as_svg

_LEAF_WIDTH, _LEAF_HEIGHT = 3.6, 1.8
# Inches of paper for a unit of the drawing, and points of its type.
_INCHES, _POINTS = 0.25, 9
# Of a section: its case, its lugs and what is written under them.
_RADIUS, _LUG_APART, _LUG_TOP, _LUG_END = 2.6, 1.7, -2.2, -3.1
_SECTION_WIDTH = 6.9
_INPUT_RAIL, _WIPER_RAIL, _UNDER_GANGS = -3.8, -4.4, 0.5


@dataclass(frozen=True)
class _Box:
    """Room that a network takes, in drawing units."""

    width: float
    height: float


def wiring_svg(network: Network | None) -> str:
    """Draw the volume pot from behind with a network between its input and wiper lugs.

    Parameters
    ----------
    network : Network or None
        None draws the pot alone.

    Returns
    -------
    str
        An SVG element, without an XML declaration, in points of paper.
    """
    drawing = schemdraw.Drawing(show=False, canvas="svg")
    # Without a network, texts are at the edges, and the library takes them for narrower.
    margin = 0.8 if network is not None else 1.1
    drawing.config(unit=3, inches_per_unit=_INCHES, fontsize=_POINTS, lw=1.1, margin=margin)
    gangs = [part for part in placed_parts(network) if isinstance(part.leaf, Gang)]
    _draw_case(
        drawing, 0.0, "section 1: the volume" if gangs else "volume pot", ("input", "ground")
    )
    _text(drawing, (0.0, _RADIUS + 1.15), "from behind, the solder side")
    drawing.add(elements.Ground().at((_LUG_APART, _LUG_END)))
    for i, part in enumerate(gangs, start=1):
        _draw_gang(drawing, i * _SECTION_WIDTH, part)
    if network is not None:
        _draw_between(drawing, network, _UNDER_GANGS if gangs else 0.0)
    fitted = f" with {format_network(network)} between its input lug and wiper lug"
    return as_svg(drawing, "Volume pot from behind" + (fitted if network is not None else ""))


def _text(drawing: Drawing, at: tuple[float, float], text: str) -> None:
    drawing.add(elements.Label().at(at).theta(0).label(text, loc="center", ofst=0))


def _draw_case(drawing: Drawing, x: float, title: str, outer: tuple[str, str]) -> None:
    """One section of a pot seen from behind, its three lugs down; the knob turns to 0 clockwise."""
    case = elements.Element()
    case.segments.append(SegmentCircle((0, 0), _RADIUS))
    # The shaft points away.
    case.segments.append(SegmentCircle((0, 0), 0.55, ls="--"))
    case.segments.append(SegmentArc((0, 0), 3.0, 3.0, theta1=20, theta2=160, arrow="cw"))
    for lug in (-_LUG_APART, 0.0, _LUG_APART):
        left, right = lug - 0.25, lug + 0.25
        corners = [(left, _LUG_TOP), (right, _LUG_TOP), (right, _LUG_END), (left, _LUG_END)]
        case.segments.append(SegmentPoly(corners, fill="white"))
    drawing.add(case.at((x, 0)).theta(0))
    _text(drawing, (x, _RADIUS + 0.5), title)
    _text(drawing, (x, 2.0), "to 0")
    _text(drawing, (x, -1.5), "wiper")
    for side, name in zip((-1, 1), outer, strict=True):
        # To the left the library takes a text for narrower than it is.
        beside = _LUG_APART + (0.35 if side > 0 else 0.6)
        label = elements.Label().at((x + side * beside, _LUG_END + 0.35)).theta(0)
        drawing.add(label.label(name, loc="center", halign="left" if side > 0 else "right", ofst=0))


def _draw_gang(drawing: Drawing, x: float, part: Placed) -> None:
    """A further section with the bridge from its unused outer lug to its wiper lug."""
    assert isinstance(part.leaf, Gang)
    _draw_case(drawing, x, f"section {section_of(part)}: {part.name}", ("cw", "ccw"))
    unused = x + (_LUG_APART if part.leaf.at_ten == "zero" else -_LUG_APART)
    low = _LUG_END - 0.45
    for lug in (unused, x):
        drawing.add(elements.Line().at((lug, _LUG_END)).to((lug, low)))
    drawing.add(elements.Line().at((unused, low)).to((x, low)))
    _text(drawing, ((unused + x) / 2, low - 0.5), "bridge")
    used = 2 * x - unused
    _text(drawing, (used, low - 0.1), f"{part.name}")


def _draw_between(drawing: Drawing, network: Network, lower: float) -> None:
    """The network under section 1, from its input lug to its wiper lug."""
    box = _size(network)
    left, right = -_RADIUS - 0.6, max(box.width - _RADIUS + 0.4, _RADIUS + 0.6)
    inputs, wipers = _INPUT_RAIL - lower, _WIPER_RAIL - lower
    middle = wipers - 0.5 - box.height / 2
    for lug, rail, side in ((-_LUG_APART, inputs, left), (0.0, wipers, right)):
        drawing.add(elements.Line().at((lug, _LUG_END)).to((lug, rail)))
        drawing.add(elements.Line().at((lug, rail)).to((side, rail)))
        drawing.add(elements.Line().at((side, rail)).to((side, middle)))
    start = (left + right - box.width) / 2
    drawing.add(elements.Line().at((left, middle)).to((start, middle)))
    _draw(drawing, network, start, middle, iter(placed_parts(network)))
    drawing.add(elements.Line().at((start + box.width, middle)).to((right, middle)))


def _size(network: Network | None) -> _Box:
    if isinstance(network, Series):
        inner = [_size(part) for part in network.parts]
        return _Box(sum(b.width for b in inner), max(b.height for b in inner))
    if isinstance(network, Parallel):
        inner = [_size(part) for part in network.parts]
        return _Box(max(b.width for b in inner) + 1.0, sum(b.height for b in inner))
    return _Box(_LEAF_WIDTH, _LEAF_HEIGHT)


def _draw(drawing: Drawing, network: Network, x: float, y: float, placed: Iterator[Placed]) -> str:
    """Draw a network from (x, y) to the right, its middle at height y; where it ends."""
    if isinstance(network, Series):
        for i, part in enumerate(network.parts):
            end = _draw(drawing, part, x, y, placed)
            x += _size(part).width
            if i < len(network.parts) - 1:
                drawing.add(elements.Dot().at((x, y)))
                letter = end.removeprefix("joint ")
                _text(drawing, (x, y - 0.5), letter)
        return end
    if isinstance(network, Parallel):
        box = _size(network)
        left, right = x + 0.5, x + box.width - 0.5
        drawing.add(elements.Line().at((x, y)).to((left, y)))
        drawing.add(elements.Line().at((right, y)).to((right + 0.5, y)))
        height = y + box.height / 2
        middles = []
        for part in network.parts:
            own = _size(part)
            middles.append(height - own.height / 2)
            end = _draw(drawing, part, left, middles[-1], placed)
            drawing.add(
                elements.Line().at((left + own.width, middles[-1])).to((right, middles[-1]))
            )
            height -= own.height
        for rail in (left, right):
            drawing.add(elements.Line().at((rail, middles[0])).to((rail, middles[-1])))
            drawing.add(elements.Dot().at((rail, y)))
        return end
    return _draw_leaf(drawing, next(placed), x, y)


def _draw_leaf(drawing: Drawing, part: Placed, x: float, y: float) -> str:
    end = (x + _LEAF_WIDTH, y)
    label = f"{part.name}  {value_text(part.leaf)}"
    match part.leaf:
        case Resistor():
            fixed = elements.Resistor().at((x, y)).to(end)  # type: ignore[no-untyped-call]
            drawing.add(fixed.label(label, loc="top", ofst=0.15))
        case Capacitor():
            drawing.add(elements.Capacitor().at((x, y)).to(end).label(label, loc="top", ofst=0.15))
        case Gang():
            variable = elements.ResistorVar().at((x, y)).to(end)  # type: ignore[no-untyped-call]
            # Down to its arrow, or a lead above would cross what is written.
            drawing.add(variable.label(label, loc="top", ofst=-0.25))
    return part.end
