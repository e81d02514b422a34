"""A stage's netlist as branches and junctions, from the node where the guitar's cable ends.

Left out: the transistors' ohmic resistances, and that their junction capacitances
vary with voltage; they have the value that they have at rest, diffusion included.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from presolder.models.circuit.branch import GROUND, Branch, BranchKind, Device
from presolder.models.circuit.warmth import warm_diode, warm_transistor
from presolder.models.instrument.pedal import GROUND_NAME, INPUT, OUTPUT_NAME, Value
from presolder.models.instrument.stage import Stage


@dataclass(frozen=True)
class StageParts:
    """A stage as a circuit.

    Attributes
    ----------
    branches : tuple of Branch
    values : tuple of Value
        Of each branch, how its knobs move it.
    devices : tuple of Diode or Transistor
    output : int
        The node where it is listened to.
    names : dict of str to int
        Nodes by their names in the netlist; ground is none.
    """

    branches: tuple[Branch, ...]
    values: tuple[Value, ...]
    devices: tuple[Device, ...]
    output: int
    names: dict[str, int]


_KINDS: dict[str, BranchKind] = {
    "R": "resistor", "C": "capacitor", "L": "inductor", "V": "supply", "E": "amplifier",
}  # fmt: skip


def stage_parts(stage: Stage, start: int, free: Iterator[int]) -> StageParts:
    """The parts of a stage, from the node `start` on; further nodes are taken from `free`."""
    pedal, knobs = stage.pedal, stage.knobs
    at = {GROUND_NAME: GROUND, INPUT: start}
    for node in pedal.nodes:
        if node not in at:
            at[node] = next(free)
    branches: list[Branch] = []
    values: list[Value] = []
    devices: list[Device] = []

    def lies(
        kind: BranchKind, one: int, other: int, value: Value, control: tuple[int, int] | None = None
    ) -> None:
        values.append(value)
        branches.append(Branch(kind, one, other, value.at(knobs), control=control))

    def across(one: int, other: int, farads: float) -> None:
        if farads:
            lies("capacitor", one, other, Value(farads))

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
                lies(_KINDS[letter], first, second, part.value, pair)
    names = {node: number for node, number in at.items() if number != GROUND}
    return StageParts(
        tuple(branches), tuple(values), tuple(devices), at[OUTPUT_NAME], names
    )  # fmt: skip
