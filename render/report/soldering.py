"""What to order and what to solder where, in words."""

from collections import Counter
from dataclasses import dataclass

from presolder.models.instrument.controls import Pot
from presolder.models.instrument.network import Capacitor, Gang, Leaf, Network, Resistor
from presolder.models.instrument.placement import (
    GROUND_LUG,
    INPUT_LUG,
    WIPER_LUG,
    Placed,
    nearest_preferred,
    placed_parts,
    series_of,
    value_text,
)
from presolder.models.instrument.quantities import format_quantity
from presolder.models.instrument.rig import Rig


@dataclass(frozen=True)
class Order:
    """A line of the shopping list."""

    quantity: int
    what: str
    series: str
    tolerance: str
    note: str


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
        sections = [_pot_text(rig.first.volume), *(_gang_text(gang) for gang in gangs)]
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
    return sum(channel.auditioned for channel in rig.channels)


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
    onward = "the switch" if len(rig.channels) > 1 else "the output jack"
    pickup, output = "the pickup's hot lead (as it is)", f"the lead to {onward} (as it is)"
    at: dict[str, list[str]] = {INPUT_LUG: [pickup], WIPER_LUG: [output], GROUND_LUG: []}
    if rig.volume_wiring == "independent":
        at[INPUT_LUG], at[WIPER_LUG] = [output], [pickup]
    at[GROUND_LUG].append("ground, usually the pot's case (as it is)")
    if rig.first.tone is not None:
        side = pickup if rig.first.tone.wiring == "modern" else output
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
    gangs = [part for part in placed if isinstance(part.leaf, Gang)]
    return (
        "Find the lugs with an ohmmeter. The middle one is the wiper lug. With the knob at 10 the"
        " outer lug that reads near 0 Ω to it is the input lug, the other outer one the ground"
        " lug.",
        *_fit_gangs(gangs, each),
        *_solder(placed, f"{each}solder" if each and not gangs else "Solder"),
        *_keep_joints(placed),
        "Check before closing: with the knob at 10 the input lug reads near 0 Ω to the wiper lug,"
        " with the knob at 0 the wiper lug reads near 0 Ω to ground, and at 10 nothing has"
        " changed by ear.",
    )


def _fit_gangs(gangs: list[Placed], each: str) -> list[str]:
    if not gangs:
        return []
    lines = [
        f"{f'{each}fit' if each else 'Fit'} the multi-gang pot in place of the volume pot and move"
        " every lead to the same lug of its first section."
    ]
    for part in gangs:
        assert isinstance(part.leaf, Gang)
        used = _gang_lug(part.leaf)
        unused = "counter-clockwise lug" if used == "clockwise lug" else "clockwise lug"
        lines.append(
            f"{part.name}: on its section ({_gang_text(part.leaf)}), bridge the {unused} to the"
            f" wiper lug; its ends are the {used} and the wiper lug."
        )
    return lines


def _solder(placed: tuple[Placed, ...], solder: str) -> list[str]:
    lines = []
    for part in placed:
        start, end = _the(part.start), _the(part.end)
        if isinstance(part.leaf, Gang):
            lines.append(
                f"{part.name}: a short insulated wire from its {_gang_lug(part.leaf)} to"
                f" {start}, and one from its wiper lug to {end}."
            )
        else:
            lines.append(f"{solder} {part.name}, {value_text(part.leaf)}, from {start} to {end}.")
    return lines


def _keep_joints(placed: tuple[Placed, ...]) -> list[str]:
    joints = sorted({p for part in placed for p in (part.start, part.end) if p[:5] == "joint"})
    if not joints:
        return []
    return [
        f"Keep {' and '.join(joints)} in the air, away from the case, and sleeve"
        f" {'it' if len(joints) == 1 else 'them'}; neither resistors nor these capacitors have"
        " a polarity."
    ]


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
