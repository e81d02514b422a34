"""What goes wrong on a bench: every fault that a finished guitar is searched for.

A fault is a list of guitars as they would be with it: one, or one for each value
that a part may have instead of its own.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from typing import Literal

import numpy as np

from presolder.models.circuit.assembly import assemble
from presolder.models.circuit.chain import BypassLugs, Chain, control_chain
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Pickup, Tone
from presolder.models.instrument.law import BENT_TAPERS, Taper
from presolder.models.instrument.network import (
    Gang,
    Leaf,
    Network,
    Parallel,
    Resistor,
    Series,
    format_network,
    join,
    leaves,
    with_parts,
)
from presolder.models.instrument.placement import placed_parts, value_text
from presolder.models.instrument.quantities import Unit, format_quantity
from presolder.models.instrument.rig import ORDINALS, Channel, Rig
from presolder.models.judging.tolerance import Spread
from presolder.models.typing import Array

Kind = Literal[
    "value", "open", "short", "swapped", "joined", "missing", "lugs", "old", "law", "gang-end",
    "volume-wiring", "tone-knob", "tone-wire", "tone-off", "cable", "input", "phase", "switch",
    "held",
]  # fmt: skip
# What comes first where the takes cannot tell: common practice, no source.
PLAUSIBILITY: tuple[Kind, ...] = (
    "value", "missing", "tone-knob", "cable", "joined", "short", "lugs", "old", "open", "swapped",
    "law", "gang-end", "held", "switch", "input", "tone-wire", "tone-off", "volume-wiring", "phase",
)  # fmt: skip
# How far a value is looked for, each way, in steps of an E12 value: a slip of a decade and
# somewhat more. Beyond that a part is as good as open or shorted, which are faults of their own.
_DECADES, _PICKUP_DECADES, _STEPS_A_DECADE = 1.25, 0.65, 12
# Circuits that differ by less than this everywhere are the same.
_PRINT_HZ, _PRINT_DIALS, _PRINT_DB = np.geomspace(100, 8000, 7), np.array([9.5, 6.0, 2.0]), 1e-3
_HELD_DIALS = tuple(float(dial) for dial in np.arange(0.0, 10.01, 0.5))


@dataclass(frozen=True)
class Guitar:
    """A guitar as it may have been built: rig, bypass, and where the bypass lies."""

    rig: Rig
    network: Network | None
    lugs: BypassLugs = "input-wiper"

    def chain(self) -> Chain:
        """Its circuit."""
        return control_chain(self.rig, self.network, self.lugs)


@dataclass(frozen=True)
class Fault:
    """One thing that may be wrong.

    Attributes
    ----------
    culprit : str
        What to look at: ``R1``, ``bypass``, ``cable``.
    kind : Kind
    text : str
        The fault in words; with a place for the value if it has one.
    guitars : tuple of Guitar
        With the fault; one for each value.
    values : tuple of float
        Rising, in base units; empty if there is nothing to vary.
    nominal : float
        What was described.
    unit : {"ohm", "farad", "henry", "dial", "midpoint"}
    spread : float
        What real parts stray by anyway: relative, for dials and midpoints absolute.
    """

    culprit: str
    kind: Kind
    text: str
    guitars: tuple[Guitar, ...]
    values: tuple[float, ...] = ()
    nominal: float = 0.0
    unit: Unit | Literal["dial", "midpoint"] = "ohm"
    spread: float = 0.0

    def within_spread(self, value: float) -> bool:
        """Whether a value is one that parts have anyway."""
        if not self.values:
            return False
        if self.unit in ("dial", "midpoint"):
            return abs(value - self.nominal) <= self.spread
        return abs(value / self.nominal - 1.0) <= self.spread

    def worded(self, value: float) -> str:
        """The fault with a value in words."""
        if not self.values:
            return self.text
        return self.text.format(value=self.quantity(value), nominal=self.quantity(self.nominal))

    def quantity(self, value: float) -> str:
        """A value of it, in two figures, for people."""
        if self.unit == "dial":
            return f"{value:.1f}"
        if self.unit == "midpoint":
            return f"{value:.2f}"
        return format_quantity(float(f"{value:.2g}"), self.unit)


def as_described(rig: Rig, network: Network | None) -> Guitar:
    """The guitar without a fault."""
    return Guitar(rig, network)


def faults(rig: Rig, network: Network | None, old: Network | None = None) -> tuple[Fault, ...]:
    """Every fault that the guitar can have.

    Parameters
    ----------
    rig : Rig
        Into the recording input.
    network : Network or None
        The bypass that should be there.
    old : Network or None
        The one that was there before.

    Returns
    -------
    tuple of Fault
        Each a different circuit; of two faults that give the same one, the first.
    """
    found: list[Fault] = []
    if network is not None:
        found += [*_of_the_bypass(rig, network), *_of_parts(rig, network)]
    found += [*_of_the_old(rig, network, old), *_of_the_volume(rig, network)]
    if rig.nearest_tone is not None:
        found += _of_the_tone(rig, network, rig.nearest_tone)
    found += _of_what_it_feeds(rig, network)
    found += _of_the_others(rig, network)
    return _different(rig, network, found)


def _different(rig: Rig, network: Network | None, found: list[Fault]) -> tuple[Fault, ...]:
    """Without those that are no change, and with one name for those that are alike."""
    kept: list[Fault] = []
    curves = [_fingerprint(as_described(rig, network))]
    for fault in found:
        if fault.values:
            kept.append(fault)
            curves.append(np.full_like(curves[0], np.nan))
            continue
        curve = _fingerprint(fault.guitars[0])
        same = next((i for i, other in enumerate(curves) if _alike(curve, other)), None)
        if same is None:
            kept.append(fault)
            curves.append(curve)
        elif same > 0:
            first = kept[same - 1]
            both = f"{first.text}, or {fault.text} (the same circuit)"
            kept[same - 1] = replace(first, text=both)
    return tuple(kept)


def _fingerprint(guitar: Guitar) -> Array:
    """Equal for circuits that are equal: a few levels, dB."""
    return decibels(transfer(assemble(guitar.chain().branches), _PRINT_HZ, _PRINT_DIALS))


def _alike(one: Array, other: Array) -> bool:
    return bool(np.all(np.abs(one - other) < _PRINT_DB))


def _of_parts(rig: Rig, network: Network) -> Iterator[Fault]:
    parts, names = leaves(network), _part_names(network)
    for i, (name, leaf) in enumerate(zip(names, parts, strict=True)):

        def put(leaf: Leaf, i: int = i) -> Guitar:
            return Guitar(rig, with_parts(network, (*parts[:i], leaf, *parts[i + 1 :])))

        named = f"{name} ({value_text(leaf)})"
        yield _of_a_value(name, leaf, put)
        without = Guitar(rig, _without(network, i))
        yield Fault(name, "open", f"{named} is not connected", (without,))
        yield Fault(name, "short", f"{named} is short-circuited", (put(Resistor(_SHORT_OHMS)),))
        if isinstance(leaf, Gang):
            yield from _of_a_gang(name, leaf, put)
    for one, other in combinations(range(len(parts)), 2):
        order = list(parts)
        order[one], order[other] = order[other], order[one]
        swapped = Guitar(rig, with_parts(network, tuple(order)))
        text = f"{names[one]} and {names[other]} have changed places"
        yield Fault("bypass", "swapped", text, (swapped,))


def _of_a_value(name: str, leaf: Leaf, put: Callable[[Leaf], Guitar]) -> Fault:
    text = f"{name} is {{value}} instead of {{nominal}}"
    return _valued(
        name, "value", text, leaf.value, leaf.kind.unit, Spread().of(leaf),
        lambda value: put(leaf.with_value(value)),
    )  # fmt: skip


def _of_a_gang(name: str, gang: Gang, put: Callable[[Leaf], Guitar]) -> Iterator[Fault]:
    turned = put(replace(gang, at_ten="full" if gang.at_ten == "zero" else "zero"))
    named = f"{name} ({value_text(gang)})"
    yield Fault(name, "gang-end", f"{named} is on its other outer lug", (turned,))
    for law in _other_laws(gang.taper):
        changed = put(replace(gang, taper=law))
        yield Fault(name, "law", f"{named} has a {law.kind} track", (changed,))


# The least that the model of a resistor takes.
_SHORT_OHMS = 1e-2


def _without(network: Network, index: int) -> Network | None:
    """The network with one part, counted from the left, not connected."""
    if not isinstance(network, Series | Parallel):
        return None
    first = 0
    for k, part in enumerate(network.parts):
        count = len(leaves(part))
        if index < first + count:
            inner = _without(part, index - first)
            if inner is None and isinstance(network, Series):
                return None
            rest = [
                *network.parts[:k],
                *([] if inner is None else [inner]),
                *network.parts[k + 1 :],
            ]
            return join(type(network), rest)
        first += count
    raise InputError(f"there is no part {index}")


def _of_the_bypass(rig: Rig, network: Network) -> Iterator[Fault]:
    yield Fault("bypass", "missing", "the bypass is not connected", (Guitar(rig, None),))
    wrong: tuple[BypassLugs, ...] = ("input-ground", "wiper-ground")
    for lugs in wrong:
        text = f"the bypass lies from the {lugs.split('-')[0]} lug to ground"
        yield Fault("bypass", "lugs", text, (Guitar(rig, network, lugs),))
    for text, changed in _rejoined(network, _part_names(network)):
        yield Fault("bypass", "joined", text, (Guitar(rig, changed),))


def _part_names(network: Network) -> tuple[str, ...]:
    return tuple(placed.name for placed in placed_parts(network))


def _rejoined(network: Network, names: tuple[str, ...]) -> Iterator[tuple[str, Network]]:
    """Every group of the network joined the other way; the names are of its parts."""
    if not isinstance(network, Series | Parallel):
        return
    counts = np.cumsum([0, *(len(leaves(part)) for part in network.parts)])
    groups = [names[first:last] for first, last in pairwise(counts)]
    spoken = [group[0] if len(group) == 1 else f"({' '.join(group)})" for group in groups]
    other, now, then = (
        (Parallel, "in parallel", "in series")
        if isinstance(network, Series)
        else (Series, "in series", "in parallel")
    )
    text = f"{', '.join(spoken[:-1])} and {spoken[-1]} are {now} instead of {then}"
    yield text, join(other, list(network.parts))
    for k, (part, group) in enumerate(zip(network.parts, groups, strict=True)):
        for text, inner in _rejoined(part, group):
            parts = [*network.parts[:k], inner, *network.parts[k + 1 :]]
            yield text, join(type(network), parts)


def _of_the_old(rig: Rig, network: Network | None, old: Network | None) -> Iterator[Fault]:
    if old is None:
        return
    written = format_network(old)
    yield Fault(
        "bypass", "old", f"the old bypass {written} is still the only one", (Guitar(rig, old),)
    )
    if network is not None:
        both = join(Parallel, [network, old])
        yield Fault(
            "bypass", "old", f"the old bypass {written} is there as well", (Guitar(rig, both),)
        )


def _of_the_volume(rig: Rig, network: Network | None) -> Iterator[Fault]:
    pot = rig.volume

    def put(**changes: object) -> Guitar:
        volume = replace(pot, **changes)  # type: ignore[arg-type]
        return Guitar(rig.with_volume(volume), network)

    yield _valued(
        "volume pot", "value", "the volume pot is {value} instead of {nominal}",
        pot.resistance_ohms, "ohm", 0.20, lambda ohms: put(resistance_ohms=ohms),
    )  # fmt: skip
    if pot.taper.kind in BENT_TAPERS:
        middles = tuple(float(m) for m in np.geomspace(0.03, 0.6, 24))
        yield Fault(
            "volume taper", "law", "the volume pot has {value} of its track at half, not {nominal}",
            tuple(put(taper=replace(pot.taper, midpoint=m)) for m in middles), middles,
            pot.taper.midpoint, "midpoint", 0.05,
        )  # fmt: skip
    for law in _other_laws(pot.taper):
        yield Fault(
            "volume taper", "law", f"the volume pot has a {law.kind} track", (put(taper=law),)
        )
    wiring: Literal["lug", "independent"] = "independent" if rig.volume_wiring == "lug" else "lug"
    crossed = Guitar(replace(rig, volume_wiring=wiring), network)
    yield Fault(
        "volume wiring", "volume-wiring",
        "the leads at the volume pot's input lug and wiper lug have changed places", (crossed,),
    )  # fmt: skip


def _other_laws(taper: Taper) -> Iterator[Taper]:
    for law in (Taper("linear"), Taper("audio"), Taper("reverse-audio")):
        if law.kind != taper.kind and not (taper.kind == "two-slope" and law.kind == "audio"):
            yield law


def _of_the_tone(rig: Rig, network: Network | None, tone: Tone) -> Iterator[Fault]:
    def put(changed: Tone | None) -> Guitar:
        return Guitar(rig.with_tone(changed), network)

    yield Fault(
        "tone knob", "tone-knob",
        "the tone knob stood at {value} instead of {nominal}, or its pot is that much smaller",
        tuple(put(replace(tone, dial=dial)) for dial in _HELD_DIALS), _HELD_DIALS, tone.dial,
        "dial", 0.5,
    )  # fmt: skip
    wiring: Literal["modern", "fifties"] = "fifties" if tone.wiring == "modern" else "modern"
    lug = "wiper" if wiring == "fifties" else "input"
    if rig.volume_wiring == "independent":
        lug = "input" if lug == "wiper" else "wiper"
    yield Fault(
        "tone wire", "tone-wire", f"the tone control's wire is at the volume pot's {lug} lug",
        (put(replace(tone, wiring=wiring)),),
    )  # fmt: skip
    yield Fault("tone control", "tone-off", "the tone control is not connected", (put(None),))
    # A smaller pot is the same circuit as a knob turned back.
    values = tuple(float(tone.pot.resistance_ohms * 10.0 ** (k / 12)) for k in range(13))
    yield Fault(
        "tone pot", "value", "the tone pot is {value} instead of {nominal}",
        tuple(put(replace(tone, pot=replace(tone.pot, resistance_ohms=ohms))) for ohms in values),
        values, tone.pot.resistance_ohms, "ohm", 0.20,
    )  # fmt: skip
    yield _valued(
        "tone capacitor", "value", "the tone capacitor is {value} instead of {nominal}",
        tone.capacitance_farads, "farad", 0.20,
        lambda farads: put(replace(tone, capacitance_farads=farads)),
    )  # fmt: skip


def _of_what_it_feeds(rig: Rig, network: Network | None) -> Iterator[Fault]:
    if rig.cable_farads > 0:
        yield _valued(
            "cable", "cable", "the cable has {value} instead of {nominal}", rig.cable_farads,
            "farad", 0.20, lambda farads: Guitar(replace(rig, cable_farads=farads), network),
        )  # fmt: skip
    ohms = min(rig.load.resistance_ohms, 1e7)
    loads = tuple(float(x) for x in ohms * np.geomspace(10**-2.0, 10.0, 37))
    yield Fault(
        "input", "input", "the recording input has {value} instead of {nominal}",
        tuple(Guitar(rig.feeding(replace(rig.load, resistance_ohms=x)), network) for x in loads),
        loads, ohms, "ohm", 0.20,
    )  # fmt: skip
    pickup = rig.first.pickup
    if not isinstance(pickup, Pickup):
        return
    yield _valued(
        "pickup", "value", "the pickup has {value} instead of {nominal}",
        pickup.inductance_henries, "henry", 0.20,
        lambda henries: Guitar(
            rig.with_first(
                replace(rig.first, pickup=pickup.wound(henries / pickup.inductance_henries))
            ),
            network,
        ),
        _PICKUP_DECADES,
    )  # fmt: skip


def _of_the_others(rig: Rig, network: Network | None) -> Iterator[Fault]:
    for at, other in enumerate(rig.channels[1:], start=1):
        yield from _of_another(rig, network, at, other)


def _of_another(rig: Rig, network: Network | None, at: int, other: Channel) -> Iterator[Fault]:
    before, after, whose = rig.channels[:at], rig.channels[at + 1 :], ORDINALS[at]

    def put(*channel: Channel) -> Guitar:
        return Guitar(replace(rig, channels=(*before, *channel, *after)), network)

    turned = put(replace(other, strength=-other.strength))
    yield Fault("phase", "phase", f"the {whose} pickup is out of phase with the first", (turned,))
    if other is not rig.knob:
        yield Fault("switch", "switch", f"the {whose} pickup is not on", (put(),))
    if other.held_at is not None:
        yield Fault(
            f"{whose} volume", "held",
            f"the {whose} volume stood at {{value}} instead of {{nominal}}",
            tuple(put(replace(other, held_at=dial)) for dial in _HELD_DIALS), _HELD_DIALS,
            other.held_at, "dial", 0.5,
        )  # fmt: skip
    if other.auditioned and other is not rig.knob and network is not None:
        bare = put(replace(other, bypass=None))
        yield Fault(f"{whose} bypass", "missing", f"the {whose} volume has no bypass", (bare,))


def _valued(
    culprit: str,
    kind: Kind,
    text: str,
    nominal: float,
    unit: Unit,
    spread: float,
    put: Callable[[float], Guitar],
    decades: float = _DECADES,
) -> Fault:
    """A fault of a value, from far below the nominal one to far above."""
    count = int(decades * _STEPS_A_DECADE)
    steps = np.arange(-count, count + 1) / _STEPS_A_DECADE
    values = tuple(float(nominal * 10.0**step) for step in steps)
    return Fault(culprit, kind, text, tuple(put(v) for v in values), values, nominal, unit, spread)
