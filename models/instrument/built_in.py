"""The built-in designs, named by topology: of each a mild and a strong one.

Values are E12 parts, chosen by the measure of ``docs/figures.md`` on the
built-in rigs with one master volume, at dials 8 to 4. The mild one of a
topology is the one with the lowest score at a tone weight of 0.85; the strong
one keeps the treble whatever it does to the taper, rounded to values that
make it sound unlike its neighbours. Second gangs have the value and law of the
volume pot, which is the dual pot that shops have.
"""

from presolder.models.instrument.controls import Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Design, Gang, Network, leaves, with_parts

_COMMON_VOLUME = Pot(500e3, Taper("audio"))
# Gangs stand for those of the volume pot at hand.
_DESIGNS: tuple[tuple[str, str, str], ...] = (
    ("bare", "", "nothing between input lug and wiper"),
    ("cap", "120p", "a small capacitor alone: a little treble back, level untouched"),
    ("cap-strong", "470p", "a large capacitor alone: bright, brighter still low down"),
    ("parallel", "1M || 180p", "a large resistor beside a small capacitor: a little lift"),
    ("parallel-strong", "120k || 1n", "a small resistor beside a large capacitor: loud"),
    ("series", "330k + 180p", "a resistor before the capacitor: treble back, taper nearly kept"),
    ("series-strong", "100k + 680p", "a small resistor before a large capacitor: bright and full"),
    ("series-parallel", "220k + (1M || 330p)", "a resistor ahead of the parallel pair: even"),
    ("series-parallel-strong", "33k + (220k || 1n)", "a small resistor ahead of it: loud, even"),
    ("cap-and-series", "47p || (330k + 150p)", "a small capacitor beside a path for mids"),
    ("cap-and-series-strong", "220p || (180k + 1n)", "more of both: bright with full mids"),
    ("gang-series", "gang(1k, linear, zero) + 150p", "a second gang holds treble back low down"),
    ("gang-series-strong", "gang(1k, linear, full) + 680p", "a second gang lets more by low down"),
    ("gang-parallel", "gang(1k, linear, zero) || 330p", "a second gang beside it: fuller middle"),
    (
        "gang-parallel-strong",
        "gang(1k, linear, zero) || 120k || 680p",
        "a second gang and a resistor beside the capacitor: nearly linear",
    ),
)  # fmt: skip


def built_in_designs(volume: Pot = _COMMON_VOLUME) -> tuple[Design, ...]:
    """The built-in designs for a volume pot.

    Parameters
    ----------
    volume : Pot
        Second gangs have its value and law; of a measured law, audio.
    """
    return tuple(
        Design(name, _own_gangs(text, volume) if text else None, title)
        for name, text, title in _DESIGNS
    )


# Enough to compare in one sitting: each topology once, and the plainest ones twice.
_SHORT_LIST = (
    "bare", "cap", "series", "series-strong", "parallel-strong", "series-parallel",
    "gang-series-strong", "gang-parallel-strong",
)  # fmt: skip


def short_list(volume: Pot) -> tuple[Design, ...]:
    """A few of the built-in designs that are easily told apart, for a volume pot."""
    return tuple(one for one in built_in_designs(volume) if one.name in _SHORT_LIST)


def _own_gangs(text: str, volume: Pot) -> Network:
    network = parse_expression(text)
    law = Taper("audio") if volume.taper.kind == "measured" else volume.taper
    parts = (
        Gang(volume.resistance_ohms, law, leaf.at_ten) if isinstance(leaf, Gang) else leaf
        for leaf in leaves(network)
    )
    return with_parts(network, tuple(parts))


BUILT_IN: tuple[Design, ...] = built_in_designs()


def built_in(name: str) -> Design | None:
    """The built-in design of that name for the commonest volume pot, or None."""
    return next((design for design in BUILT_IN if design.name == name), None)


def for_volume(design: Design, volume: Pot) -> Design:
    """A built-in design with gangs like the volume pot's; any other as it is."""
    if design not in BUILT_IN:
        return design
    return built_in_designs(volume)[BUILT_IN.index(design)]
