"""A dirt stage that is a circuit of its own: which, and how it is set."""

from dataclasses import dataclass, replace

from presolder.models.errors import InputError
from presolder.models.instrument.circuits import STAGE_KINDS, StageKind, built_in_pedal
from presolder.models.instrument.pedal import KNOBS, Pedal
from presolder.models.instrument.quantities import require_within


@dataclass(frozen=True)
class Stage:
    """A circuit that the guitar feeds, and becomes part of.

    Attributes
    ----------
    kind : {"germanium-fuzz", "silicon-fuzz", "treble-booster", "diode-clipper"} or Pedal
        ``germanium-fuzz``, ``silicon-fuzz``: two transistors with feedback from
        the second's emitter to the first's base. ``treble-booster``: one
        transistor behind a small capacitor. ``diode-clipper``: a pair of diodes
        to ground behind an amplifier. What a netlist has no knob for does nothing.
    control : float
        The stage's own knob, 0-10: fuzz of the fuzzes, gain of the clipper. The
        booster has none.
    bias : float
        Trim of the last transistor's collector resistor, 0-10; 5 is as
        designed. The clipper has none.
    supply_volts : float
        Of the battery, without load.
    battery_ohms : float
        What it sags by: resistance of the battery.
    touch_db : float
        How much harder than the pickup's output says the strings are played;
        below 0 softer.
    level_db : float
        Output level.
    """

    kind: StageKind | Pedal = "germanium-fuzz"
    control: float = 10.0
    bias: float = 5.0
    supply_volts: float = 9.0
    battery_ohms: float = 50.0
    touch_db: float = 0.0
    level_db: float = 0.0

    def __post_init__(self) -> None:
        if not isinstance(self.kind, Pedal) and self.kind not in STAGE_KINDS:
            raise InputError(f"stage {self.kind!r} is unknown; one of {', '.join(STAGE_KINDS)}")
        called = {"control": self.pedal.control or "control"}
        require_within(
            (
                *((called.get(knob, knob), at, *KNOBS[knob]) for knob, at in self.knobs.items()),
                ("touch_db", self.touch_db, -60.0, 60.0),
                ("level_db", self.level_db, -60.0, 60.0),
            )
        )

    @classmethod
    def as_drawn(cls, kind: StageKind | Pedal) -> "Stage":
        """A circuit with its knobs where its netlist has them."""
        pedal = kind if isinstance(kind, Pedal) else built_in_pedal(kind)
        at = cls(kind).knobs | dict(pedal.knobs)
        return cls(kind, at["control"], at["bias"], at["supply"], at["battery"])

    @property
    def pedal(self) -> Pedal:
        """Its netlist."""
        return self.kind if isinstance(self.kind, Pedal) else built_in_pedal(self.kind)

    @property
    def knobs(self) -> dict[str, float]:
        """Where its knobs stand, by their names in `KNOBS`."""
        return {
            "control": self.control, "bias": self.bias, "supply": self.supply_volts,
            "battery": self.battery_ohms,
        }  # fmt: skip

    def apart_from_playing(self) -> "Stage":
        """The same circuit, whatever is played into it at which level."""
        return replace(self, touch_db=0.0, level_db=0.0)

    def __str__(self) -> str:
        return str(self.kind)
