"""Write docs/stages.md: schematics and working points of the dirt stages.

``python docs/programs/make_stages.py``; the values are read from the circuits themselves.
"""

from functools import partial
from itertools import count
from pathlib import Path

import schemdraw
from schemdraw import elements as elm

from presolder.models.circuit.branch import Branch, Device, Diode
from presolder.models.circuit.entrance import entrance_ohms
from presolder.models.circuit.rest import Rest, resting
from presolder.models.circuit.stage_parts import StageParts, stage_parts
from presolder.models.instrument.circuits import STAGE_KINDS, StageKind
from presolder.models.instrument.pedal import read_pedal
from presolder.models.instrument.quantities import format_quantity
from presolder.models.instrument.stage import Stage

DOCS = Path(__file__).parents[1]
PAGE = DOCS / "stages.md"
OWN_FILE = DOCS.parent / "tests" / "data" / "pedals" / "shared-emitter.cir"
UNITS = {"resistor": "ohm", "capacitor": "farad"}
HEAD = """# The dirt stages that are circuits

Made by `docs/programs/make_stages.py` from the circuits themselves. Topologies are common practice, no source; the values are our own, chosen for ordinary working points, and no product's. Transistors and diodes are typical of small ones, from memory.

**This is to be heard, not to be built from.** Where you do solder: unplug, mind the hot iron and the fumes, never open a mains-powered amplifier, and leave it to a qualified technician if in doubt.

`--dirt` or `[dirt]` chooses one. The guitar, with its knob, cable and bypass, and the stage are one circuit: the stage's input loads the coil, its current goes through the pot, and both move with the signal.

"""
SAID: dict[StageKind, str] = {
    "germanium-fuzz": "Two transistors with feedback from the second's emitter to the first's base. With the fuzz at 10 the emitter is bypassed, so that for audio there is no feedback; below, part of its resistor is left free, and the feedback makes the input hundreds of ohms. `fuzz`, `bias` (trims the second collector's resistor, 5 as drawn), `supply` volts and the `battery`'s resistance, by which it sags, can be set.",
    "silicon-fuzz": "The same with faster transistors of more gain: it cleans up less, and later.",
    "treble-booster": "One transistor behind a small capacitor, which keeps the low strings out. `bias`, `supply` and `battery` as above.",
    "diode-clipper": "An amplifier that never saturates itself, and a pair of diodes to ground behind a resistor. `gain` is its knob; drawn at 10.",
}
OWN = """## One's own

A netlist in the cards of circuit simulators (after SPICE2) is a stage too: `--dirt my-fuzz.cir`, `kind = "my-fuzz.cir"` in a rig file, `ps.dirt("my-fuzz.cir")`, in a pack's live page as well.

```
{own}
```

Nodes are named at will, but for `in`, `out` and `0`. Known are R, C, L, V (direct voltage), E (an amplifier: two nodes out, two in, and how many times), D and Q with a `.model` of D, NPN or PNP: `IS`, `N` and `CJO` of a diode, `IS`, `BF`, `BR`, `CJE` and `CJC` of a transistor, whose capacitances are as at rest (a simulator does the same with `M=0`, `MJE=0`, `MJC=0`). What leaks in a transistor is `ISE`, `NE`, `ISC`, `NC`; how all of it changes with warmth is `EG` (0.67 for germanium), `XTI` and `XTB`, and `.temp 45` says how warm it is, 27 degrees C if nothing is said. `VAF` is the Early effect. The first line is a title. At most 24 nodes and 8 junctions (a transistor has two, and one more of each that leaks and of `VAF`); what is wrong is said with its line, and so is a direct voltage at the input, where a capacitor is wanted. [Fifteen ordinary stages](validation.md) agree with a simulator that reads the same files.

Knobs are named by `.param`, with where they stand as drawn, and values in braces go with them, along a straight line and no lower than a `max`: `.param drive=6 bias=4 supply=9 battery=50` and `Re emit free {{max(1.5k - 150*drive, 1m)}}`. One knob has a name of its own, 0 to 10; `bias` goes from 0 to 10, `supply` is volts and `battery` the ohms in it. `[dirt]` in a rig file turns them (`drive = 3`), and so does a live page. The four above are such netlists.

`presolder cleanup --dirt my-fuzz.cir --circuit circuit.svg` draws its parts, with the voltages of its nodes at rest, to compare with a meter at the pedal; there are only the battery's own volts in it, but mind the usual cautions where you solder.

At rest this one has {volts}.

"""
TAIL = """## What is idealised

- Junctions are exponential: Shockley's equation for diodes, the transport form of Ebers and Moll's for transistors (Getreu, Modeling the Bipolar Transistor, chapter 2; from memory), at 27 degrees C but in a netlist that says otherwise. Left out are ohmic resistances, breakdown, the transistors' own noise and, in the four built-in ones, leakage and the Early effect.
- Their capacitances, listed above, have one value each: that of the working point, with diffusion, and with what a builder adds against radio. Real ones vary with voltage.
- The output is heard across 470 kOhm, a volume control left at full. All of the stage's knobs are linear.
- The clipper's amplifier has a gain of 100,000 at all frequencies and no limits of voltage or speed.
- Direct voltage cannot leave a stage, nor reach it from the guitar: a capacitor stands at both ends. A file starts at the working point.

Volts matter to a circuit. The pickup's `output` in the rig file is the peak of its EMF in the loudest second of ordinary playing, 150 mV if nothing is said (common practice, no source); the take is scaled so that five times the RMS of its loudest second is that, and `--touch` says by how many dB it is played harder, or softer. The manifest tells both.

How it is computed and what it was checked against: [the model](model.md#the-fuzz-as-a-circuit), [the checks](validation.md).
"""


def parts_of(stage: Stage) -> StageParts:
    """The circuit's parts; its input is node 1."""
    return stage_parts(stage, 1, count(3))


def value_of(branches: tuple[Branch, ...], kind: str, plus: int, minus: int) -> str:
    """Of the one part of a kind between two nodes, for a label."""
    (found,) = [b for b in branches if b.kind == kind and {b.plus, b.minus} == {plus, minus}]
    return format_quantity(found.value, UNITS[kind])  # type: ignore[arg-type]


def draw(kind: StageKind) -> None:
    """A schematic as SVG."""
    parts = parts_of(Stage(kind))
    drawing = schemdraw.Drawing(show=False, canvas="svg")
    drawing.config(unit=2.2, fontsize=11, lw=1.3)
    {"treble-booster": draw_booster, "diode-clipper": draw_clipper}.get(kind, draw_fuzz)(
        drawing, parts
    )
    drawing.save(str(DOCS / "pictures" / f"stage-{kind}.svg"))


def draw_fuzz(d: schemdraw.Drawing, parts: StageParts) -> None:
    """Two transistors with feedback."""
    at, names, out = partial(value_of, parts.branches), parts.names, parts.output
    base, first, second = names["base1"], names["collector1"], names["collector2"]
    emitter, rail, tap, bypassed = (names[one] for one in ("emitter2", "rail", "tap", "bypassed"))
    d.add(elm.Dot(open=True).at((0, 0)).label("cable", "left"))
    d.add(elm.Capacitor().right().label(at("capacitor", 1, base)))
    node = d.add(elm.Dot())
    one = d.add(elm.BjtNpn(circle=True).right().anchor("base").at(node.center).label("1", "right"))
    d.add(elm.Ground().at(one.emitter))
    d.add(elm.Line().up().at(one.collector).length(0.5))
    collector = d.add(elm.Dot())
    d.add(elm.Resistor().up().label(at("resistor", rail, first), "bottom"))
    left = d.add(elm.Dot())
    d.add(elm.Line().right().at(collector.center).length(1.6))
    two = d.add(elm.BjtNpn(circle=True).right().anchor("base").label("2", "right"))
    d.add(elm.Line().down().at(two.emitter).length(1.1))
    joint = d.add(elm.Dot())
    d.add(elm.Resistor().down().label(at("resistor", bypassed, 0), "bottom"))
    d.add(elm.Ground())
    d.add(elm.Line().right().at(joint.center).length(2.2))
    d.add(elm.Capacitor().down().label(at("capacitor", bypassed, 0), "bottom"))
    d.add(elm.Ground())
    d.add(elm.Line().left().at(joint.center).tox(one.emitter[0] + 0.9))
    d.add(elm.Line().down().length(1.9))
    d.add(elm.Resistor().left().tox(node.center).label(at("resistor", emitter, base), "bottom"))
    d.add(elm.Line().up().toy(node.center))
    d.add(elm.Resistor().up().at(two.collector).label(at("resistor", tap, second), "bottom"))
    middle = d.add(elm.Dot())
    d.add(elm.Resistor().up().label(at("resistor", rail, tap), "bottom"))
    top = d.add(elm.Dot())
    d.add(elm.Line().left().at(top.center).tox(left.center))
    d.add(elm.Line().down().toy(left.center))
    d.add(elm.Capacitor().right().at(middle.center).label(at("capacitor", tap, out)))
    d.add(elm.Dot(open=True).label("heard", "right"))
    d.add(elm.Line().right().at(top.center).length(1.2))
    d.add(elm.Vdd().label("supply"))


def draw_booster(d: schemdraw.Drawing, parts: StageParts) -> None:
    """One transistor."""
    at, names, out = partial(value_of, parts.branches), parts.names, parts.output
    base, emitter, collector, rail = (
        names[name] for name in ("base", "emitter", "collector", "rail")
    )
    d.add(elm.Dot(open=True).at((0, 0)).label("cable", "left"))
    d.add(elm.Capacitor().right().label(at("capacitor", 1, base)))
    node = d.add(elm.Dot())
    d.add(elm.Resistor().down().label(at("resistor", base, 0), "bottom"))
    d.add(elm.Ground())
    upper = d.add(elm.Resistor().up().at(node.center).length(4).label(at("resistor", rail, base)))
    d.add(elm.Line().right().at(node.center).length(1.4))
    one = d.add(elm.BjtNpn(circle=True).right().anchor("base"))
    joint = d.add(elm.Dot().at(one.emitter))
    d.add(elm.Resistor().down().label(at("resistor", emitter, 0), "bottom"))
    d.add(elm.Ground())
    d.add(elm.Line().right().at(joint.center).length(2.2))
    d.add(elm.Capacitor().down().label(at("capacitor", emitter, 0), "bottom"))
    d.add(elm.Ground())
    middle = d.add(elm.Dot().at(one.collector))
    d.add(elm.Resistor().up().toy(upper.end).label(at("resistor", rail, collector), "bottom"))
    d.add(elm.Line().left().tox(upper.end))
    d.add(elm.Capacitor().right().at(middle.center).label(at("capacitor", collector, out)))
    d.add(elm.Dot(open=True).label("heard", "right"))
    d.add(elm.Vdd().at(upper.end).label("supply"))


def draw_clipper(d: schemdraw.Drawing, parts: StageParts) -> None:
    """An amplifier and two diodes."""
    branches, at, out = parts.branches, partial(value_of, parts.branches), parts.output
    amplifier = next(b for b in branches if b.kind == "amplifier")
    assert amplifier.control is not None
    (entry, minus), strong = amplifier.control, amplifier.plus
    across, corner = parts.names["across"], parts.names["corner"]
    d.add(elm.Dot(open=True).at((0, 0)).label("cable", "left"))
    d.add(elm.Capacitor().right().label(at("capacitor", 1, entry)))
    node = d.add(elm.Dot())
    d.add(elm.Resistor().down().label(at("resistor", entry, 0), "bottom"))
    d.add(elm.Ground())
    d.add(elm.Line().right().at(node.center).length(1.6))
    amp = d.add(elm.Opamp(leads=True).right().anchor("in2"))
    d.add(elm.Line().up().at(amp.in1).length(1.1))
    inverting = d.add(elm.Dot())
    d.add(elm.Resistor().left().length(1.6).label(at("resistor", minus, corner)))
    d.add(elm.Capacitor().left().length(1.6).label(at("capacitor", corner, 0)))
    d.add(elm.Ground().left())
    feedback = d.add(
        elm.Resistor()
        .right()
        .at(inverting.center)
        .tox(amp.out)
        .label(at("resistor", strong, minus))
    )
    d.add(elm.Line().up().at(inverting.center).length(1.3))
    d.add(elm.Capacitor().right().tox(amp.out).label(at("capacitor", strong, minus)))
    d.add(elm.Line().down().toy(feedback.end))
    d.add(elm.Line().down().toy(amp.out))
    d.add(elm.Resistor().right().at(amp.out).label(at("resistor", strong, across)))
    clipped = d.add(elm.Dot())
    d.add(elm.Diode().down())
    d.add(elm.Ground())
    d.add(elm.Line().right().at(clipped.center).length(1.2))
    d.add(elm.Dot())
    d.add(elm.Diode().down().reverse())
    d.add(elm.Ground())
    d.add(elm.Line().right().at((clipped.center[0] + 1.2, clipped.center[1])).length(1.2))
    third = d.add(elm.Dot())
    d.add(elm.Capacitor().down().label(at("capacitor", across, 0), "bottom"))
    d.add(elm.Ground())
    d.add(elm.Capacitor().right().at(third.center).label(at("capacitor", across, out)))
    d.add(elm.Dot(open=True).label("heard", "right"))


def device_line(parts: StageParts, device: Device) -> str:
    """What a transistor or diode is like."""
    if isinstance(device, Diode):
        return (
            f"\nDiode: {1e9 * device.saturation_amperes:g} nA of saturation current, emission"
            f" coefficient {device.emission:g}."
        )
    at = partial(value_of, parts.branches)
    of_emitter = at("capacitor", device.base, device.emitter)
    of_collector = at("capacitor", device.base, device.collector)
    return (
        f"\nTransistor: current gain {device.forward_gain:g} ({device.reverse_gain:g} in reverse),"
        f" {device.saturation_amperes:.0e} A of saturation current, base to emitter {of_emitter},"
        f" base to collector {of_collector}."
    )


def volts_of(rest: Rest) -> str:
    """Where nodes stand; what is none but for rounding is left out."""
    there = {name: value for name, value in rest.node_volts.items() if abs(value) > 1e-3}
    return "; ".join(f"{name} {value:.2f} V" for name, value in there.items()) or "0 V everywhere"


def text() -> str:
    """The page."""
    lines = [HEAD]
    for kind in STAGE_KINDS:
        parts, rest = parts_of(Stage(kind)), resting(Stage(kind))
        low, high = (abs(z) for z in entrance_ohms(Stage(kind), [330.0, 3000.0]))
        lines.append(
            f"## `{kind}`\n\n{SAID[kind]}\n\n![Schematic of {kind}](pictures/stage-{kind}.svg)\n"
        )
        lines.append(
            f"At rest: {volts_of(rest)}. Input for small signals: {low / 1e3:.1f} kΩ at 330 Hz,"
            f" {high / 1e3:.1f} kΩ at 3 kHz."
        )
        lines += [device_line(parts, device) for device in parts.devices]
        lines.append("")
    own = OWN_FILE.read_text("utf-8").strip()
    volts = volts_of(resting(Stage.as_drawn(read_pedal(own, OWN_FILE.stem))))
    return "\n".join(lines) + "\n" + OWN.format(own=own, volts=volts) + TAIL


if __name__ == "__main__":
    for each in STAGE_KINDS:
        draw(each)
    PAGE.write_text(text(), encoding="utf-8")
