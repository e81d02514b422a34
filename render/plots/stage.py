"""A circuit that the guitar feeds, as a list of its parts with where its nodes stand, as SVG."""

from typing import Literal

import schemdraw
from schemdraw import Drawing, elements

from presolder.models.circuit.rest import resting
from presolder.models.instrument.pedal import GROUND_NAME, NOMINAL_CELSIUS, Part
from presolder.models.instrument.quantities import Unit, format_quantity
from presolder.models.instrument.stage import Stage
from presolder.render.plots.drawn import as_svg, words_at

_INCHES, _POINTS = 0.22, 9
# Of a row, of a column, and from a part's end to what is said of it, in drawing units.
_ROW, _TALL_ROW, _COLUMN, _PART = 2.2, 4.2, 19.0, 3.0
# To the left and right of a part, and of a letter.
_LEFT, _RIGHT, _LETTER = 4.5, 4.6, 0.36
_TWO_ENDED = {
    "R": elements.Resistor, "C": elements.Capacitor, "L": elements.Inductor2,
    "D": elements.Diode, "V": elements.SourceV,
}  # fmt: skip
_UNITS: dict[str, Unit] = {"R": "ohm", "C": "farad", "L": "henry"}
# Of what a model says, there is room for what sets the working point.
_SHOWN = ("IS", "BF", "BR", "N")


def stage_svg(stage: Stage) -> str:
    """Draw each part of a circuit between its nodes, and say how they stand at rest.

    Parameters
    ----------
    stage : Stage

    Returns
    -------
    str
        An SVG element, without an XML declaration, in points of paper.

    Raises
    ------
    InputError
        If the circuit has no working point.
    """
    volts = resting(stage).node_volts | {GROUND_NAME: 0.0}
    drawing = schemdraw.Drawing(show=False, canvas="svg")
    drawing.config(unit=_PART, inches_per_unit=_INCHES, fontsize=_POINTS, lw=1.1, margin=0.6)
    at_rest = {node: f"{node}\n{round(volts[node], 2) + 0.0:.2f} V" for node in stage.pedal.nodes}
    heights = [_TALL_ROW if one.letter in "QE" else _ROW for one in stage.pedal.parts]
    x, y, lowest, said = 0.0, 0.0, -0.5 * sum(heights), list[str]()
    for part, height in zip(stage.pedal.parts, heights, strict=True):
        said.append(_said(part, stage))
        _draw_part(drawing, part, said[-1], at_rest, (x, y - height / 2))
        y -= height
        if y <= lowest and x == 0.0:
            x, y = _COLUMN, 0.0
    warm = stage.pedal.celsius
    told = f"{stage}, at rest" + ("" if warm == NOMINAL_CELSIUS else f" at {warm:g} degrees C")
    drawing.add(words_at((-_LEFT, 0.8), told))
    # What is said is no part of what the drawing measures itself by.
    right = x + _PART + _RIGHT + _LETTER * max(map(len, [told, *said]))
    for corner in ((-_LEFT - 1.0, 1.6), (right, lowest - _TALL_ROW)):
        drawing.add(words_at(corner, " "))
    return as_svg(drawing, f"Parts and voltages of {stage}")


def _draw_part(
    drawing: Drawing, part: Part, said: str, at_rest: dict[str, str], at: tuple[float, float]
) -> None:
    """One part, the nodes at its ends, and what it is."""
    x, y = at

    def node(name: str, place: tuple[float, float], halign: Literal["left", "right"]) -> None:
        drawing.add(words_at(place, at_rest[name], halign))

    if part.letter == "Q":
        kind = elements.BjtNpn if part.polarity > 0 else elements.BjtPnp
        made = drawing.add(kind(circle=True).right().anchor("base").at((x + 0.6, y)))
        collector, base, emitter = part.nodes
        node(base, (x, y), "right")
        for end, name in ((made.collector, collector), (made.emitter, emitter)):
            drawing.add(elements.Line().at(end).to((x + _PART, end[1])))
            node(name, (x + _PART + 0.4, end[1]), "left")
    elif part.letter == "E":
        made = drawing.add(elements.Opamp().right().anchor("center").at((x + _PART / 2, y)))
        up, down, plus, minus = part.nodes
        for end, name in ((made.in2, plus), (made.in1, minus)):
            drawing.add(elements.Line().at(end).to((x, end[1])))
            node(name, (x - 0.4, end[1]), "right")
        drawing.add(elements.Line().at(made.out).to((x + _PART, y)))
        node(up, (x + _PART + 0.4, y), "left")
        if down != GROUND_NAME:
            node(down, (x + _PART + 0.4, y - 1.4), "left")
    else:
        first, second = part.nodes
        made = _TWO_ENDED[part.letter]().right().at((x, y)).length(_PART)
        # A source's plus is drawn at its end, and stands first in a netlist.
        drawing.add(made.reverse() if part.letter == "V" else made)
        node(first, (x - 0.4, y), "right")
        node(second, (x + _PART + 0.4, y), "left")
    drawing.add(words_at((x + _PART + _RIGHT, y), f"{part.name.lower()}\n{said}"))


def _said(part: Part, stage: Stage) -> str:
    """Its value, or what its model says."""
    if part.letter in "DQ":
        said = ((name, worth) for name, worth in part.model if name in _SHOWN)
        return ", ".join(f"{name} {worth:g}" for name, worth in said)
    value = part.value.at(stage.knobs)
    if part.letter in _UNITS:
        return format_quantity(value, _UNITS[part.letter])
    return f"{value:g} V" if part.letter == "V" else f"{value:g} times"
