"""Guitars with planted faults, and players who play them; no code of the search is used.

The circuits are solved here a second time, by node voltages, from the netlists
of `netlist.py`. Faults are written down as a technician would make them.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import soundfile

from netlist import Part, _add, at_dial, parts_of
from presolder.models.audio.flaws import sounding
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Capacitor, Network, Parallel, Series
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.third_octaves import BAND_HZ, Spectrum, spectrum
from presolder.models.typing import Array
from presolder.render.files.rig_file import find_rig
from takes import SAMPLES

DIALS = (10.0, 7.0, 5.0, 3.0, 1.0)
# Three guitars: rig, bypass, and what was fitted before.
GUITARS = (
    ("humbucker-500k", "150k + (270k || 680p)", "180p"),
    ("single-coil-250k", "82k + (150k || 820p)", "1n"),
    ("dark-long-cable", "100k + (330k || 1n)", "150k || 1n5"),
)
_GRID_HZ = np.geomspace(90.0, 9000.0, 160)


@dataclass(frozen=True)
class Fault:
    """A planted fault: what to look at, in a few words, and the circuit at a dial."""

    culprit: str
    name: str
    parts: Callable[[float], list[Part]]


def response(parts: list[Part], frequency_hz: Array) -> Array:
    """Magnitude of v(out) over emf by node voltages, and a current for each source."""
    sources = [part for part in parts if part.letter == "E"]
    names = sorted({end for p in parts for end in (p.plus, p.minus)} - {"0", "emf"})
    index = {name: i for i, name in enumerate(names)}
    s, size = 2j * np.pi * frequency_hz, len(names) + len(sources)
    matrix = np.zeros((s.size, size, size), dtype=complex)
    right = np.zeros((s.size, size), dtype=complex)

    def add(row: int, node: str, value: Array | complex) -> None:
        if node == "emf":
            right[:, row] -= value
        elif node != "0":
            matrix[:, row, index[node]] += value

    for part in parts:
        if part.letter == "E":
            row = len(names) + sources.index(part)
            plus, minus, gain = part.value.split()
            for node, share in ((part.plus, 1.0), (part.minus, -1.0)):
                add(row, node, share)
                if node in index:
                    matrix[:, index[node], row] += share
            add(row, plus, -float(gain))
            add(row, minus, float(gain))
            continue
        value = float(part.value)
        admittance = {"R": 1 / value + 0 * s, "L": 1 / (s * value), "C": s * value}[part.letter]
        for here, there in ((part.plus, part.minus), (part.minus, part.plus)):
            if here in index:
                add(index[here], here, admittance)
                add(index[here], there, -admittance)
    volts = np.linalg.solve(matrix, right[..., None])[..., 0]
    return np.asarray(np.abs(volts[:, index["out"]]))


@cache
def phrase() -> tuple[Array, int]:
    audio, rate = soundfile.read(SAMPLES / "phrase.flac")
    # A length that transforms fast.
    return audio[: 1 << 17], rate


@cache
def phrase_spectrum() -> Spectrum:
    audio, rate = phrase()
    return spectrum(audio, rate)


def wobbling(
    gain: Array, random: np.random.Generator, level_db: float = 1.0, band_db: float = 0.7
) -> Array:
    """A response over the grid as a player gives it: level and bands wobble; in dB."""
    wobble = np.interp(np.log(_GRID_HZ), np.log(BAND_HZ), random.normal(0, band_db, BAND_HZ.size))
    return np.asarray(20 * np.log10(gain) + wobble + random.normal(0, level_db))


def heard(gain_db: Array) -> Spectrum:
    """The spectrum of the phrase through a response that is smooth against its lines.

    Each line of the phrase's spectrum takes the gain at its frequency; a test
    holds this against filtered audio.
    """
    plain = phrase_spectrum()
    gain = np.interp(np.log(plain.line_hz), np.log(_GRID_HZ), gain_db)
    power = plain.line_power * 10 ** (gain / 10)
    sums = np.bincount(plain.line_band, power, BAND_HZ.size)
    return Spectrum(plain.line_hz, power, plain.line_band, 10 * np.log10(sums), plain.noise_share)


def played_again(
    gains: Sequence[Array], random: np.random.Generator, noise_dbfs: float
) -> list[Spectrum]:
    """Takes as a bench makes them: each played again, up to a second late, louder or softer, in noise.

    Of the first one the loudest sample is at -6 dBFS; the noise is white, an RMS.
    """
    rate = phrase()[1]
    scale = 0.5 / np.abs(recorded(20 * np.log10(gains[0]))).max()
    takes = []
    for gain in gains:
        audio = scale * recorded(wobbling(gain, random, 0.0))
        audio = np.concatenate([np.zeros(int(random.integers(rate))), audio])
        audio *= 10 ** (random.uniform(-3.0, 3.0) / 20)
        audio += random.normal(0.0, 10 ** (noise_dbfs / 20), audio.size)
        takes.append(spectrum(sounding(audio[None], rate)[0], rate))
    return takes


def recorded(gain_db: Array) -> Array:
    """The phrase itself through a response, as audio."""
    audio, rate = phrase()
    hz = np.fft.rfftfreq(audio.size, 1 / rate)
    gain = 10 ** (np.interp(np.log(np.maximum(hz, 1)), np.log(_GRID_HZ), gain_db) / 20)
    return np.asarray(np.fft.irfft(np.fft.rfft(audio) * gain * (hz > 20), audio.size))


@cache
def responses(guitar: int, fault: str, spread_seed: int | None = None) -> tuple[Array, ...]:
    """At each dial; with parts off by ordinary amounts if a seed is given."""
    rig, network, old = guitar_of(guitar)
    if spread_seed is not None:
        rig, network = strayed(rig, network, np.random.default_rng(spread_seed))
    planted = next(f for f in planted_faults(rig, network, old) if f.name == fault)
    return tuple(response(planted.parts(dial), _GRID_HZ) for dial in DIALS)


def largest_change_db(guitar: int, fault: str, spread_seed: int | None = None) -> float:
    """By how much a fault moves any frequency of any take against the one at 10."""
    changes = []
    for name in (fault, "good"):
        level = 20 * np.log10(np.array(responses(guitar, name, spread_seed)))
        changes.append(level - level[0])
    inside = (BAND_HZ[0] < _GRID_HZ) & (BAND_HZ[-1] > _GRID_HZ)
    return float(np.abs(changes[0] - changes[1])[:, inside].max())


def guitar_of(index: int) -> tuple[Rig, Network, Network]:
    rig, new, old = GUITARS[index]
    return find_rig(rig).as_recorded, parse_expression(new), parse_expression(old)


def strayed(rig: Rig, network: Network, random: np.random.Generator) -> tuple[Rig, Network]:
    """Parts as a drawer gives them: pots and cable 20 %, capacitors 10 %, resistors 5 %."""

    def off(percent: float) -> float:
        return 1 + float(random.uniform(-percent, percent)) / 100

    pot = rig.first.volume
    bend = min(max(pot.taper.midpoint + float(random.uniform(-0.05, 0.05)), 0.05), 0.5)
    volume = replace(
        pot, resistance_ohms=pot.resistance_ohms * off(20), taper=replace(pot.taper, midpoint=bend)
    )
    rig = rig.with_first(replace(rig.first, volume=volume))
    rig = replace(rig, cable_farads=rig.cable_farads * off(20))

    def part(one: Network) -> Network:
        if isinstance(one, Series | Parallel):
            return type(one)(tuple(part(inner) for inner in one.parts))
        if isinstance(one, Capacitor):
            return Capacitor(one.farads * off(10))
        return replace(one, ohms=one.ohms * off(5))

    return rig, part(network)


def planted_faults(rig: Rig, network: Network, old: Network) -> Iterator[Fault]:
    """More than forty kinds. The networks are a resistor before a resistor beside a capacitor."""
    assert isinstance(network, Series) and isinstance(network.parts[1], Parallel)
    ahead, (beside, capacitor) = network.parts[0], network.parts[1].parts

    def of(some: Rig, fitted: Network | None) -> Callable[[float], list[Part]]:
        return lambda dial: parts_of(some, fitted, at_dial(dial))

    def tree(one: Network, two: Network | None, three: Network | None) -> Network:
        pair = [p for p in (two, three) if p is not None]
        return Series((one, Parallel(tuple(pair)) if len(pair) == 2 else pair[0]))

    def elsewhere(plus: str, minus: str) -> Callable[[float], list[Part]]:
        def parts(dial: float) -> list[Part]:
            bare = parts_of(rig, None, at_dial(dial))
            _add(bare, network, plus, minus, iter(range(100, 120)), at_dial(dial))
            if len(rig.channels) > 1:
                both = {"lug": "lug2", "out": "out"}[plus]
                _add(bare, network, both, minus, iter(range(120, 140)), at_dial(dial))
            return bare

        return parts

    yield Fault("", "good", of(rig, network))
    short = replace(ahead, ohms=1e-2)
    for factor in (0.1, 0.3, 3.3, 10.0):
        times = f"x{factor:g}"
        wrong = [replace(r, ohms=r.ohms * factor) for r in (ahead, beside)]
        yield Fault("R1", f"R1 {times}", of(rig, tree(wrong[0], beside, capacitor)))
        yield Fault("R2", f"R2 {times}", of(rig, tree(ahead, wrong[1], capacitor)))
        farads = Capacitor(capacitor.farads * factor)
        yield Fault("C1", f"C1 {times}", of(rig, tree(ahead, beside, farads)))
    yield Fault("missing", "bypass not connected", of(rig, None))
    yield Fault("R2", "R2 open", of(rig, tree(ahead, None, capacitor)))
    yield Fault("C1", "C1 open", of(rig, tree(ahead, beside, None)))
    yield Fault("R1", "R1 shorted", of(rig, tree(short, beside, capacitor)))
    yield Fault("R2 or C1", "R2 or C1 shorted", of(rig, tree(ahead, short, capacitor)))
    yield Fault("swap", "R1 and R2 swapped", of(rig, tree(beside, ahead, capacitor)))
    yield Fault("swap", "R1 and C1 swapped", of(rig, tree(capacitor, beside, ahead)))
    yield Fault("joined", "all in parallel", of(rig, Parallel((ahead, beside, capacitor))))
    yield Fault("joined", "pair in series", of(rig, Series((ahead, beside, capacitor))))
    yield Fault("lugs", "input lug to ground", elsewhere("lug", "0"))
    yield Fault("lugs", "wiper lug to ground", elsewhere("out", "0"))
    yield Fault("old", "old bypass instead", of(rig, old))
    yield Fault("old", "old bypass as well", of(rig, Parallel((network, old))))
    pot = rig.first.volume

    def volume(**changes: object) -> Rig:
        return rig.with_first(replace(rig.first, volume=replace(pot, **changes)))

    for factor in (0.1, 0.5, 2.0):
        ohms = pot.resistance_ohms * factor
        yield Fault(
            "volume pot", f"volume pot x{factor:g}", of(volume(resistance_ohms=ohms), network)
        )
    for name, law in (
        ("linear track", Taper("linear")),
        ("reverse track", Taper("reverse-audio")),
        ("taper at 0.35", replace(pot.taper, midpoint=0.35)),
        ("taper at 0.04", replace(pot.taper, midpoint=0.04)),
    ):
        yield Fault("volume taper", name, of(volume(taper=law), network))
    crossed = replace(rig, volume_wiring="independent")
    yield Fault("volume wiring", "lugs crossed", of(crossed, network))
    tone = rig.first.tone
    assert tone is not None

    def toned(**changes: object) -> Rig:
        return rig.with_first(replace(rig.first, tone=replace(tone, **changes)))

    for dial in (0.0, 2.0, 3.0, 4.0):
        yield Fault("tone knob", f"tone knob at {dial:g}", of(toned(dial=dial), network))
    other = "fifties" if tone.wiring == "modern" else "modern"
    yield Fault("tone wire", "tone wire at the other lug", of(toned(wiring=other), network))
    low = replace(tone.pot, resistance_ohms=tone.pot.resistance_ohms / 10)
    # The same circuit as a knob turned back.
    yield Fault("tone knob", "tone pot x0.1", of(toned(pot=low), network))
    no_tone = rig.with_first(replace(rig.first, tone=None))
    yield Fault("tone off", "tone control off", of(no_tone, network))
    for factor in (0.25, 2.5, 5.0):
        cable = replace(rig, cable_farads=rig.cable_farads * factor)
        yield Fault("cable", f"cable x{factor:g}", of(cable, network))
    for ohms in (10e3, 47e3, 220e3):
        load = replace(rig.load, resistance_ohms=ohms)
        yield Fault("input", f"input {ohms / 1e3:g}k", of(rig.feeding(load), network))
    for factor in (0.25, 3.0):
        coil = replace(
            rig.first.pickup, inductance_henries=rig.first.pickup.inductance_henries * factor
        )
        other = rig.with_first(replace(rig.first, pickup=coil))
        yield Fault("pickup", f"pickup x{factor:g}", of(other, network))
    if len(rig.channels) < 2:
        return
    second = rig.channels[1]

    def beside_it(**changes: object) -> Rig:
        return replace(rig, channels=(rig.first, replace(second, **changes)))

    yield Fault("phase", "out of phase", of(beside_it(strength=-second.strength), network))
    alone = replace(rig, channels=(rig.first,))
    yield Fault("switch", "second pickup off", of(alone, network))
    yield Fault("second volume", "second volume at 5", of(beside_it(held_at=5.0), network))
    bare = beside_it(bypass=None)
    yield Fault("second bypass", "second bypass missing", of(bare, network))
