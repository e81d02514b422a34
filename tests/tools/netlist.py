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
        case "blend":
            return min(2 * x, 1.0)
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
        "blend": f"({x}<0.5 ? 2*{x} : 1)",
        "two-slope": f"({x}<0.5 ? {2 * m!r}*{x} : {m!r}+(2*{x}-1)*{1 - m!r})",
    }[taper.kind]  # type: ignore[attr-defined]
    return f"'max(1,{ohms!r}*{f'(1-{share})' if rest else share})'"


def parts_of(rig: object, network: object, value: Value) -> list[Part]:
    """Every part of the chain but the source, between named nodes (``emf`` to ``out``)."""
    load, free = rig.load, count(1)  # type: ignore[attr-defined]
    after = [name for name in ("master", "buffer", "pedal") if getattr(rig, name) is not None]
    # Where each of them begins, and the last one's end.
    starts = [f"to{name}" for name in after] + ["out"]
    join = starts[0]
    parts: list[Part] = []
    for number, channel in enumerate(rig.channels, start=1):  # type: ignore[attr-defined]
        mark = "" if number == 1 else str(number)
        _source(parts, channel.pickup, f"lug{mark}", "0", channel.strength, free)
        independent = rig.volume_wiring == "independent"  # type: ignore[attr-defined]
        _volume(parts, channel, f"lug{mark}", join, independent, network, value, free)
        _tone(parts, channel.tone, f"lug{mark}", join, free)
    ends = dict(zip(after, starts[1:], strict=True))
    wiper = ends.get("master", join)
    _tone(parts, rig.tone, join, wiper, free)  # type: ignore[attr-defined]
    if "master" in ends:
        _volume(parts, rig.master, join, wiper, False, network, value, free)  # type: ignore[attr-defined]
    cable_at = wiper
    if "buffer" in ends:
        here, there = starts[after.index("buffer")], ends["buffer"]
        box = rig.buffer  # type: ignore[attr-defined]
        parts.append(Part("R", here, "0", repr(box.input_ohms)))
        if box.input_farads:
            parts.append(Part("C", here, "0", repr(box.input_farads)))
        parts.append(Part("E", "inside", "0", f"{here} 0 {10 ** (box.gain_db / 20)!r}"))
        parts.append(Part("R", "inside", there, repr(box.output_ohms)))
        cable_at = there if box.place == "guitar" else here
    if "pedal" in ends:
        here = starts[after.index("pedal")]
        pedal = rig.pedal  # type: ignore[attr-defined]
        _volume(parts, pedal.volume, here, "out", False, network, value, free)
        if pedal.cable_farads:
            parts.append(Part("C", "out", "0", repr(pedal.cable_farads)))
    for node, farads in ((cable_at, rig.cable_farads), ("out", load.capacitance_farads)):  # type: ignore[attr-defined]
        if farads:
            parts.append(Part("C", node, "0", repr(farads)))
    if np.isfinite(load.resistance_ohms):
        parts.append(Part("R", "out", "0", repr(load.resistance_ohms)))
    return parts


def _source(
    parts: list[Part], source: object, hot: str, cold: str, share: float, free: Iterator[int]
) -> None:
    """Coils or a piezo between two nodes, each with an EMF of its own."""
    match type(source).__name__:
        case "CoilsInParallel":
            for one in source.parts:  # type: ignore[attr-defined]
                _source(parts, one, hot, cold, share, free)
            return
        case "CoilsInSeries":
            inner = source.parts  # type: ignore[attr-defined]
            here = hot
            for i, one in enumerate(inner):
                there = cold if i == len(inner) - 1 else f"s{next(free)}"
                _source(parts, one, here, there, share, free)
                here = there
            return
        case "Wound":
            _source(parts, source.pickup, hot, cold, share * source.share, free)  # type: ignore[attr-defined]
            return
    number = next(free)
    # The first coil is named plainly, and fed without a detour.
    mark = "" if not parts else str(number)
    emf, coil = f"emf{mark}", f"coil{mark}"
    if not (mark == "" and cold == "0" and share == 1.0):
        emf = f"emf{number}"
        parts.append(Part("E", emf, cold, f"emf 0 {share!r}"))
    if type(source).__name__ == "Piezo":
        parts.append(Part("C", emf, hot, repr(source.capacitance_farads)))  # type: ignore[attr-defined]
        if source.leakage_ohms:  # type: ignore[attr-defined]
            parts.append(Part("R", hot, cold, repr(source.leakage_ohms)))  # type: ignore[attr-defined]
        return
    pickup = source
    parts.append(Part("R", emf, coil, repr(pickup.resistance_ohms)))  # type: ignore[attr-defined]
    if pickup.leakage_henries:  # type: ignore[attr-defined]
        parts.append(Part("L", coil, f"core{mark}", repr(pickup.leakage_henries)))  # type: ignore[attr-defined]
        coil = f"core{mark}"
    henries = pickup.inductance_henries - pickup.leakage_henries  # type: ignore[attr-defined]
    parts.append(Part("L", coil, hot, repr(henries)))
    if pickup.eddy_ohms:  # type: ignore[attr-defined]
        parts.append(Part("R", coil, hot, repr(pickup.eddy_ohms)))  # type: ignore[attr-defined]
    if pickup.capacitance_farads:  # type: ignore[attr-defined]
        parts.append(Part("C", hot, cold, repr(pickup.capacitance_farads)))  # type: ignore[attr-defined]


def _volume(
    parts: list[Part],
    one: object,
    hot: str,
    onward: str,
    independent: bool,
    network: object,
    value: Value,
    free: Iterator[int],
) -> None:
    """A pot and its bypass; held where its description says so."""
    own = network if one.bypass == "auditioned" else one.bypass  # type: ignore[attr-defined]
    stands = value if one.held_at is None else at_dial(one.held_at)  # type: ignore[attr-defined]
    pot = one.volume  # type: ignore[attr-defined]
    wiper = hot if independent else onward
    parts.append(Part("R", hot, onward, stands(pot.resistance_ohms, pot.taper, True)))
    parts.append(Part("R", wiper, "0", stands(pot.resistance_ohms, pot.taper, False)))
    if own is not None:
        _add(parts, own, hot, onward, free, stands)


def _tone(parts: list[Part], tone: object, hot: str, onward: str, free: Iterator[int]) -> None:
    if tone is None or (tone.no_load and tone.dial == 10):  # type: ignore[attr-defined]
        return
    top, middle = {"modern": hot, "fifties": onward}[tone.wiring], f"tone{next(free)}"  # type: ignore[attr-defined]
    ohms = max(tone.pot.resistance_ohms * fraction(tone.pot.taper, tone.dial), 1e-3)  # type: ignore[attr-defined]
    parts.append(Part("R", top, middle, repr(ohms)))
    parts.append(Part("C", middle, "0", repr(tone.capacitance_farads)))  # type: ignore[attr-defined]


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
