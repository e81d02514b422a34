"""The built-in designs, named by topology: of each a mild and a strong one, scaled to a guitar.

Values are written down for one common guitar and scaled to the one at hand:
resistors with its pot and coil, capacitors with what they work against, cable
and input. The exponents are those of a least-squares fit to the best pair of
resistor and capacitor, by the measure of ``docs/figures.md``, on 70 rigs
(250k to 1M, linear and audio, 2.6 to 7.8 H, 320 to 920 pF); scaled so, the
better of the mild and the strong one is 0.18 dB behind the best, on average. Second gangs have
the value and law of the volume pot, which is the dual pot that shops have.
"""

import numpy as np

from presolder.models.instrument.controls import Pickup, Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper, fraction_below_wiper
from presolder.models.instrument.network import (
    Design,
    Gang,
    Leaf,
    Network,
    Resistor,
    leaves,
    with_parts,
)
from presolder.models.instrument.preferred import nearest_preferred
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.source import coils_of

# The guitar that the values below are for.
_COMMON_VOLUME, _COMMON_HENRIES, _COMMON_FARADS = Pot(500e3, Taper("audio")), 4.2, 600e-12
# With so much of the track below the wiper at half, a pot falls as evenly as a linear one does;
# its upper half has less resistance beside the capacitor.
_EVEN, _EVEN_OHMS, _EVEN_FARADS = 0.35, 0.6, 1.6
_LEAST_FARADS, _MOST_TIMES = 100e-12, 4.0
# How far values are scaled on common pots: so that the resistor of a series pair stays between
# 47k and 470k, its capacitor between 100p and 2n2; common practice, no source.
_COMMON_POTS, _OHMS_TIMES, _FARADS_TIMES = (250e3, 1e6), (0.26, 1.43), (0.55, 4.7)
# Gangs stand for those of the volume pot at hand; titles begin with what one hears.
_DESIGNS: tuple[tuple[str, str, str], ...] = (
    ("bare", "", "as it is: nothing between input lug and wiper"),
    ("cap", "120p", "light: a small capacitor alone; a little treble back, level as it was"),
    ("cap-strong", "470p", "bright: a large capacitor alone; brighter still low down"),
    (
        "parallel", "1M || 180p",
        "soft lift: a large resistor beside a small capacitor; a little treble and level",
    ),
    (
        "parallel-strong", "120k || 1n",
        "loud: a small resistor beside a large capacitor; louder at every dial",
    ),
    (
        "series", "330k + 180p",
        "gentle: a resistor before the capacitor; treble back, taper nearly kept",
    ),
    (
        "series-strong", "180k + 470p",
        "clear: a smaller resistor, a larger capacitor; more treble back, taper nearly kept",
    ),
    (
        "series-parallel", "220k + (1M || 330p)",
        "even: a resistor in front of the pair; alike over the dial",
    ),
    (
        "series-parallel-strong", "33k + (220k || 1n)",
        "loud and even: a small resistor in front of the pair; louder, alike over the dial",
    ),
    (
        "cap-and-series", "47p || (330k + 150p)",
        "airy: a small capacitor beside a resistor and a capacitor; fine treble and mids",
    ),
    ("cap-and-series-strong", "220p || (180k + 1n)", "full: more of both; bright with full mids"),
    (
        "gang-series", "gang(1k, linear, zero) + 150p",
        "tamed: a dual pot tames the treble at low settings",
    ),
    (
        "gang-series-strong", "gang(1k, linear, full) + 680p",
        "lively: a dual pot adds treble at low settings",
    ),
    (
        "gang-parallel", "gang(1k, linear, zero) || 330p",
        "fuller: a dual pot beside the capacitor; a fuller middle",
    ),
    (
        "gang-parallel-strong", "gang(1k, linear, zero) || 120k || 680p",
        "loud and linear: a dual pot and a resistor beside the capacitor; falls nearly evenly",
    ),
)  # fmt: skip


def built_in_designs(rig: Rig | None = None) -> tuple[Design, ...]:
    """The built-in designs for a guitar.

    Parameters
    ----------
    rig : Rig, optional
        Second gangs have its volume's value and law; of a measured law, audio. By
        default a common guitar: 500k audio, 4.2 H, 600 pF of cable and input.
    """
    if rig is None:
        return _for_guitar(_COMMON_VOLUME)
    first, load = coils_of(rig.first.pickup)[0].pickup, rig.as_heard.load
    henries = first.inductance_henries if isinstance(first, Pickup) else _COMMON_HENRIES
    return _for_guitar(rig.volume, henries, rig.cable_farads + load.capacitance_farads)


def _for_guitar(
    volume: Pot, henries: float = _COMMON_HENRIES, farads: float = _COMMON_FARADS
) -> tuple[Design, ...]:
    pot, coil = volume.resistance_ohms / _COMMON_VOLUME.resistance_ohms, henries / _COMMON_HENRIES
    coil = min(max(coil, 1.0 / _MOST_TIMES), _MOST_TIMES)
    ohms = (pot * coil) ** 0.75
    size = max(farads, _LEAST_FARADS) / _COMMON_FARADS * (coil / pot) ** 0.5
    if float(fraction_below_wiper(volume.taper, 5.0)) > _EVEN:
        ohms, size = _EVEN_OHMS * ohms, _EVEN_FARADS * size
    rare = volume.resistance_ohms / min(
        max(volume.resistance_ohms, _COMMON_POTS[0]), _COMMON_POTS[1]
    )
    ohms = rare * float(np.clip(ohms / rare, *_OHMS_TIMES))
    size = float(np.clip(size * rare, *_FARADS_TIMES)) / rare
    law = Taper("audio") if volume.taper.kind == "measured" else volume.taper

    def scaled(leaf: Leaf) -> Leaf:
        if isinstance(leaf, Gang):
            return Gang(volume.resistance_ohms, law, leaf.at_ten)
        factor = ohms if isinstance(leaf, Resistor) else size
        return leaf.with_value(nearest_preferred(leaf.value * factor, "E12"))

    def network(text: str) -> Network | None:
        if not text:
            return None
        written = parse_expression(text)
        return with_parts(written, tuple(scaled(leaf) for leaf in leaves(written)))

    return tuple(Design(name, network(text), title) for name, text, title in _DESIGNS)


# Enough to compare in one sitting: each topology once, and the plainest ones twice.
_SHORT_LIST = (
    "bare", "cap", "series", "series-strong", "parallel-strong", "series-parallel",
    "gang-series-strong", "gang-parallel-strong",
)  # fmt: skip


def short_list(rig: Rig | None = None) -> tuple[Design, ...]:
    """A few of the built-in designs that are easily told apart, for a guitar."""
    return tuple(one for one in built_in_designs(rig) if one.name in _SHORT_LIST)


BUILT_IN: tuple[Design, ...] = built_in_designs()


def built_in(name: str) -> Design | None:
    """The built-in design of that name for a common guitar, or None."""
    return next((design for design in BUILT_IN if design.name == name), None)


def for_rig(design: Design, rig: Rig) -> Design:
    """A built-in design with the values that suit a guitar; any other as it is."""
    return built_in_designs(rig)[BUILT_IN.index(design)] if design in BUILT_IN else design


def for_volume(design: Design, volume: Pot) -> Design:
    """The same where only the volume pot is known: cable and coil are taken as common."""
    return _for_guitar(volume)[BUILT_IN.index(design)] if design in BUILT_IN else design
