"""The circuits of the dirt stages: parts of our own choosing, after the usual ideas.

Each begins at the node where the guitar's cable ends. Their topologies are
common practice, no source; the values were chosen for ordinary working points
and belong to no product. Left out: the transistors' Early effect and ohmic
resistances, and that their junction capacitances vary with voltage; they have
the value that they have at rest, diffusion included.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from presolder.models.circuit.branch import GROUND, Branch, BranchKind, Device, Diode, Transistor
from presolder.models.circuit.warmth import warm_diode, warm_transistor
from presolder.models.instrument.pedal import GROUND_NAME, INPUT, OUTPUT_NAME, Pedal
from presolder.models.instrument.stage import Stage


@dataclass(frozen=True)
class StageParts:
    """A stage as a circuit.

    Attributes
    ----------
    branches : tuple of Branch
    devices : tuple of Diode or Transistor
    output : int
        The node where it is listened to.
    names : dict of str to int
        Nodes that working points are told of.
    """

    branches: tuple[Branch, ...]
    devices: tuple[Device, ...]
    output: int
    names: dict[str, int]


@dataclass(frozen=True)
class _Type:
    """A type of transistor: currents, and the capacitances of its junctions at rest.

    Typical of small ones, from memory; the base's holds what a builder adds
    against radio, and with germanium the slowness of its time.
    """

    saturation_amperes: float
    gain: float
    reverse_gain: float
    base_emitter_farads: float
    base_collector_farads: float


@dataclass(frozen=True)
class _Fuzz:
    """Values of the two-transistor stage."""

    first: _Type
    second: _Type
    first_collector_ohms: float
    tap_ohms: float
    second_collector_ohms: float
    feedback_ohms: float
    emitter_ohms: float
    emitter_farads: float
    input_farads: float


_GERMANIUM = _Type(2e-6, 75.0, 8.0, 3.3e-9, 47e-12)
_SILICON = _Type(4e-14, 180.0, 4.0, 3.3e-9, 47e-12)
_FUZZES = {
    "germanium-fuzz": _Fuzz(
        _GERMANIUM, _Type(2e-6, 110.0, 8.0, 2.2e-9, 100e-12),
        27e3, 560.0, 11e3, 82e3, 1.2e3, 12e-6, 2.7e-6,
    ),
    "silicon-fuzz": _Fuzz(
        _SILICON, _Type(4e-14, 210.0, 4.0, 2.2e-9, 100e-12),
        36e3, 470.0, 6.8e3, 82e3, 1.2e3, 12e-6, 2.7e-6,
    ),
}  # fmt: skip
_KINDS: dict[str, BranchKind] = {
    "R": "resistor", "C": "capacitor", "L": "inductor", "V": "supply", "E": "amplifier",
}  # fmt: skip
_FUZZ_OUTPUT_FARADS, _OUTPUT_OHMS = 15e-9, 470e3
_SUPPLY_FARADS = 22e-6
# A pot's track that is turned to its end still has so much; and what stands for none.
_LEAST_OHMS, _NO_OHMS = 1.0, 1e-3


def stage_parts(stage: Stage, start: int, free: Iterator[int]) -> StageParts:
    """The parts of a stage, from the node `start` on; further nodes are taken from `free`."""
    match stage.kind:
        case "germanium-fuzz" | "silicon-fuzz":
            return _fuzz(stage, _FUZZES[stage.kind], start, free)
        case "treble-booster":
            return _booster(stage, start, free)
        case "diode-clipper":
            return _clipper(stage, start, free)
        case Pedal():
            return _pedal(stage.kind, start, free)


def _pedal(pedal: Pedal, start: int, free: Iterator[int]) -> StageParts:
    """A netlist of one's own; its junctions' capacitances are as at rest, whatever the voltage."""
    at = {GROUND_NAME: GROUND, INPUT: start}
    for node in pedal.nodes:
        if node not in at:
            at[node] = next(free)
    branches: list[Branch] = []
    devices: list[Device] = []

    def across(one: int, other: int, farads: float) -> None:
        if farads:
            branches.append(Branch("capacitor", one, other, farads))

    for part in pedal.parts:
        first, second, *control = (at[node] for node in part.nodes)
        match part.letter:
            case "D":
                devices.append(warm_diode(first, second, part.says, pedal.celsius))
                across(first, second, part.says("CJO"))
            case "Q":
                (emitter,) = control
                ends = first, second, emitter
                devices += warm_transistor(ends, part.polarity, part.says, pedal.celsius)
                across(second, emitter, part.says("CJE"))
                across(second, first, part.says("CJC"))
            case letter:
                pair = (control[0], control[1]) if control else None
                branches.append(Branch(_KINDS[letter], first, second, part.value, control=pair))
    names = {node: number for node, number in at.items() if number != GROUND}
    return StageParts(tuple(branches), tuple(devices), at[OUTPUT_NAME], names)


def _battery(stage: Stage, free: Iterator[int]) -> tuple[int, list[Branch]]:
    """A battery with its resistance and a capacitor across; the node it feeds."""
    inside, rail = next(free), next(free)
    return rail, [
        Branch("supply", inside, GROUND, stage.supply_volts),
        Branch("resistor", inside, rail, stage.battery_ohms),
        Branch("capacitor", rail, GROUND, _SUPPLY_FARADS),
    ]


def _transistor(
    kind: _Type, collector: int, base: int, emitter: int
) -> tuple[Transistor, list[Branch]]:
    """A transistor, and the capacitances of its junctions."""
    device = Transistor(
        collector, base, emitter, kind.saturation_amperes, kind.gain, kind.reverse_gain
    )
    return device, [
        Branch("capacitor", base, emitter, kind.base_emitter_farads),
        Branch("capacitor", base, collector, kind.base_collector_farads),
    ]


def _trimmed(stage: Stage, ohms: float) -> float:
    """A resistor that the bias trim makes smaller or larger, by as much as 60 %."""
    return ohms * (0.4 + 0.12 * stage.bias)


def _fuzz(stage: Stage, values: _Fuzz, start: int, free: Iterator[int]) -> StageParts:
    rail, branches = _battery(stage, free)
    base, first, second, emitter, tap, output = (next(free) for _ in range(6))
    one, its = _transistor(values.first, first, base, GROUND)
    other, others = _transistor(values.second, second, first, emitter)
    branches += [
        Branch("capacitor", start, base, values.input_farads),
        Branch("resistor", rail, first, values.first_collector_ohms),
        Branch("resistor", rail, tap, values.tap_ohms),
        Branch("resistor", tap, second, _trimmed(stage, values.second_collector_ohms)),
        Branch("resistor", emitter, base, values.feedback_ohms),
        Branch("capacitor", tap, output, _FUZZ_OUTPUT_FARADS),
        Branch("resistor", output, GROUND, _OUTPUT_OHMS),
        *its,
        *others,
    ]
    # The fuzz knob: how much of the emitter's resistor the capacitor leaves alone.
    bypassed, bare = next(free), values.emitter_ohms * (1.0 - stage.control / 10.0)
    rest = max(values.emitter_ohms - bare, _LEAST_OHMS)
    branches += [
        Branch("resistor", emitter, bypassed, max(bare, _NO_OHMS)),
        Branch("resistor", bypassed, GROUND, rest),
        Branch("capacitor", bypassed, GROUND, values.emitter_farads),
    ]
    names = {
        "first base": base, "first collector": first, "second emitter": emitter,
        "second collector": second, "supply": rail,
    }  # fmt: skip
    return StageParts(tuple(branches), (one, other), output, names)


def _booster(stage: Stage, start: int, free: Iterator[int]) -> StageParts:
    rail, branches = _battery(stage, free)
    base, collector, emitter, output = (next(free) for _ in range(4))
    device, its = _transistor(_GERMANIUM, collector, base, emitter)
    branches += [
        Branch("capacitor", start, base, 4.3e-9),
        Branch("resistor", rail, base, 390e3),
        Branch("resistor", base, GROUND, 56e3),
        Branch("resistor", rail, collector, _trimmed(stage, 9.1e3)),
        Branch("resistor", emitter, GROUND, 3.3e3),
        Branch("capacitor", emitter, GROUND, 33e-6),
        Branch("capacitor", collector, output, 22e-9),
        Branch("resistor", output, GROUND, _OUTPUT_OHMS),
        *its,
    ]
    names = {"base": base, "emitter": emitter, "collector": collector, "supply": rail}
    return StageParts(tuple(branches), (device,), output, names)


def _clipper(stage: Stage, start: int, free: Iterator[int]) -> StageParts:
    """An amplifier with feedback, which never saturates itself, and diodes behind a resistor."""
    entry, minus, corner, strong, across, output = (next(free) for _ in range(6))
    branches = [
        Branch("capacitor", start, entry, 33e-9),
        Branch("resistor", entry, GROUND, 560e3),
        Branch("capacitor", entry, GROUND, 47e-12),
        Branch("amplifier", strong, GROUND, 1e5, control=(entry, minus)),
        Branch("resistor", strong, minus, 4.7e3 + 22e3 * stage.control),
        Branch("capacitor", strong, minus, 68e-12),
        Branch("resistor", minus, corner, 3.9e3),
        Branch("capacitor", corner, GROUND, 68e-9),
        Branch("resistor", strong, across, 8.2e3),
        Branch("capacitor", across, GROUND, 4.7e-9),
        Branch("capacitor", across, output, 100e-9),
        Branch("resistor", output, GROUND, _OUTPUT_OHMS),
    ]
    # A small silicon signal diode; typical, from memory.
    pair = (Diode(across, GROUND, 2.5e-9, 1.75), Diode(GROUND, across, 2.5e-9, 1.75))
    return StageParts(tuple(branches), pair, output, {"amplifier": strong, "diodes": across})
