"""What to order and what to solder where, in words, pot by pot."""

from collections import Counter
from dataclasses import dataclass
from math import isinf
from typing import Any

from presolder.models.instrument.controls import Pot, Tone
from presolder.models.instrument.law import BENT_TAPERS, DIAL_MAX, Taper
from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Leaf,
    Network,
    Resistor,
    format_network,
    leaves,
)
from presolder.models.instrument.placement import (
    GROUND_LUG,
    INPUT_LUG,
    WIPER_LUG,
    Placed,
    placed_parts,
    section_of,
    series_of,
    value_text,
)
from presolder.models.instrument.preferred import nearest_preferred
from presolder.models.instrument.quantities import format_quantity
from presolder.models.instrument.rig import Channel, Rig
from presolder.models.judging.ranking import effort
from presolder.models.measuring.soldered import (
    GANG_DIALS,
    Across,
    Found,
    Ohms,
    Probe,
    Work,
    across,
    found_by,
    gang_ohms,
    probes,
    works,
)
from presolder.render.report.numbers import ohms_text, span_text

# From here on film capacitors are what is sold.
_FILM_FARADS = 10e-9


@dataclass(frozen=True)
class Order:
    """A line of the shopping list; `part` is None for a pot."""

    quantity: int
    what: str
    series: str
    tolerance: str
    note: str
    part: Leaf | None = None


# What a reading says; causes from common practice, no source.
_SAID: dict[Found, str] = {
    "fits": "as it should be: {expected} is expected",
    "untold": "as it should be, but it would read so without the part too: look at the joint",
    "as without": "as if the part were not there ({expected} is expected): look at its two joints",
    "short": "nearly a short ({expected} is expected): a bridge of solder, a joint that touches"
    " ground, or the knob at an end",
    "open": "open ({expected} is expected): the leads are at other lugs, or one has come off",
    "neither": "not what is expected ({expected}), nor what it would read without the part: the"
    " leads at other lugs, the knob at another number, another pickup or something plugged in"
    " would each do that",
}


@dataclass(frozen=True)
class Step:
    """One piece of work, and the reading that shows whether it was done right.

    Attributes
    ----------
    do, check : str
    read : Ohms or None
        What the meter then reads; None where it is not one number.
    without : Ohms or None
        What it reads where the part that was soldered has no joint.
    """

    do: str
    check: str = ""
    read: Ohms | None = None
    without: Ohms | None = None

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "do": self.do,
            "check": self.check,
            "read_ohms": _span(self.read),
            "without_ohms": _span(self.without),
        }

    def said_of(self, read: float) -> str:
        """What a reading, in ohms, says of the work; empty where none is to be taken."""
        if self.read is None:
            return ""
        found = found_by(read, self.read, self.without)
        return _SAID[found].format(expected=span_text(self.read))


@dataclass(frozen=True)
class PotBlock:
    """The work at one volume pot.

    Attributes
    ----------
    title : str
    steps : tuple of Step
    lugs : tuple of (place, what)
        Everything that is soldered to each lug and joint when it is done.
    """

    title: str
    steps: tuple[Step, ...]
    lugs: tuple[tuple[str, str], ...]


def _span(ohms: Ohms | None) -> list[float | None] | None:
    """For JSON: low, middle and high, null where open."""
    if ohms is None:
        return None
    return [
        None if isinf(one) else float(f"{one:.4g}") for one in (ohms.low, ohms.middle, ohms.high)
    ]


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
    pots_at_work = works(rig)
    counts = Counter(placed.leaf for placed in placed_parts(network))
    lines = []
    for leaf, quantity in counts.items():
        match leaf:
            case Resistor():
                lines.append(_fixed(leaf.ohms, leaf, quantity * len(pots_at_work)))
            case Capacitor():
                lines.append(_fixed(leaf.farads, leaf, quantity * len(pots_at_work)))
            case Gang():
                continue
    pots = Counter(_multi_gang(work.one.volume, network) for work in pots_at_work)
    return (*lines, *(_pot_order(what, quantity) for what, quantity in pots.items() if what))


def order_plain(order: Order) -> dict[str, int | str]:
    """A line of the shopping list for JSON."""
    return {
        "quantity": order.quantity,
        "what": order.what,
        "series": order.series,
        "tolerance": order.tolerance,
        "note": order.note,
    }


def special_order(rig: Rig, network: Network | None) -> bool:
    """Whether any volume control that is needed is not a stock part."""
    return any(effort(network, work.one.volume).special_order for work in works(rig))


def gang_kind(sections: int) -> str:
    """What the trade calls a pot of so many sections on one shaft."""
    return {2: "dual-gang", 3: "triple-gang"}.get(sections, f"{sections}-gang")


def _multi_gang(volume: Pot, network: Network | None) -> str:
    """The pot that replaces a volume pot, section by section; nothing if it stays."""
    gangs = [leaf for leaf in leaves(network) if isinstance(leaf, Gang)] if network else []
    if not gangs:
        return ""
    sections = [_pot_text(volume), *(gang_text(gang) for gang in gangs)]
    listed = "; ".join(f"section {i} {text}" for i, text in enumerate(sections, start=1))
    special = effort(network, volume).special_order
    return f"{gang_kind(len(sections))} pot: {listed}" + (" (special order)" if special else "")


def _pot_order(what: str, quantity: int) -> Order:
    note = "replaces the volume pot; check that it fits the cavity, and the shaft the knob"
    return Order(quantity, what, "-", "20 %", note)


def _fixed(value: float, leaf: Leaf, quantity: int) -> Order:
    series = series_of(value)
    fine = series in ("E48", "E96")
    if isinstance(leaf, Resistor):
        tolerance, kind = "1 %" if fine else "5 %", "resistor"
        note = "metal or carbon film, any wattage"
        near = format_quantity(nearest_preferred(value), "ohm")
    else:
        tolerance, kind = "10 %" if series in ("E6", "E12") else "5 %", "capacitor"
        small = value < _FILM_FARADS
        note = "C0G (NP0) ceramic, film or mica; any voltage" if small else "film; any voltage"
        near = format_quantity(nearest_preferred(value), "farad")
    if series is None:
        note += f"; not a preferred value, the nearest of E24 is {near}"
    return Order(quantity, f"{kind} {value_text(leaf)}", series or "-", tolerance, note, leaf)


CERAMIC_NOTE = (
    "Do not use ordinary ceramic discs (X7R, Y5V, Z5U, unmarked): they drift with warmth and are"
    " microphonic."
)


def _law_text(taper: Taper) -> str:
    bend = f", {taper.midpoint:g} at half" if taper.kind in BENT_TAPERS else ""
    return f"{taper.kind}{bend}"


def _pot_text(pot: Pot) -> str:
    return f"{format_quantity(pot.resistance_ohms, 'ohm')} {_law_text(pot.taper)}"


def gang_text(gang: Gang) -> str:
    """Value and law of a second section."""
    return f"{format_quantity(gang.ohms, 'ohm')} {_law_text(gang.taper)}"


def removal_note(rig: Rig, network: Network | None) -> str:
    """What to take out where nothing is to be put in."""
    old = rig.take.network
    if old is None or network is not None:
        return ""
    return f"Take out the bypass that is fitted now, {format_network(old)}."


def preparations(rig: Rig, network: Network | None) -> tuple[Step, ...]:
    """What comes before the first joint.

    Parameters
    ----------
    rig : Rig
    network : Network or None
        What will be fitted.

    Returns
    -------
    tuple of Step
    """
    if network is None:
        return ()
    gangs = any(isinstance(leaf, Gang) for leaf in leaves(network))
    independent = any(work.wiring == "independent" for work in works(rig))
    steps = [
        Step(
            "Photograph the wiring, disconnect a battery if there is one, and cover the finish"
            " around the cavity; hot solder marks it."
        ),
        Step(
            "Find the lugs by the meter, nothing plugged in: a left-handed pot has its outer lugs"
            " the other way round. The middle one is the wiper lug"
            + (
                ", where this guitar's pickup comes in; its input lug carries the output."
                if independent
                else "."
            ),
            "knob at 10, the outer lug that reads near 0 Ω to the wiper lug is the input lug, the"
            " other outer one the ground lug",
        ),
    ]
    if not gangs:
        steps.append(
            Step(
                "Hear it before you solder: twist the parts together, clip them from input lug to"
                " wiper lug with two test leads, plug in, start quiet; unplug again."
            )
        )
    return tuple(steps)


def pot_blocks(rig: Rig, network: Network | None) -> tuple[PotBlock, ...]:
    """The work at each volume pot that gets the network.

    Parameters
    ----------
    rig : Rig
    network : Network or None

    Returns
    -------
    tuple of PotBlock
        Empty for the bare pot.
    """
    if network is None:
        return ()
    blocks = []
    for work in works(rig, network):
        title = f"{_whose(rig, work)}volume pot, {_pot_text(work.one.volume)}"
        read, standing = across(work, network), _others_stand(rig, work)
        steps = (
            _first_reading(read, standing),
            *_removal(rig, read, standing),
            *_soldering(work, network, read, standing),
        )
        blocks.append(PotBlock(title, steps, _lug_table(rig, work, network)))
    return tuple(blocks)


def _whose(rig: Rig, work: Work) -> str:
    if isinstance(work.one, Channel):
        return f"{work.name} pickup's " if len(rig.channels) > 1 else ""
    return f"{work.name} "


def _others_stand(rig: Rig, work: Work) -> str:
    """Where all else stands that a reading depends on, to follow the knob's place."""
    if rig.pedal is not None and work.one is rig.pedal.volume:
        return ""
    said = [f"switch at {rig.position!r}"] if rig.position else []
    if rig.blend_dial is not None:
        said.append(f"blend at {rig.blend_dial:g}")
    else:
        for name, other in zip(rig.volume_names, rig.channels, strict=False):
            at = other.held_at if work.others_at is None else work.others_at
            if other is not work.one and at is not None:
                said.append(f"{name} volume at {at:g}")
    if rig.master is not None and work.one is not rig.master:
        at = DIAL_MAX if rig.master.held_at is None else rig.master.held_at
        said.append(f"master at {at:g}")
    return "".join(f", {one}" for one in said)


def _first_reading(read: Across, standing: str) -> Step:
    """What the meter says before the iron, and will again unless something changes."""
    return Step(
        "Before the iron, write down what you read: a pot may be a fifth off.",
        f"knob at {read.dial:g}{standing}, input lug to wiper lug {span_text(read.before)}",
        read.before,
    )


def _removal(rig: Rig, read: Across, standing: str) -> list[Step]:
    """Taking out what is fitted now."""
    old = rig.take.network
    if old is None:
        return []
    parts = ", ".join(value_text(placed.leaf) for placed in placed_parts(old))
    return [
        Step(
            f"Take out the bypass that is fitted now, {format_network(old)} ({parts}): unsolder it"
            " from the input lug and the wiper lug.",
            f"knob at {read.dial:g}{standing}, input lug to wiper lug {span_text(read.without)}",
            read.without,
            read.before,
        )
    ]


def _soldering(work: Work, network: Network, read: Across, standing: str) -> list[Step]:
    placed = placed_parts(network)
    gangs = [part for part in placed if isinstance(part.leaf, Gang)]
    steps = _fit_gangs(gangs, work.one.volume)
    steps += [_solder(probe, standing) for probe in probes(work, network)]
    joints = sorted({p for part in placed for p in (part.start, part.end) if p[:5] == "joint"})
    if joints:
        them = "it" if len(joints) == 1 else "them"
        steps.append(
            Step(
                f"Keep {' and '.join(joints)} in the air, away from the case and from shielding,"
                f" which are ground, and sleeve {them}."
                " Neither resistors nor these capacitors have a polarity."
            )
        )
    steps.append(
        Step(
            "Look it over before closing.",
            f"knob at {read.dial:g}{standing}, input lug to wiper lug {span_text(read.after)};"
            " knob at 10, input lug to wiper lug near 0 Ω; knob at 0, wiper lug to ground near 0 Ω;"
            " at 10 nothing has changed by ear",
            read.after,
        )
    )
    return steps


def _fit_gangs(gangs: list[Placed], volume: Pot) -> list[Step]:
    if not gangs:
        return []
    steps = [
        Step(
            "Fit the multi-gang pot in place of the volume pot and move every lead to the same lug"
            " of section 1. If no section is named, section 1 is meant. Clockwise lug: the outer"
            " lug that reads near 0 Ω to the middle one at 10.",
            "section 1, outer lug to outer lug, before its leads:"
            f" {ohms_text(volume.resistance_ohms, 2)}; all within a fifth",
        )
    ]
    for part in gangs:
        assert isinstance(part.leaf, Gang)
        used, unused = _gang_lugs(part.leaf)
        read = ", ".join(
            f"{ohms_text(ohms, 2)} at {dial:g}"
            for dial, ohms in zip(GANG_DIALS, gang_ohms(part.leaf), strict=True)
        )
        steps.append(
            Step(
                f"{part.name} is section {section_of(part)}, {gang_text(part.leaf)}. Bridge its"
                f" {unused} to its wiper lug.",
                f"section {section_of(part)}, {used} to wiper lug: {read}",
            )
        )
    return steps


def _gang_lugs(gang: Gang) -> tuple[str, str]:
    """The outer lug that is used, and the one that is bridged to the wiper."""
    lugs = ("clockwise lug", "counter-clockwise lug")
    return lugs if gang.at_ten == "zero" else lugs[::-1]


def _solder(probe: Probe, standing: str) -> Step:
    part = probe.part
    start, end = _the(part.start), _the(part.end)
    if isinstance(part.leaf, Gang):
        used, _ = _gang_lugs(part.leaf)
        section = section_of(part)
        do = (
            f"Wire {part.name} with two short insulated wires: section {section}'s {used} to"
            f" {start}, and section {section}'s wiper lug to {end}."
        )
    else:
        do = f"Solder {part.name}, {value_text(part.leaf)}, from {start} to {end}."
    # Of a capacitor, whose reading moves while it charges, only that it is no short.
    still = isinstance(part.leaf, Capacitor)
    return Step(do, _check(probe, standing), probe.ohms, None if still else probe.without)


def _check(probe: Probe, standing: str) -> str:
    part, ohms = probe.part, span_text(probe.ohms)
    where = f"knob at {probe.dial:g}{standing}, {part.start} to {part.end}"
    if isinstance(part.leaf, Capacitor):
        still = "open" if probe.ohms.middle == float("inf") else f"still {ohms}"
        return f"{where} {still}, not near 0 Ω"
    if probe.tells:
        return f"{where} {ohms}; without it {span_text(probe.without)}"
    own = "" if isinstance(part.leaf, Gang) else f"by itself, before: {value_text(part.leaf)}; "
    return f"{own}{where} {ohms}, with or without it"


def _the(place: str) -> str:
    return place if place.startswith("joint") else f"the {place}"


def _lug_table(rig: Rig, work: Work, network: Network) -> tuple[tuple[str, str], ...]:
    """For each lug and joint, everything that is soldered to it."""
    before, after = _leads(rig, work)
    at: dict[str, list[str]] = {INPUT_LUG: [before], WIPER_LUG: [after], GROUND_LUG: []}
    if work.wiring == "independent":
        at[INPUT_LUG], at[WIPER_LUG] = [after], [before]
    at[GROUND_LUG].append("ground, usually the pot's case (as it is)")
    tone = _own_tone(rig, work)
    if tone is not None:
        side = before if tone.wiring == "modern" else after
        lug = INPUT_LUG if side in at[INPUT_LUG] else WIPER_LUG
        at[lug].append("the tone control (as it is)")
    sections: dict[str, list[str]] = {}
    for part in placed_parts(network):
        if not isinstance(part.leaf, Gang):
            for place in (part.start, part.end):
                at.setdefault(place, []).append(f"{part.name} ({value_text(part.leaf)})")
            continue
        used, unused = _gang_lugs(part.leaf)
        at.setdefault(part.start, []).append(f"wire to {part.name}'s {used}")
        at.setdefault(part.end, []).append(f"wire to {part.name}'s wiper lug")
        sections[f"{part.name} (section {section_of(part)}), {gang_text(part.leaf)}"] = [
            f"{used} wired to {_the(part.start)}",
            f"wiper lug wired to {_the(part.end)} and bridged to the {unused}",
        ]
    return tuple((place, "; ".join(what)) for place, what in (at | sections).items())


def _leads(rig: Rig, work: Work) -> tuple[str, str]:
    """What comes to the pot and what leaves it, as they are."""
    if work.one is rig.master:
        before = "the lead from the pickups' volumes (as it is)"
    elif isinstance(work.one, Channel):
        lead = "the lead from the switch" if rig.behind_switch else "the pickup's hot lead"
        before = f"{lead} (as it is)"
    else:
        return "the input jack's lead (as it is)", "the output jack's lead (as it is)"
    joined = len(rig.channels) > 1 and isinstance(work.one, Channel)
    onward = "the switch" if joined and rig.master is None else "the output jack"
    if isinstance(work.one, Channel) and rig.master is not None:
        onward = "the master volume"
    elif rig.buffer is not None and rig.buffer.place == "guitar":
        onward = "the buffer"
    return before, f"the lead to {onward} (as it is)"


def _own_tone(rig: Rig, work: Work) -> Tone | None:
    """The tone control that is wired to this pot, if any."""
    if isinstance(work.one, Channel):
        return work.one.tone
    return rig.tone if work.one is rig.master else None


CAUTIONS: tuple[str, ...] = (
    "Unplug the guitar from the amplifier, and anything else, before you open it.",
    "A soldering iron burns long after it is switched off; stand it in its holder.",
    "Solder in moving air or under an extractor, and keep the fumes out of your face.",
    "Solder may hold lead, old joints do: wash your hands afterwards.",
    "Wear eye protection: hot solder spits and cut leads fly.",
    "Heat damages pots: no more than about three seconds a lug, then let it cool.",
    "Never open a mains-powered amplifier; it can kill when it is unplugged.",
    "If in doubt, leave the work to a qualified technician, and follow local rules.",
    "Afterwards, start playing quiet: the knob may be louder and brighter than before.",
)
