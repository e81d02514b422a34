"""Seeded random rigs and networks, over everything that the model describes."""

from dataclasses import replace

import numpy as np

from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.law import Taper, TaperKind
from presolder.models.instrument.network import Capacitor, Gang, Network, Parallel, Resistor, Series
from presolder.models.instrument.onward import Buffer, Pedal, Volume
from presolder.models.instrument.rig import VOLUME_WIRINGS, Channel, Rig
from presolder.models.instrument.source import (
    CoilsInParallel,
    CoilsInSeries,
    Piezo,
    Source,
    Wound,
)
from rigs import single

KINDS: tuple[TaperKind, ...] = ("linear", "audio", "reverse-audio", "two-slope", "measured")
TOPOLOGIES = ("C", "R || C", "R + C", "R + (R || C)", "C || (R + C)", "C || G", "C + G", "tree", "")


def random_taper(random: np.random.Generator, kind: TaperKind) -> Taper:
    if kind != "measured":
        return Taper(kind, float(random.uniform(0.06, 0.4)))
    inner = np.sort(random.uniform(0.02, 0.98, 3))
    points = tuple((d, float(f)) for d, f in zip((2.0, 5.0, 8.0), inner, strict=True))
    return Taper("measured", points=((0.0, 0.0), *points, (10.0, 1.0)))


def random_rig(random: np.random.Generator, index: int) -> Rig:
    """A rig for case `index`; tapers, wirings and absences take turns."""

    def log(low: float, high: float) -> float:
        return float(np.exp(random.uniform(np.log(low), np.log(high))))

    tone = Tone(
        Pot(log(100e3, 1e6), random_taper(random, KINDS[(index + 2) % 4])),
        log(4e-9, 100e-9),
        float(random.uniform(0, 10)),
        ("modern", "fifties")[index % 2],  # type: ignore[arg-type]
    )
    pickup = Pickup(
        log(2e3, 16e3),
        log(0.8, 9),
        log(50e-12, 250e-12),
        None if index % 3 == 0 else log(200e3, 3e6),
    )
    if index % 3 == 2:
        # Less of it where there is much, so that it takes no random number.
        share = 0.2 + 0.5 / (1.0 + pickup.inductance_henries)
        pickup = replace(pickup, leakage_henries=share * pickup.inductance_henries)
    return single(
        pickup,
        Pot(log(100e3, 1e6), random_taper(random, KINDS[index % 5])),
        None if index % 7 == 0 else tone,
        log(100e-12, 2e-9),
        Load(log(8e3, 1e7), log(5e-12, 300e-12)),
    )


def random_pair(random: np.random.Generator, index: int) -> Rig:
    """A rig with two pickups; wirings, held and shared knobs, and bypasses take turns."""
    first, other = random_rig(random, index), random_rig(random, index + 1)
    held_at = (None, 10.0, 0.0, float(random.uniform(0.2, 9.8)))[index % 4]
    bypass = ("auditioned", None, random_network(random, index + 3))[index % 3]
    second = replace(
        other.first,
        held_at=held_at,
        bypass=bypass,  # type: ignore[arg-type]
        strength=float(random.uniform(0.3, 3.0)),
    )
    return replace(first, channels=(first.first, second), volume_wiring=VOLUME_WIRINGS[index % 2])


def random_source(random: np.random.Generator, index: int, depth: int = 2) -> Source:
    """Coils in series and in parallel, some out of phase; now and then a piezo."""
    rig = random_rig(random, index)
    if depth == 0 or index % 3 == 0:
        share = float(random.uniform(0.3, 3.0)) * (-1.0 if index % 4 == 1 else 1.0)
        coil = rig.first.pickup
        if index % 11 == 5:
            coil = Piezo(float(random.uniform(3e-10, 3e-9)), None if index % 2 else 1e7)
        return Wound(coil, share)  # type: ignore[arg-type]
    group = CoilsInSeries if random.random() < 0.5 else CoilsInParallel
    return group(
        tuple(
            random_source(random, int(random.integers(0, 99)), depth - 1)
            for _ in range(int(random.integers(2, 4)))
        )
    )


def random_wiring(random: np.random.Generator, index: int, depth: int = 2) -> Rig:
    """A rig of one to three channels and all that may follow; kinds take turns."""
    rigs = [random_rig(random, index + k) for k in range(1 + index % 3)]
    knob = ("channel", "master", "pedal")[(index // 3) % 3]
    dials = random.uniform(0.3, 10.0, len(rigs) + 2)
    channels = tuple(
        Channel(
            random_source(random, index + at, depth),
            rig.first.volume,
            rig.first.tone,
            "auditioned" if knob == "channel" and (at == 0 or index % 4 == 0) else None,
            None if knob == "channel" and at == 0 else float(dials[at]),
        )
        for at, rig in enumerate(rigs)
    )
    other = random_rig(random, index + 7)
    tone = other.first.tone
    if tone is not None and index % 5 == 0:
        tone = replace(tone, no_load=True, dial=(10.0, 4.0)[index % 2])
    master = Volume(
        other.first.volume,
        "auditioned" if knob == "master" else None,
        None if knob == "master" else float(dials[-1]),
    )
    pedal = Volume(
        Pot(float(random.uniform(20e3, 500e3))),
        "auditioned" if knob == "pedal" else random_network(random, index),
        None if knob == "pedal" else float(dials[-2]),
    )
    buffer = Buffer(
        ("guitar", "cable")[index % 2],  # type: ignore[arg-type]
        float(random.uniform(2e5, 1e7)),
        (0.0, 3e-11)[index % 2],
        float(random.uniform(50, 2e4)),
        float(random.uniform(-12, 20)),
    )
    return replace(
        rigs[0],
        channels=channels,
        volume_wiring=VOLUME_WIRINGS[(index // 2) % 2],
        master=master if knob == "master" or index % 4 == 2 else None,
        tone=None if index % 3 == 1 else tone,
        buffer=buffer if index % 4 in (1, 2) else None,
        pedal=Pedal(pedal, (0.0, 4e-10)[index % 2]) if knob == "pedal" or index % 5 == 3 else None,
    )


def random_leaf(random: np.random.Generator, kind: str = "") -> Network:
    kind = kind or random.choice(["R", "C", "C", "G"])
    if kind == "R":
        return Resistor(float(random.uniform(10e3, 470e3)))
    if kind == "C":
        return Capacitor(float(random.uniform(50e-12, 3e-9)))
    taper = random_taper(random, random.choice(KINDS[:4]))
    return Gang(float(random.uniform(50e3, 1e6)), taper, random.choice(["zero", "full"]))


def random_tree(random: np.random.Generator, parts: int) -> Network:
    if parts == 1:
        return random_leaf(random)
    left = int(random.integers(1, parts))
    kind = Series if random.random() < 0.5 else Parallel
    return kind((random_tree(random, left), random_tree(random, parts - left)))


def random_network(random: np.random.Generator, index: int) -> Network | None:
    topology = TOPOLOGIES[index % len(TOPOLOGIES)]
    if topology == "":
        return None
    if topology == "tree":
        return random_tree(random, int(random.integers(2, 7)))
    r, c, g = (random_leaf(random, kind) for kind in "RCG")
    r2, c2 = random_leaf(random, "R"), random_leaf(random, "C")
    return {
        "C": c,
        "R || C": Parallel((r, c)),
        "R + C": Series((r, c)),
        "R + (R || C)": Series((r2, Parallel((r, c)))),
        "C || (R + C)": Parallel((c2, Series((r, c)))),
        "C || G": Parallel((c, g)),
        "C + G": Series((c, g)),
    }[topology]
