"""What makes the signal: coils in series, in parallel or alone, or a piezo under the bridge."""

from dataclasses import dataclass, replace

from presolder.models.instrument.controls import (
    TYPICAL_OUTPUT_VOLTS,
    Pickup,
    require_output,
)
from presolder.models.instrument.quantities import (
    format_quantity,
    require_component,
    smallest_of,
)


@dataclass(frozen=True)
class Piezo:
    """A piezoelectric pickup: a source in series with its own capacitance.

    Attributes
    ----------
    capacitance_farads : float
    leakage_ohms : float or None
        Across it; None if only what it feeds drains it.
    output_volts : float
        As of a `Pickup`.
    """

    capacitance_farads: float
    leakage_ohms: float | None = None
    output_volts: float = TYPICAL_OUTPUT_VOLTS

    def __post_init__(self) -> None:
        require_component("capacitance", self.capacitance_farads, "farad")
        if self.leakage_ohms is not None:
            require_component("leakage", self.leakage_ohms, "ohm")
        require_output(self.output_volts)

    def __str__(self) -> str:
        return f"piezo, {format_quantity(self.capacitance_farads, 'farad')}"


@dataclass(frozen=True)
class Wound:
    """One coil or piezo of several.

    Attributes
    ----------
    pickup : Pickup or Piezo
    share : float
        Its EMF over that of a share of 1; below 0 if it is out of phase.
    name : str
    """

    pickup: Pickup | Piezo
    share: float = 1.0
    name: str = ""

    def __str__(self) -> str:
        turned = ", out of phase" if self.share < 0 else ""
        return f"{self.name} ({self.pickup}{turned})".lstrip()


@dataclass(frozen=True)
class CoilsInSeries:
    """One after the other, the first at the hot end."""

    parts: tuple["Source", ...]

    def __str__(self) -> str:
        return " + ".join(_inner(part) for part in self.parts)


@dataclass(frozen=True)
class CoilsInParallel:
    """Side by side."""

    parts: tuple["Source", ...]

    def __str__(self) -> str:
        return " || ".join(_inner(part) for part in self.parts)


Source = Pickup | Piezo | Wound | CoilsInSeries | CoilsInParallel


def _inner(part: Source) -> str:
    return f"({part})" if isinstance(part, CoilsInSeries | CoilsInParallel) else str(part)


def coils_of(source: Source) -> tuple[Wound, ...]:
    """Every coil of a source, in the order written."""
    match source:
        case CoilsInSeries(parts) | CoilsInParallel(parts):
            return tuple(coil for part in parts for coil in coils_of(part))
        case Wound():
            return (source,)
        case _:
            return (Wound(source),)


def wound(source: Source, factor: float) -> Source:
    """The same with the inductance of every coil changed by a factor; a piezo stays."""
    match source:
        case CoilsInSeries(parts):
            return CoilsInSeries(tuple(wound(part, factor) for part in parts))
        case CoilsInParallel(parts):
            return CoilsInParallel(tuple(wound(part, factor) for part in parts))
        case Wound(pickup):
            return replace(source, pickup=wound(pickup, factor))  # type: ignore[arg-type]
        case Pickup():
            # A coil of next to nothing stands for an ideal source.
            return source.wound(max(factor, smallest_of("henry") / source.inductance_henries))
        case _:
            return source


def turned(source: Source) -> Source:
    """The same with the phase of every coil turned round."""
    match source:
        case CoilsInSeries(parts):
            return CoilsInSeries(tuple(turned(part) for part in parts))
        case CoilsInParallel(parts):
            return CoilsInParallel(tuple(turned(part) for part in parts))
        case Wound():
            return replace(source, share=-source.share)
        case _:
            return Wound(source, -1.0)
