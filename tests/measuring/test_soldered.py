"""Where the sheet has its ohmmeter readings taken."""

import re
from dataclasses import replace

import numpy as np
import pytest

import presolder as ps
from ears import sheet_of
from netlist import at_dial, fraction, parts_of
from presolder.models.instrument.controls import Load, Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import fraction_below_wiper
from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.soldered import Ohms, found_by, probes, works
from presolder.render.files.rig_file import built_in_rigs, find_situations


def test_readings_are_taken_where_the_part_shows_most(humbucker: Rig) -> None:
    """Of 0 and 5, where more is beside it: the track above the wiper, and pickup and track below it."""
    (work,) = works(humbucker)
    (part,) = probes(work, parse_expression("100k"))
    track, winding = 500e3, humbucker.coil.resistance_ohms
    beside = [
        1 / (1 / max((1 - below) * track, 1e-3) + 1 / (below * track + winding))
        for below in fraction_below_wiper(humbucker.volume.taper, np.array([0.0, 5.0]))
    ]
    assert part.without.middle >= max(beside) * 0.999
    assert part.ohms.middle == pytest.approx(1 / (1 / part.without.middle + 1 / 100e3), rel=1e-6)
    first, second = probes(work, parse_expression("91k + 220k"))
    assert np.isinf(first.without.middle) and first.ohms.middle == pytest.approx(91e3)
    # A capacitor is open to a meter, and shows nowhere.
    (silent,) = probes(work, parse_expression("1n"))
    assert silent.ohms == silent.without
    gang, _ = probes(work, parse_expression("gang(500k, audio) || 1n"))
    assert gang.ohms.middle < gang.without.middle
    assert second.without.middle > second.ohms.middle


# ---- every reading of every sheet, by a network of resistances of its own ------------------


def ohms(edges: list[tuple[str, str, float]], plus: str, minus: str) -> float:
    """Node by node; what is joined to nothing is open."""
    names = sorted({end for edge in edges for end in edge[:2]} | {plus, minus})
    index = {name: i for i, name in enumerate(names)}
    conductance = np.eye(len(names)) * 1e-12
    for here, there, value in edges:
        a, b, siemens = index[here], index[there], 1.0 / max(value, 1e-3)
        conductance[[a, b], [a, b]] += siemens
        conductance[[a, b], [b, a]] -= siemens
    current = np.zeros(len(names))
    current[index[plus]], current[index[minus]] = 1.0, -1.0
    volts = np.linalg.solve(conductance, current)
    found = float(volts[index[plus]] - volts[index[minus]])
    return np.inf if found > 1e9 else found


def edges_of(rig: Rig, dial: float) -> list[tuple[str, str, float]]:
    """The guitar's resistances; coils and strings are shorts to a meter, capacitors open."""
    parts = [part for part in parts_of(rig, None, at_dial(dial)) if part.letter != "C"]
    joined = {"E": 1e-3, "L": 1e-3}
    # The first coil's EMF has no part of its own.
    return [
        *((part.plus, part.minus, joined.get(part.letter) or float(part.value)) for part in parts),
        ("emf", "0", 1e-3),
    ]


READ = re.compile(
    r"knob at (\d+)(.*?), (input lug|joint \w) to (wiper lug|joint \w) (?:still )?(.+)"
)
TIMES = {"": 1.0, "k": 1e3, "M": 1e6}


def shown(text: str) -> float:
    if text == "open":
        return float(np.inf)
    if text == "near 0 Ω":
        return 0.0
    found = re.fullmatch(r"([\d.]+) ([kM]?)Ω", text)
    assert found is not None, text
    return float(found[1]) * TIMES[found[2]]


def require_read(told: str, low: float, middle: float, high: float) -> None:
    """Two figures of the middle, and of both ends if they differ."""
    found = re.fullmatch(r"(.+?)(?: \((.+) to (.+)\))?", told)
    assert found is not None
    unit = found[1].split()[-1]
    for text, value in zip(found.groups(), (middle, low, high), strict=True):
        if text is not None:
            whole = text if text == "open" or "Ω" in text else f"{text} {unit}"
            near_zero = whole == "near 0 Ω" and value < 100
            assert near_zero or shown(whole) == pytest.approx(value, rel=0.051), (told, middle)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(built_in_rigs()))
def test_every_reading_of_every_sheet(name: str) -> None:
    """Where the switch, the other volumes and the blend are said to stand, whichever it is."""
    count = 0
    for situation in find_situations(name):
        for text in ("330k + 680p", "120k || 1n", "33k + (220k || 1n)", "470p"):
            count += read_all(situation.rig, ps.design(text))
    assert count >= 10


def read_all(rig: Rig, design: Design) -> int:
    """All readings of a sheet; how many there were."""
    count, done = 0, []
    pots = sheet_of(rig, design).plain()["pots"]
    at = [k for k, one in enumerate(rig.volumes) if one.auditioned]
    for k, pot in zip(at, pots, strict=True):
        pedal = rig.pedal is not None and rig.volumes[k] is rig.pedal.volume
        built: list[tuple[str, str, float]] = []
        for step in pot["steps"]:
            if made := re.fullmatch(r"Solder (\w)\d, (.+), from (.+) to (.+)\.", step["do"]):
                kind, value, start, end = made.groups()
                before = list(built)
                if kind == "R":
                    built.append(
                        (start.removeprefix("the "), end.removeprefix("the "), shown(value))
                    )
            for piece in step["check"].split("; "):
                found = READ.fullmatch(piece.removesuffix(", not near 0 Ω"))
                without = piece.startswith("without it ")
                if found is None and not without:
                    continue
                if found is not None:
                    dial, standing, start, end, told = found.groups()
                    parts = built
                else:
                    told, parts = piece.removeprefix("without it "), before
                told = told.removesuffix(", with or without it")
                three = []
                for by in (0.8, 1.0, 1.2):
                    edges = measured(rig, k, float(dial), standing, by, done, pedal)
                    lugs = lugs_of(rig, k, pedal)
                    named = [(lugs.get(p, p), lugs.get(m, m), v) for p, m, v in (*edges, *parts)]
                    three.append(ohms(named, lugs.get(start, start), lugs.get(end, end)))
                require_read(told, *three)
                count += 1
        done.append((k, design))
    return count


def lugs_of(rig: Rig, k: int, pedal: bool) -> dict[str, str]:
    """Of the pot at work, as nodes of the netlist."""
    if pedal:
        return {"input lug": "in", "wiper lug": "out"}
    channel = k < len(rig.channels)
    join = "tomaster" if rig.master is not None else "out"
    if not channel:
        return {"input lug": "tomaster", "wiper lug": "out"}
    own = f"lug{'' if k == 0 else k + 1}"
    turned = rig.volume_wiring == "independent"
    return {"input lug": join if turned else own, "wiper lug": own if turned else join}


def measured(
    rig: Rig,
    k: int,
    dial: float,
    standing: str,
    by: float,
    done: list[tuple[int, Design]],
    pedal: bool,
) -> list[tuple[str, str, float]]:
    """The guitar with pots so far off, its knobs as the words say."""

    def pot(one: Pot) -> Pot:
        return replace(one, resistance_ohms=by * one.resistance_ohms)

    if pedal:
        assert rig.pedal is not None
        track = pot(rig.pedal.volume.volume)
        share = fraction(track.taper, dial)
        return [
            ("in", "out", (1 - share) * track.resistance_ohms),
            ("out", "0", share * track.resistance_ohms),
        ]
    told = dict(re.findall(r"(first|second|third|master)(?: volume)? at ([\d.]+)", standing))
    # At 10 the lugs are one, wherever all else stands.
    if dial < 10:
        assert rig.position in standing and ("blend" in standing) == (rig.blend_dial is not None)
    volumes = []
    for j, (name, one) in enumerate(zip(rig.volume_names, rig.volumes, strict=True)):
        stands = (
            float(told[name]) if name in told else (10.0 if one.held_at is None else one.held_at)
        )
        network = dict(done)[j].network if j in dict(done) else None
        own = network if one.auditioned else one.bypass
        made = replace(one, volume=pot(one.volume), held_at=stands, bypass=own)
        volumes.append(replace(made, held_at=None, bypass="auditioned") if j == k else made)
    whole = rig.with_volumes(tuple(volumes))
    tones = [
        None if one.tone is None else replace(one.tone, pot=pot(one.tone.pot))
        for one in whole.channels
    ]
    channels = tuple(
        replace(one, tone=tone) for one, tone in zip(whole.channels, tones, strict=True)
    )
    return edges_of(
        replace(whole, channels=channels, pedal=None, buffer=None, cable_farads=0.0, load=Load()),
        dial,
    )


@pytest.mark.parametrize(
    ("read", "found"),
    [
        (47e3, "fits"),
        (54e3, "fits"),  # a little over, within what a meter is off
        (70e3, "as without"),
        (0.8, "short"),
        (float("inf"), "open"),
        (200e3, "neither"),
        (9e3, "neither"),
    ],
)
def test_what_a_reading_says(read: float, found: str) -> None:
    """150 k across the upper half of an audio pot of 500 k, by hand: 1/(1/150k + 1/70k) = 47.7 k."""
    with_it, without = Ohms(41e3, 47.7e3, 53e3), Ohms(57e3, 70e3, 82e3)
    assert found_by(read, with_it, without) == found


def test_a_reading_that_would_be_the_same_without_the_part_tells_nothing() -> None:
    assert found_by(100e3, Ohms(80e3, 100e3, 120e3), Ohms(90e3, 110e3, 130e3)) == "untold"
    # Open is what it should be before anything bridges the lugs.
    assert found_by(float("inf"), Ohms(*[float("inf")] * 3)) == "fits"
