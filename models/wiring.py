"""What to order and what to solder where, worked out from a network."""

from collections import Counter
from dataclasses import dataclass
from itertools import count

import numpy as np

from presolder.models.network import (
    Capacitor,
    Gang,
    Leaf,
    Network,
    Parallel,
    Resistor,
    Series,
    leaf_letter,
)
from presolder.models.preferred import SERIES, preferred_values
from presolder.models.quantities import format_quantity
from presolder.models.rig import Pot, Rig

INPUT_LUG, WIPER_LUG, GROUND_LUG = "input lug", "wiper lug", "ground lug"


@dataclass(frozen=True)
class Placed:
    """One part of the network with its name on the drawing and where its ends go.

    Attributes
    ----------
    name : str
        ``R1``, ``C2``, ``G1``.
    leaf : Leaf
    start, end : str
        ``"input lug"``, ``"wiper lug"`` or a joint, ``"joint A"``.
    """

    name: str
    leaf: Leaf
    start: str
    end: str


@dataclass(frozen=True)
class Order:
    """A line of the shopping list."""

    quantity: int
    what: str
    series: str
    tolerance: str
    note: str


def placed_parts(network: Network | None) -> tuple[Placed, ...]:
    """Name every part and joint of a network between input lug and wiper lug.

    Parameters
    ----------
    network : Network or None

    Returns
    -------
    tuple of Placed
        Left to right; empty for the bare pot.
    """
    numbers: Counter[str] = Counter()
    joints = (f"joint {chr(ord('A') + i)}" for i in count())
    placed: list[Placed] = []

    def put(part: Network, start: str, end: str) -> None:
        if isinstance(part, Parallel):
            for inner in part.parts:
                put(inner, start, end)
        elif isinstance(part, Series):
            stops = [start, *(next(joints) for _ in part.parts[1:]), end]
            for inner, here, there in zip(part.parts, stops, stops[1:], strict=False):
                put(inner, here, there)
        else:
            letter = leaf_letter(part)
            numbers[letter] += 1
            placed.append(Placed(f"{letter}{numbers[letter]}", part, start, end))

    if network is not None:
        put(network, INPUT_LUG, WIPER_LUG)
    return tuple(placed)


def value_text(leaf: Leaf) -> str:
    """The value of a part for people."""
    if isinstance(leaf, Capacitor):
        return format_quantity(leaf.farads, "farad")
    return format_quantity(leaf.ohms, "ohm")


def series_of(value: float) -> str | None:
    """The coarsest E series (IEC 60063) that has a value; None if none has it."""
    for series in SERIES:
        # Preferred values repeat every decade, so a window around the value is enough.
        if preferred_values(series, value * (1 - 1e-6), value * (1 + 1e-6)).size:
            return series
    return None


def nearest_preferred(value: float, series: str = "E24") -> float:
    """The value of a series nearest to this one, in ratio."""
    around = preferred_values(series, value / 2, value * 2)
    return float(around[np.argmin(np.abs(np.log(around / value)))])


def orders(rig: Rig, network: Network | None) -> tuple[Order, ...]:
    """The shopping list: what, how many, from which series, how tight.

    Parameters
    ----------
    rig : Rig
        Two pickups that get the same bypass need everything twice.
    network : Network or None

    Returns
    -------
    tuple of Order
    """
    copies = fitted_pots(rig)
    counts = Counter(placed.leaf for placed in placed_parts(network))
    lines = []
    for leaf, quantity in counts.items():
        match leaf:
            case Resistor():
                lines.append(_fixed(leaf.ohms, leaf, quantity * copies))
            case Capacitor():
                lines.append(_fixed(leaf.farads, leaf, quantity * copies))
            case Gang():
                continue
    gangs = [leaf for leaf in counts.elements() if isinstance(leaf, Gang)]
    if gangs:
        sections = [_pot_text(rig.volume), *(_gang_text(gang) for gang in gangs)]
        kind = {2: "dual-gang", 3: "triple-gang"}.get(len(sections), f"{len(sections)}-gang")
        lines.append(
            Order(
                copies,
                f"{kind} pot, sections: {'; '.join(sections)}",
                "-",
                "20 %",
                "replaces the volume pot; check that it fits the cavity and the shaft the knob",
            )
        )
    return tuple(lines)


def fitted_pots(rig: Rig) -> int:
    """How many volume pots get the network."""
    return 2 if rig.second is not None and rig.second.network == "same" else 1


def _fixed(value: float, leaf: Leaf, quantity: int) -> Order:
    series = series_of(value)
    fine = series in ("E48", "E96")
    if isinstance(leaf, Resistor):
        tolerance, kind, note = "1 %" if fine else "5 %", "resistor", "1/4 W or smaller"
        near = format_quantity(nearest_preferred(value), "ohm")
    else:
        tolerance, kind = "10 %" if series in ("E6", "E12") else "5 %", "capacitor"
        note = "film or C0G ceramic, 50 V or more"
        near = format_quantity(nearest_preferred(value), "farad")
    if series is None:
        note += f"; not a preferred value, the nearest of E24 is {near}"
    return Order(quantity, f"{kind} {value_text(leaf)}", series or "-", tolerance, note)


def _pot_text(pot: Pot) -> str:
    return f"{format_quantity(pot.resistance_ohms, 'ohm')} {pot.taper.kind}"


def _gang_text(gang: Gang) -> str:
    return f"{format_quantity(gang.ohms, 'ohm')} {gang.taper.kind}"


def lug_table(rig: Rig, network: Network | None) -> tuple[tuple[str, str], ...]:
    """For each lug and joint, everything that is soldered to it.

    Parameters
    ----------
    rig : Rig
        Its wiring says where pickup and output go.
    network : Network or None

    Returns
    -------
    tuple of (place, what)
        Input lug, wiper lug, ground lug, then joints.
    """
    onward = "the switch" if rig.second is not None else "the output jack"
    pickup, output = "the pickup's hot lead (as it is)", f"the lead to {onward} (as it is)"
    at: dict[str, list[str]] = {INPUT_LUG: [pickup], WIPER_LUG: [output], GROUND_LUG: []}
    if rig.volume_wiring == "independent":
        at[INPUT_LUG], at[WIPER_LUG] = [output], [pickup]
    at[GROUND_LUG].append("ground, usually the pot's case (as it is)")
    if rig.tone is not None:
        side = pickup if rig.tone.wiring == "modern" else output
        lug = INPUT_LUG if side in at[INPUT_LUG] else WIPER_LUG
        at[lug].append("the tone control (as it is)")
    for part in placed_parts(network):
        for place in (part.start, part.end):
            at.setdefault(place, []).append(_end_of(part, place))
    return tuple((place, "; ".join(what)) for place, what in at.items())


def _end_of(part: Placed, place: str) -> str:
    if not isinstance(part.leaf, Gang):
        return f"{part.name} ({value_text(part.leaf)})"
    lug = "wiper lug" if place == part.end else _gang_lug(part.leaf)
    return f"{part.name}, {lug} of the second section"


def _the(place: str) -> str:
    return place if place.startswith("joint") else f"the {place}"


def _gang_lug(gang: Gang) -> str:
    return "clockwise lug" if gang.at_ten == "zero" else "counter-clockwise lug"


def steps(rig: Rig, network: Network | None) -> tuple[str, ...]:
    """The work in order, in words.

    Parameters
    ----------
    rig, network
        As for `lug_table`.

    Returns
    -------
    tuple of str
        One instruction each.
    """
    if network is None:
        return ("Nothing to solder: the bare pot stays as it is.",)
    each = "On each of the two volume pots, alike: " if fitted_pots(rig) == 2 else ""
    placed = placed_parts(network)
    lines = [
        "Find the lugs with an ohmmeter. The middle one is the wiper lug. With the knob at 10 the"
        " outer lug that reads near 0 Ω to it is the input lug, the other outer one the ground"
        " lug."
    ]
    gangs = [part for part in placed if isinstance(part.leaf, Gang)]
    if gangs:
        fit = f"{each}fit" if each else "Fit"
        lines.append(
            f"{fit} the multi-gang pot in place of the volume pot and move every lead to the same"
            " lug of its first section."
        )
    for part in gangs:
        assert isinstance(part.leaf, Gang)
        used = _gang_lug(part.leaf)
        unused = "counter-clockwise lug" if used == "clockwise lug" else "clockwise lug"
        lines.append(
            f"{part.name}: on its section ({_gang_text(part.leaf)}), bridge the {unused} to the"
            f" wiper lug; its ends are the {used} and the wiper lug."
        )
    solder = f"{each}solder" if each and not gangs else "Solder"
    joints = sorted({p for part in placed for p in (part.start, part.end) if p[:5] == "joint"})
    for part in placed:
        if isinstance(part.leaf, Gang):
            lines.append(
                f"{part.name}: a short insulated wire from its {_gang_lug(part.leaf)} to"
                f" {_the(part.start)}, and one from its wiper lug to {_the(part.end)}."
            )
        else:
            lines.append(
                f"{solder} {part.name}, {value_text(part.leaf)}, from"
                f" {_the(part.start)} to {_the(part.end)}."
            )
    if joints:
        lines.append(
            f"Keep {' and '.join(joints)} in the air, away from the case, and sleeve"
            f" {'it' if len(joints) == 1 else 'them'}; neither resistors nor these capacitors have"
            " a polarity."
        )
    lines.append(
        "Check before closing: with the knob at 10 the input lug reads near 0 Ω to the wiper lug,"
        " with the knob at 0 the wiper lug reads near 0 Ω to ground, and at 10 nothing has"
        " changed by ear."
    )
    return tuple(lines)


CAUTIONS: tuple[str, ...] = (
    "Unplug the guitar from the amplifier, and anything else, before you open it.",
    "A soldering iron burns long after it is switched off; stand it in its holder.",
    "Solder in moving air or under an extractor, keep the fumes out of your face, and wash your"
    " hands afterwards.",
    "Wear eye protection: hot solder spits and cut leads fly.",
    "Heat damages pots: no more than about three seconds a lug, then let it cool.",
    "Never open a mains-powered amplifier; it can kill when it is unplugged.",
    "If in doubt, leave the work to a qualified technician, and follow local rules.",
    "Afterwards, start playing quiet: the knob may be louder and brighter than before.",
)
