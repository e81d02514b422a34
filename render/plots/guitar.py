"""The guitar as it stands, from its coils to the input it feeds, as an SVG schematic."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import schemdraw
from schemdraw import Drawing, elements

from presolder.models.instrument.controls import Pickup, Pot, Tone
from presolder.models.instrument.onward import Buffer, Volume
from presolder.models.instrument.quantities import format_quantity
from presolder.models.instrument.rig import Channel, Rig
from presolder.models.instrument.source import (
    CoilsInParallel,
    CoilsInSeries,
    Piezo,
    Source,
    Wound,
)
from presolder.models.instrument.stage import Stage
from presolder.render.plots.drawn import as_svg, words_at

_INCHES, _POINTS = 0.22, 9
# Of a sans-serif font, in drawing units: a digit is 0.56 em wide, and capitals are wider.
_LETTER_WIDTH = 0.6 * _POINTS / 72 / _INCHES
# Of a coil, a pot, a tone control and what stands beside it, in drawing units.
_COIL_WIDTH, _COIL_HEIGHT = 9.0, 3.4
_POT_WIDTH, _POT_HEIGHT = 7.6, 4.0
_TONE_WIDTH, _SIDE_WIDTH = 5.6, 5.0
_ROW_GAP = 2.6


@dataclass
class _Pen:
    """Where the drawing goes on: the end of the signal's line."""

    drawing: Drawing
    x: float
    y: float

    def line_to(self, x: float, y: float) -> None:
        """A lead from where the signal is."""
        self.drawing.add(elements.Line().at((self.x, self.y)).to((x, y)))
        self.x, self.y = x, y


def guitar_svg(rig: Rig) -> str:
    """Draw a rig in the situation that it stands in.

    Parameters
    ----------
    rig : Rig

    Returns
    -------
    str
        An SVG element, without an XML declaration, in points of paper.
    """
    drawing = schemdraw.Drawing(show=False, canvas="svg")
    drawing.config(unit=3, inches_per_unit=_INCHES, fontsize=_POINTS, lw=1.1, margin=0.6)
    ends, y = [], 0.0
    widest = max(_size(channel.pickup)[0] for channel in rig.channels)
    for name, channel in zip(rig.volume_names, rig.channels, strict=False):
        pen = _Pen(drawing, 0.0, y)
        _draw_channel(pen, channel, f"{name} " if len(rig.channels) > 1 else "", rig, widest)
        ends.append(pen)
        y -= max(_size(channel.pickup)[1], _POT_HEIGHT + 1.6) + _ROW_GAP
    right = max(pen.x for pen in ends)
    for pen in ends:
        pen.line_to(right, pen.y)
    if len(ends) > 1:
        drawing.add(elements.Line().at((right, ends[0].y)).to((right, ends[-1].y)))
        for pen in ends:
            drawing.add(elements.Dot().at((right, pen.y)))
    pen = _Pen(drawing, right, 0.0)
    _draw_onward(pen, rig)
    return as_svg(drawing, f"Schematic of {rig.title or rig.name}")


def _draw_channel(pen: _Pen, channel: Channel, name: str, rig: Rig, widest: float) -> None:
    width, _ = _size(channel.pickup)
    _draw_source(pen.drawing, channel.pickup, f"{name}pickup", pen.y)
    pen.x = width / 2
    pen.line_to(widest, pen.y)
    blend = rig.blend_dial is not None and channel.volume.taper.kind == "blend"
    section = f"blend, section {1 + rig.channels.index(channel)}"
    stands = rig.blend_dial if blend else channel.held_at
    said = section if blend else f"{name}volume"
    _draw_volume(pen, channel, said, rig.volume_wiring, channel.tone, stands)


def _draw_onward(pen: _Pen, rig: Rig) -> None:
    """Everything after the channels' junction."""
    if rig.tone is not None and (rig.master is None or rig.tone.wiring == "modern"):
        _draw_tone(pen, rig.tone, "tone for all")
    if rig.master is not None:
        after = rig.tone if rig.tone is not None and rig.tone.wiring == "fifties" else None
        _draw_volume(pen, rig.master, "master volume", "lug", after, rig.master.held_at)
    if rig.buffer is not None and rig.buffer.place == "guitar":
        _draw_buffer(pen, rig.buffer)
    if rig.cable_farads > 0:
        _draw_down(pen, elements.Capacitor, f"cable\n{format_quantity(rig.cable_farads, 'farad')}")
    if rig.buffer is not None and rig.buffer.place == "cable":
        _draw_buffer(pen, rig.buffer)
    if rig.pedal is not None:
        volume = rig.pedal.volume
        _draw_volume(pen, volume, "volume pedal", "lug", None, volume.held_at)
    if isinstance(rig.dirt, Stage):
        _draw_box(pen, str(rig.dirt.kind))
        return
    if rig.dirt is not None:
        resistance = format_quantity(rig.dirt.load.resistance_ohms, "ohm")
        said = f"{rig.dirt.kind}\ninput {resistance}"
    elif rig.load.resistance_ohms < float("inf"):
        said = f"input\n{format_quantity(rig.load.resistance_ohms, 'ohm')}"
    else:
        said = "open"
    _draw_down(pen, elements.Resistor, said)


def _size(source: Source) -> tuple[float, float]:
    """Width and height that a source takes, hanging from its hot end."""
    match source:
        case CoilsInSeries(parts):
            sizes = [_size(part) for part in parts]
            return max(w for w, _ in sizes), sum(h for _, h in sizes)
        case CoilsInParallel(parts):
            sizes = [_size(part) for part in parts]
            return sum(w for w, _ in sizes), max(h for _, h in sizes)
        case _:
            return _COIL_WIDTH, _COIL_HEIGHT


def _draw_source(drawing: Drawing, source: Source, name: str, y: float) -> None:
    """Hang a source from height y, and ground what is lowest; the name is for a single coil."""
    width, height = _size(source)
    _hang(drawing, Wound(source, 1.0, name) if isinstance(source, Pickup | Piezo) else source, 0.0,
          y, height)  # fmt: skip
    drawing.add(elements.Ground().at((width / 2, y - height)))


def _hang(drawing: Drawing, source: Source, x: float, y: float, height: float) -> None:
    """Draw a source between heights y and y - height, its ends at the middle of its width."""
    width, own = _size(source)
    middle = x + width / 2
    match source:
        case CoilsInSeries(parts):
            for at, part in enumerate(parts, start=1):
                part_width, tall = _size(part)
                # What is left over lengthens the last.
                tall += (height - own) * (at == len(parts))
                _hang(drawing, part, middle - part_width / 2, y, tall)
                y -= tall
        case CoilsInParallel(parts):
            left = x
            ends = []
            for part in parts:
                part_width, _ = _size(part)
                _hang(drawing, part, left, y, height)
                ends.append(left + part_width / 2)
                left += part_width
            for level in (y, y - height):
                drawing.add(elements.Line().at((ends[0], level)).to((ends[-1], level)))
        case Wound(pickup, share, name):
            _draw_coil(drawing, pickup, name, share < 0, middle, y, height)
        case Pickup() | Piezo():
            _draw_coil(drawing, source, "pickup", False, middle, y, height)


def _draw_coil(
    drawing: Drawing,
    coil: Pickup | Piezo,
    name: str,
    reversed_: bool,
    x: float,
    y: float,
    height: float,
) -> None:
    if isinstance(coil, Piezo):
        kind: Callable[[], schemdraw.elements.Element] = elements.Capacitor
        said = f"{name}\n{format_quantity(coil.capacitance_farads, 'farad')}"
    else:
        kind = elements.Inductor2
        said = f"{name}\n{format_quantity(coil.resistance_ohms, 'ohm')}"
        said += f"  {format_quantity(coil.inductance_henries, 'henry')}"
    if reversed_:
        said += "\nreversed"
    drawing.add(kind().at((x, y)).to((x, y - height)))
    # The dot at the end that is in phase.
    drawing.add(elements.Dot(radius=0.09).at((x - 0.35, y - (height - 0.7 if reversed_ else 0.7))))
    drawing.add(words_at((x + 0.5, y - height / 2), said))


def _draw_volume(
    pen: _Pen,
    one: Channel | Volume,
    name: str,
    wiring: str,
    tone: Tone | None,
    stands: float | None,
) -> None:
    """A pot from where the signal is; the signal goes on from its other lug."""
    drawing, top = pen.drawing, pen.y
    if tone is not None and tone.wiring == "modern":
        _draw_tone(pen, tone, "tone")
    said = f"{name}\n{_pot_text(one.volume)}"
    said += "" if stands is None else f"\nat {stands:g}"
    x = pen.x + 1.2
    if wiring == "independent":
        # The pickup is at the wiper, the output at the input lug.
        pen.line_to(pen.x + 0.4, top)
        pot = elements.Potentiometer().at((x + 0.6, top)).to((x + 0.6, top - _POT_HEIGHT))  # type: ignore[no-untyped-call]
        drawing.add(pot.flip())
        _join(drawing, (pen.x, top), pot.absanchors["tap"])
        end = (x + 0.6, top)
    else:
        pen.line_to(x, top)
        pot = elements.Potentiometer().at((x, top)).to((x, top - _POT_HEIGHT))  # type: ignore[no-untyped-call]
        drawing.add(pot)
        end = pot.absanchors["tap"]
    drawing.add(elements.Ground().at(pot.absanchors["end"]))
    at = (pot.absanchors["end"][0] + 0.55, top - _POT_HEIGHT + 0.35)
    drawing.add(words_at(at, said))
    if one.auditioned:
        _draw_bypass_mark(drawing, pot)
    pen.x, pen.y = end[0], end[1]
    pen.line_to(x + _POT_WIDTH - 1.2, pen.y)
    pen.line_to(pen.x, top)
    if tone is not None and tone.wiring == "fifties":
        _draw_tone(pen, tone, "tone")


def _join(drawing: Drawing, start: tuple[float, float], end: tuple[float, float]) -> None:
    corner = (start[0], end[1])
    drawing.add(elements.Line().at(start).to(corner))
    drawing.add(elements.Line().at(corner).to(end))


def _draw_bypass_mark(drawing: Drawing, pot: elements.Potentiometer) -> None:
    """Where the design goes: a star at the input lug and at the wiper."""
    middle = pot.absanchors["start"][0]
    for place in ("start", "tap"):
        x, y = pot.absanchors[place]
        # Beside the lead, away from the track.
        side = 0.35 if x >= middle else -0.1
        drawing.add(elements.Label().at((x + side, y + 0.3)).theta(0).label("*", ofst=0))


def _draw_tone(pen: _Pen, tone: Tone, name: str) -> None:
    """A rheostat and a capacitor down to ground; the signal goes on."""
    drawing = pen.drawing
    pen.line_to(pen.x + 0.9, pen.y)
    x, y = pen.x, pen.y
    drawing.add(elements.Dot().at((x, y)))
    farads = format_quantity(tone.capacitance_farads, "farad")
    middle = (x, y - _POT_HEIGHT / 2)
    if tone.connected:
        drawing.add(elements.ResistorVar().at((x, y)).to(middle))  # type: ignore[no-untyped-call]
        drawing.add(elements.Capacitor().at(middle).to((x, y - _POT_HEIGHT)))
    else:
        # Its wiper has left the track.
        for gap in (y - 0.35, y - 0.85):
            drawing.add(elements.Dot(open=True, radius=0.11).at((x, gap)))
        drawing.add(elements.Line().at((x, y)).to((x, y - 0.24)))
        drawing.add(elements.ResistorVar().at((x, y - 0.96)).to((x, y - 0.7 * _POT_HEIGHT)))  # type: ignore[no-untyped-call]
        drawing.add(elements.Capacitor().at((x, y - 0.7 * _POT_HEIGHT)).to((x, y - _POT_HEIGHT)))
    drawing.add(elements.Ground().at((x, y - _POT_HEIGHT)))
    said = f"{name} at {tone.dial:g}\n{_pot_text(tone.pot)}\n{farads}"
    said += "" if tone.connected else "\nno load"
    at = (x + 0.6, y - _POT_HEIGHT + 0.7)
    drawing.add(words_at(at, said))
    pen.line_to(x + _TONE_WIDTH - 0.9, y)


def _draw_down(pen: _Pen, kind: Callable[[], schemdraw.elements.Element], said: str) -> None:
    """Something from the signal to ground; the signal goes on."""
    pen.line_to(pen.x + 1.2, pen.y)
    x, y = pen.x, pen.y
    pen.drawing.add(elements.Dot().at((x, y)))
    pen.drawing.add(kind().at((x, y)).to((x, y - _POT_HEIGHT)))
    pen.drawing.add(elements.Ground().at((x, y - _POT_HEIGHT)))
    pen.drawing.add(words_at((x + 0.6, y - _POT_HEIGHT / 2), said))
    # What is drawn next, or the edge, keeps clear of a long value.
    longest = max(len(line) for line in said.split("\n")) * _LETTER_WIDTH
    pen.line_to(x + max(_SIDE_WIDTH - 1.2, 0.6 + longest), y)


def _draw_box(pen: _Pen, said: str) -> None:
    """What the guitar feeds, where that is more than a resistance."""
    pen.line_to(pen.x + 1.2, pen.y)
    right, x, y = pen.x + 1.2 + len(said) * _LETTER_WIDTH, pen.x, pen.y
    corners = [(x, y + 1.0), (right, y + 1.0), (right, y - 1.0), (x, y - 1.0), (x, y + 1.0)]
    for start, end in pairwise(corners):
        pen.drawing.add(elements.Line().at(start).to(end))
    pen.drawing.add(words_at((x + 0.6, y - 0.15), said))
    pen.x = right
    pen.line_to(pen.x + 0.6, y)


def _draw_buffer(pen: _Pen, buffer: Buffer) -> None:
    pen.line_to(pen.x + 0.6, pen.y)
    x, y = pen.x, pen.y
    corners = [(x, y + 1.0), (x + 1.8, y), (x, y - 1.0), (x, y + 1.0)]
    for start, end in pairwise(corners):
        pen.drawing.add(elements.Line().at(start).to(end))
    gain = f"\n{buffer.gain_db:+g} dB" if buffer.gain_db else ""
    said = f"buffer\n{format_quantity(buffer.input_ohms, 'ohm')} in{gain}"
    pen.drawing.add(words_at((x + 0.2, y - 1.7), said))
    pen.x = x + 1.8
    pen.line_to(pen.x + 0.6, y)


def _pot_text(pot: Pot) -> str:
    law = "" if pot.taper.kind == "measured" else f" {pot.taper.kind}"
    return f"{format_quantity(pot.resistance_ohms, 'ohm')}{law}"
