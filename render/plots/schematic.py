"""The network between the lugs as an SVG drawing."""

from collections.abc import Iterator
from dataclasses import dataclass

import schemdraw
from schemdraw import Drawing, elements

from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Network,
    Parallel,
    Resistor,
    Series,
    format_network,
)
from presolder.models.instrument.placement import Placed, placed_parts, value_text

_LEAF_WIDTH, _LEAF_HEIGHT = 3.0, 1.7


@dataclass(frozen=True)
class _Box:
    """Room that a network takes, in drawing units."""

    width: float
    height: float


def network_svg(network: Network | None) -> str:
    """Draw the volume pot with a network from its input lug to its wiper lug.

    Parameters
    ----------
    network : Network or None
        None draws the pot alone.

    Returns
    -------
    str
        An SVG element, without an XML declaration.
    """
    drawing = schemdraw.Drawing(show=False, canvas="svg")
    drawing.config(unit=3, fontsize=11, lw=1.3, margin=0.7)
    tap, right = _draw_pot(drawing, max(_size(network).width + 1.0, 4.0))
    if network is not None:
        box = _size(network)
        top = 0.6 + box.height / 2
        drawing.add(elements.Line().at((0.0, 0.0)).to((0.0, top)))
        start, end = 0.5, 0.5 + box.width
        drawing.add(elements.Line().at((0.0, top)).to((start, top)))
        _draw(drawing, network, start, top, iter(placed_parts(network)))
        drawing.add(elements.Line().at((end, top)).to((right, top)))
        drawing.add(elements.Line().at((right, top)).to((right, tap)))
    svg = drawing.get_imagedata("svg").decode("utf-8")
    fitted = f" with {format_network(network)} between its input lug and wiper lug"
    spoken = "Volume pot" + (fitted if network is not None else "")
    return svg[svg.index("<svg") :].replace("<svg", f'<svg role="img" aria-label="{spoken}"', 1)


def _draw_pot(drawing: Drawing, right: float) -> tuple[float, float]:
    """The pot with its lugs named, its wiper led out to the right; height and end of that."""
    # The track runs down the left, the wiper points to the right.
    pot = elements.Potentiometer().down().at((0.0, 0.0))  # type: ignore[no-untyped-call]
    drawing.add(pot)
    drawing.add(elements.Ground().at(pot.end))
    drawing.add(elements.Dot(open=True).at((0.0, 0.0)))
    drawing.add(elements.Label().at((-0.2, 0.0)).label("input lug", halign="right", loc="center"))
    drawing.add(elements.Label().at((-0.5, -1.5)).label("volume", halign="right", loc="center"))
    drawing.add(elements.Label().at((-0.2, -3.0)).label("ground lug", halign="right", loc="center"))
    tap = pot.tap.y
    drawing.add(elements.Line().at(pot.tap).to((right, tap)))
    drawing.add(elements.Dot(open=True).at((right, tap)))
    drawing.add(
        elements.Label().at((right + 0.2, tap)).label("wiper lug", halign="left", loc="center")
    )
    return tap, right


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
                drawing.add(elements.Label().at((x, y - 0.35)).label(letter, loc="center"))
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
            drawing.add(variable.label(label, loc="top", ofst=0.15))
    return part.end
