"""Plain netlists of the control chain, written from its description.

Nothing here uses the code of ``presolder.models`` beyond the attributes of
the descriptions: tapers, wiring and networks are written out a second time.
"""

import subprocess
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import numpy as np
import scipy.interpolate
from numpy.typing import NDArray

from presolder.models.typing import Array

Value = Callable[[float, object, bool], str]  # total ohms, taper, rest of track? -> value text
SPICE_OPTIONS = ".options reltol=1e-8 abstol=1e-18 vntol=1e-13 chgtol=1e-22 gmin=1e-16 rshunt=1e15"


@dataclass(frozen=True)
class Part:
    letter: str
    plus: str
    minus: str
    value: str


def fraction(taper: object, dial: float) -> float:
    """Share of the track below the wiper."""
    x, m = dial / 10, taper.midpoint  # type: ignore[attr-defined]
    match taper.kind:  # type: ignore[attr-defined]
        case "linear":
            return x
        case "audio":
            b = (1 / m - 1) ** 2
            return (b**x - 1) / (b - 1)
        case "reverse-audio":
            b = (1 / m - 1) ** 2
            return 1 - (b ** (1 - x) - 1) / (b - 1)
        case "two-slope":
            return 2 * m * x if x < 0.5 else m + (2 * x - 1) * (1 - m)
        case _:
            points = np.array(taper.points)  # type: ignore[attr-defined]
            return float(scipy.interpolate.PchipInterpolator(points[:, 0], points[:, 1])(dial))


def at_dial(dial: float) -> Value:
    """Rheostat values for a knob at rest."""

    def value(ohms: float, taper: object, rest: bool) -> str:
        share = fraction(taper, dial)
        return f"{max(ohms * (1 - share if rest else share), 1e-3):.15e}"

    return value


def following_dial(ohms: float, taper: object, rest: bool) -> str:
    """Rheostat values as expressions of the voltage on node ``dial``."""
    x, m = "(V(dial)/10)", taper.midpoint  # type: ignore[attr-defined]
    power = float(2 * np.log(1 / m - 1))
    share = {
        "linear": x,
        "audio": f"((exp({power!r}*{x})-1)/{float(np.expm1(power))!r})",
        "reverse-audio": f"(1-(exp({power!r}*(1-{x}))-1)/{float(np.expm1(power))!r})",
        "two-slope": f"({x}<0.5 ? {2 * m!r}*{x} : {m!r}+(2*{x}-1)*{1 - m!r})",
    }[taper.kind]  # type: ignore[attr-defined]
    return f"'max(1,{ohms!r}*{f'(1-{share})' if rest else share})'"


def parts_of(rig: object, network: object, value: Value) -> list[Part]:
    """Every part of the chain but the source, between named nodes (``emf`` to ``out``)."""
    load = rig.load  # type: ignore[attr-defined]
    independent = rig.volume_wiring == "independent"  # type: ignore[attr-defined]
    free = count(1)
    first, *others = rig.channels  # type: ignore[attr-defined]
    parts = _one_pickup(first, independent, "emf", "", free, network, value)
    for second in others:
        own = network if second.bypass == "auditioned" else second.bypass
        held = value if second.held_at is None else at_dial(second.held_at)
        parts.append(Part("E", "emf2", "0", f"emf 0 {second.strength!r}"))
        parts += _one_pickup(second, independent, "emf2", "2", free, own, held)
    farads = rig.cable_farads + load.capacitance_farads  # type: ignore[attr-defined]
    if farads:
        parts.append(Part("C", "out", "0", repr(farads)))
    if np.isfinite(load.resistance_ohms):
        parts.append(Part("R", "out", "0", repr(load.resistance_ohms)))
    return parts


def _one_pickup(
    channel: object,
    independent: bool,
    emf: str,
    mark: str,
    free: Iterator[int],
    network: object,
    value: Value,
) -> list[Part]:
    """From one EMF to ``out``; the mark keeps a second pickup's nodes apart."""
    pickup, tone, volume = channel.pickup, channel.tone, channel.volume  # type: ignore[attr-defined]
    coil, hot = f"coil{mark}", f"lug{mark}"
    parts = [Part("R", emf, coil, repr(pickup.resistance_ohms))]
    if pickup.leakage_henries:
        parts.append(Part("L", coil, f"core{mark}", repr(pickup.leakage_henries)))
        coil = f"core{mark}"
    henries = pickup.inductance_henries - pickup.leakage_henries
    parts.append(Part("L", coil, hot, repr(henries)))
    if pickup.eddy_ohms:
        parts.append(Part("R", coil, hot, repr(pickup.eddy_ohms)))
    if pickup.capacitance_farads:
        parts.append(Part("C", hot, "0", repr(pickup.capacitance_farads)))
    wiper = hot if independent else "out"
    parts.append(Part("R", hot, "out", value(volume.resistance_ohms, volume.taper, True)))
    parts.append(Part("R", wiper, "0", value(volume.resistance_ohms, volume.taper, False)))
    if tone is not None:
        top = {"modern": hot, "fifties": "out"}[tone.wiring]
        ohms = max(tone.pot.resistance_ohms * fraction(tone.pot.taper, tone.dial), 1e-3)
        parts.append(Part("R", top, f"tone{mark}", repr(ohms)))
        parts.append(Part("C", f"tone{mark}", "0", repr(tone.capacitance_farads)))
    if network is not None:
        _add(parts, network, hot, "out", free, value)
    return parts


def _add(
    parts: list[Part], network: object, plus: str, minus: str, free: Iterator[int], value: Value
) -> None:
    kind = type(network).__name__
    if kind == "Series":
        here = plus
        inner = network.parts  # type: ignore[attr-defined]
        for i, part in enumerate(inner):
            there = minus if i == len(inner) - 1 else f"n{next(free)}"
            _add(parts, part, here, there, free, value)
            here = there
    elif kind == "Parallel":
        for part in network.parts:  # type: ignore[attr-defined]
            _add(parts, part, plus, minus, free, value)
    elif kind == "Gang":
        rest = network.at_ten == "zero"  # type: ignore[attr-defined]
        text = value(network.ohms, network.taper, rest)  # type: ignore[attr-defined]
        parts.append(Part("R", plus, minus, text))
    elif kind == "Resistor":
        parts.append(Part("R", plus, minus, repr(network.ohms)))  # type: ignore[attr-defined]
    else:
        parts.append(Part("C", plus, minus, repr(network.farads)))  # type: ignore[attr-defined]


def spice_lines(parts: list[Part]) -> list[str]:
    return [f"{p.letter}{i} {p.plus} {p.minus} {p.value}" for i, p in enumerate(parts, start=1)]


def run_spice(
    lines: list[str], *commands: str, nodes: str = "v(out)", options: str = SPICE_OPTIONS
) -> list[Array]:
    """Run ngspice; each command is an analysis whose nodes are returned as columns."""
    with tempfile.TemporaryDirectory() as folder:
        control = [".control", "set numdgt=15", "set wr_singlescale"]
        for i, command in enumerate(commands):
            control += [command, f"wrdata {folder}/{i}.txt {nodes}"]
        text = ["presolder check", *lines, options, *control, "quit", ".endc", ".end", ""]
        deck = Path(folder) / "deck.cir"
        deck.write_text("\n".join(text))
        result = subprocess.run(
            ["ngspice", "-b", deck], capture_output=True, text=True, check=False
        )
        try:
            return [np.loadtxt(f"{folder}/{i}.txt") for i in range(len(commands))]
        except (OSError, ValueError) as error:
            raise AssertionError(
                f"ngspice: {result.stdout[-500:]} {result.stderr[-500:]}"
            ) from error


def spice_response(
    parts: list[Part], points_per_decade: int = 40
) -> tuple[Array, NDArray[np.complex128]]:
    """Frequencies 20 Hz to 20 kHz, and v(out) over emf."""
    lines = ["V0 emf 0 AC 1", *spice_lines(parts)]
    rows = run_spice(lines, f"ac dec {points_per_decade} 20 20000")[0]
    return rows[:, 0], rows[:, 1] + 1j * rows[:, 2]
