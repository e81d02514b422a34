"""Two hundred rigs of usual values, on which advice is held to the rules of the trade."""

from dataclasses import replace
from itertools import product

from ears import ear_of, need_of
from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import (
    Capacitor,
    Gang,
    Parallel,
    Resistor,
    Series,
    leaves,
    shape_text,
)
from presolder.models.instrument.player import Playing
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ranking import Scored
from presolder.models.judging.verdict import Need
from rigs import single

# Values of usual parts, from memory: pickups with the pots that they are sold with.
_PICKUPS = {
    "single coil": (Pickup(6.2e3, 2.6, 110e-12, 1e6), (250e3, 500e3)),
    "wide single coil": (Pickup(8e3, 5.5, 120e-12, 900e3), (500e3,)),
    "humbucker": (Pickup(8.2e3, 4.4, 120e-12, 700e3), (250e3, 500e3, 1e6)),
    "hot humbucker": (Pickup(13.5e3, 7.5, 150e-12, 500e3), (500e3, 1e6)),
}
# 3, 5 and 9 m of 100 pF/m.
_CABLES = (300e-12, 500e-12, 900e-12)
_WIRINGS = ("modern", "fifties", None)
INPUTS = {"1M": Load(1e6, 20e-12), "220k": Load(220e3, 50e-12), "10k": Load(10e3, 100e-12)}
COUNT = 200


def grid() -> list[Rig]:
    """Half of them into 1M, and a quarter each into 220k and 10k; every third of all there are."""
    kinds = [
        (name, pickup, ohms, law, cable, wiring)
        for (name, (pickup, pots)), law, cable, wiring in product(
            _PICKUPS.items(), ("audio", "linear"), _CABLES, _WIRINGS
        )
        for ohms in pots
    ]
    rigs = [
        _rig(*kind, load)
        for load, first, step in (("1M", 0, 1), ("220k", 0, 2), ("10k", 1, 2))
        for kind in kinds[first::step]
    ]
    return [rigs[round(at)] for at in (i * (len(rigs) - 1) / (COUNT - 1) for i in range(COUNT))]


def _rig(
    name: str, pickup: Pickup, ohms: float, law: str, cable: float, wiring: str | None, load: str
) -> Rig:
    tone = None
    if wiring is not None:
        tone = Tone(Pot(ohms), 22e-9, wiring=wiring)  # type: ignore[arg-type]
    rig = single(pickup, Pot(ohms, Taper(law)), tone, cable, INPUTS[load])  # type: ignore[arg-type]
    wired = wiring or "no tone"
    said = f"{name}, {ohms / 1e3:.0f}k {law}, {cable * 1e12:.0f} pF, {wired}, into {load}"
    return replace(rig, name=said)


def advised(rig: Rig, plays: Playing) -> Need:
    """What `need`, `compare` and `sheet` go by, all of them."""
    ear = ear_of(rig, plays=plays)
    return need_of(ear, ear.conditions.dials)


def broken_rules(rig: Rig, plays: Playing, found: Need) -> list[str]:
    """Which rules of the trade an advice breaks: common practice, no source.

    What the trade would have most often is counted over the whole grid, see `is_series`.
    """
    first, bare = found.first, found.bare
    network = first.design.network
    (figures,) = first.figures
    heard = bool(bare.figures[0].change.noticed.any())
    low_input = rig.as_heard.load.resistance_ohms < 20e3
    lone = isinstance(network, Capacitor)
    pair = isinstance(network, Parallel) and not any(isinstance(p, Series) for p in network.parts)
    values = [
        (leaf, (47e3, 470e3) if isinstance(leaf, Resistor) else (100e-12, 2.2e-9))
        for leaf in leaves(network)
        if not isinstance(leaf, Gang) and is_series(first)
    ]
    rules = {
        "the knob at 10 needs nothing": plays != "full" or network is None,
        "what is the same needs nothing": heard or network is None,
        "a yes has something to solder": (network is not None)
        == (found.verdict in ("yes", "probably")),
        "no is said only where nothing is heard": (found.verdict == "no") <= (not heard),
        "what comes first is audibly nearer": network is None
        or bare.score_db - first.score_db >= 0.5 - 1e-9,
        "and on most guitars": network is None or (first.nearer or 0) > 50,
        "and is nothing to be made to order": not first.effort.special_order,
        "the knob remains a volume knob": not figures.spoilt,
        "nothing lifts 1 into a low input": not low_input or figures.louder_at_one_phon <= 6.0,
        "no lone capacitor with a peak": not lone or figures.peak_db <= 4.0,
        "no parallel pair for who cleans up with an audio pot": not (
            pair and plays == "cleans-up-dirt" and rig.volume.taper.kind == "audio"
        ),
        "a series pair has usual values": all(
            low * 0.999 <= leaf.value <= high * 1.001 for leaf, (low, high) in values
        ),
    }
    return [rule for rule, holds in rules.items() if not holds]


def is_series(one: Scored) -> bool:
    """Whether it is a resistor in series with a capacitor, or that with a small one across."""
    letters = shape_text(one.design.network)
    return letters in ("R + C", "C + R", "C || (R + C)")
