"""Whole guitars: what a rig file's switch, volumes and situations come to as a circuit."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from netlist import Part, at_dial, parts_of, spice_response
from presolder.models.audio.knob import steady_turn
from presolder.models.audio.renderer import Renderer
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.ports import bridged, combined, leaf_admittance, open_chain
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.expression import parse_expression, parse_source
from presolder.models.instrument.network import Design, leaves
from presolder.models.instrument.rig import Capture, Rig
from presolder.models.instrument.source import CoilsInParallel, CoilsInSeries, coils_of
from presolder.render.files.audio import read_recording
from presolder.render.files.rig_file import (
    built_in_rigs,
    find_rig,
    find_situations,
    read_rig,
    read_situations,
)
from random_circuits import random_wiring
from rendering import rendered
from running import presolder_here
from takes import SAMPLES

HZ = np.geomspace(20, 16_000, 40)

GUITAR = """
[pickups.neck]
resistance = "7k"
inductance = "2 H"
output = "100 mV"
[pickups.bridge.slug]
resistance = "4k"
inductance = "2 H"
output = "50 mV"
[pickups.bridge.screw]
resistance = "3k"
inductance = "1 H"
output = "40 mV"
reversed = true
[switch]
neck = "neck"
both = "neck || bridge"
split = "neck || bridge.screw"
apart = "neck || -bridge"
{controls}
[cable]
capacitance = "500p"
[input]
resistance = "1M"
"""
MASTER = """
[volume]
resistance = "250k"
taper = "linear"
"""
VOLUMES = """
[volumes.neck]
resistance = "250k"
taper = "linear"
[volumes.bridge]
resistance = "500k"
taper = "linear"
dial = 6
[tone]
resistance = "250k"
taper = "linear"
capacitance = "22n"
dial = 5
"""
BLEND = """
[blend]
resistance = "500k"
between = ["neck", "bridge"]
"""


def situations_of(folder: Path, controls: str, more: str = "") -> dict[str, Rig]:
    file = folder / "guitar.toml"
    file.write_text(GUITAR.format(controls=controls) + more)
    return {one.name: one.rig for one in read_situations(file)}


def simulated(parts: list[Part]) -> tuple[np.ndarray, np.ndarray]:
    return spice_response([*parts, Part("C", "out", "0", "500e-12"), Part("R", "out", "0", "1e6")])


def coil(hot: str, cold: str, ohms: str, henries: str, share: float) -> list[Part]:
    """A coil by hand; the EMF of 1 V is that of the neck pickup."""
    name = f"{hot}{cold}{henries}"
    return [
        Part("E", f"e{name}", cold, f"emf 0 {share}"),
        Part("R", f"e{name}", f"c{name}", ohms),
        Part("L", f"c{name}", hot, henries),
    ]


def assert_alike(rig: Rig, dial: float, parts: list[Part]) -> None:
    frequency_hz, outside = simulated(parts)
    ratio = transfer(chain_equations(rig, None), frequency_hz, dial)[0] / outside
    assert np.abs(decibels(ratio)).max() < 0.001
    assert np.abs(np.angle(ratio, deg=True)).max() < 0.01


def test_positions_of_a_switch_before_one_volume(tmp_path: Path) -> None:
    """Each position against a netlist written by hand."""
    rigs = situations_of(tmp_path, MASTER)
    pot = [Part("R", "hot", "out", "150k"), Part("R", "out", "0", "100k")]
    neck = coil("hot", "0", "7k", "2", 1.0)
    slug, screw = coil("hot", "mid", "4k", "2", 0.5), coil("mid", "0", "3k", "1", -0.4)
    assert_alike(rigs["neck"], 4.0, [*neck, *pot])
    assert_alike(rigs["both"], 4.0, [*neck, *slug, *screw, *pot])
    alone = coil("hot", "0", "3k", "1", -0.4)
    assert_alike(rigs["split"], 4.0, [*neck, *alone, *pot])
    turned = [*coil("hot", "mid", "4k", "2", -0.5), *coil("mid", "0", "3k", "1", 0.4)]
    assert_alike(rigs["apart"], 4.0, [*neck, *turned, *pot])


def test_a_volume_each_a_shared_tone_and_a_master(tmp_path: Path) -> None:
    rigs = situations_of(tmp_path, VOLUMES)
    neck = coil("n", "0", "7k", "2", 1.0)
    both = [*coil("b", "mid", "4k", "2", 0.5), *coil("mid", "0", "3k", "1", -0.4)]
    held = [Part("R", "b", "out", "200k"), Part("R", "out", "0", "300k")]
    turned = [Part("R", "n", "out", "150k"), Part("R", "out", "0", "100k")]
    tone = [Part("R", "out", "t", "125k"), Part("C", "t", "0", "22n")]
    assert_alike(rigs["both"], 4.0, [*neck, *both, *held, *turned, *tone])
    rigs = situations_of(tmp_path, VOLUMES + MASTER)
    pots = [Part(p.letter, p.plus, p.minus.replace("out", "j"), p.value) for p in [*held, *tone]]
    pots = [Part(p.letter, p.plus.replace("out", "j"), p.minus, p.value) for p in pots]
    # The neck's volume stands at 10.
    full = [Part("R", "n", "j", "1e-3"), Part("R", "j", "0", "250k")]
    master = [Part("R", "j", "out", "150k"), Part("R", "out", "0", "100k")]
    assert_alike(rigs["both"], 4.0, [*neck, *both, *pots, *full, *master])


def test_volts_are_the_first_pickups_wherever_the_switch_stands(tmp_path: Path) -> None:
    """An EMF of 1 is 100 mV, the output of the first pickup in the file, in every position."""
    for rig in situations_of(tmp_path, MASTER).values():
        assert rig.output_volts == pytest.approx(0.1)
    bridge = find_situations("three-single-coils")[0].rig
    assert (bridge.coil.output_volts, bridge.output_volts) == pytest.approx((0.085, 0.1))


@pytest.mark.parametrize(("dial", "share"), [(8.0, 0.4), (5.83, 0.834), (9.9, 0.02)])
def test_blend_pot_and_master(tmp_path: Path, dial: float, share: float) -> None:
    """The neck's gang is part way, the bridge's full on; a gang's pickup is at its wiper.

    The track is straight from one end to the middle, where all of it is passed.
    """
    more = f'[situations.there]\nswitch = "both"\nblend_dial = {dial}\n'
    rig = situations_of(tmp_path, BLEND + MASTER, more)["there"]
    neck = coil("n", "0", "7k", "2", 1.0)
    both = [*coil("b", "mid", "4k", "2", 0.5), *coil("mid", "0", "3k", "1", -0.4)]
    gangs = [
        Part("R", "n", "j", repr(500e3 * (1 - share))),
        Part("R", "n", "0", repr(500e3 * share)),
        Part("R", "b", "j", "1e-3"),
        Part("R", "b", "0", "500k"),
    ]
    master = [Part("R", "j", "out", "150k"), Part("R", "out", "0", "100k")]
    assert_alike(rig, 4.0, [*neck, *both, *gangs, *master])


def test_without_a_switch_the_first_pickup_of_the_file_is_turned(tmp_path: Path) -> None:
    """However many coils the pickups have."""
    coil = 'resistance = "4k"\ninductance = "2 H"\n'
    split = f"[pickups.bridge.slug]\n{coil}[pickups.bridge.screw]\n{coil}"
    neck = f"[pickups.neck]\n{coil}"
    volumes = '[volumes.neck]\nresistance = "250k"\n[volumes.bridge]\nresistance = "500k"\n'
    for pickups, ohms in ((split + neck, 500e3), (neck + split, 250e3)):
        file = tmp_path / "guitar.toml"
        file.write_text(pickups + volumes)
        plain = read_rig(file)
        file.write_text(pickups + volumes + '[switch]\n"both" = "neck || bridge"\n')
        switched = read_rig(file)
        assert plain.volume.resistance_ohms == ohms
        assert len(plain.channels) == len(switched.channels) == 2
    assert plain.channels[0].held_at is None


def test_an_output_is_in_volts_as_all_else_is_in_its_unit(tmp_path: Path) -> None:
    file = tmp_path / "guitar.toml"
    rest = 'resistance = "4k"\ninductance = "2 H"\n[volume]\nresistance = "500k"\n'
    for written in ("0.2", '"200 mV"', '"0.2 V"', '"200mV"'):
        file.write_text(f"[pickup]\noutput = {written}\n{rest}")
        assert read_rig(file).output_volts == pytest.approx(0.2)
    file.write_text(f"[pickup]\noutput = 200\n{rest}")
    with pytest.raises(InputError, match="output = 200 V must lie between 1 mV and 5 V"):
        read_rig(file)


def test_situations_change_what_they_say(tmp_path: Path) -> None:
    more = """
[situations.long]
switch = "neck"
cable = "1n"
weight = 2
[situations.fuzz]
switch = "both"
turns = "bridge"
tone_dial = 2
input_resistance = "50k"
dirt = "germanium-fuzz"
"""
    file = tmp_path / "guitar.toml"
    file.write_text(GUITAR.format(controls=VOLUMES) + more)
    long, fuzz = read_situations(file)
    assert (long.name, long.weight, long.rig.cable_farads) == ("long", 2.0, 1e-9)
    assert long.rig.tone is not None and long.rig.tone.dial == 5.0
    assert fuzz.rig.tone is not None and fuzz.rig.tone.dial == 2.0
    assert fuzz.rig.load.resistance_ohms == 50e3
    assert fuzz.rig.dirt is not None and fuzz.rig.dirt.kind == "germanium-fuzz"
    assert [one.held_at for one in fuzz.rig.channels] == [10.0, None]
    # The take is what it is, whatever it is listened to in.
    assert long.rig.take == fuzz.rig.take


@pytest.mark.slow
@pytest.mark.parametrize("index", [0, 3, 4, 8, 9])
def test_null_at_ten(index: int) -> None:
    """Nothing changed, nothing heard: the jack take comes back through any wiring."""
    rig = random_wiring(np.random.default_rng(100 + index), index)
    rig = replace(rig, take=Capture("jack"))
    take = read_recording(SAMPLES / "phrase.flac")
    audio = take.samples[:, : 2 * take.sample_rate_hz]
    path = steady_turn(10.0, 10.0, rest_s=0.5, travel_s=0.5)
    out = rendered(audio[0], take.sample_rate_hz, rig, (Design("bare", None),), path)[0, 0]
    heard = slice(2000, out.size - 2000)
    error = np.sqrt(np.mean((out - audio[0, : out.size])[heard] ** 2))
    assert decibels(error / np.sqrt(np.mean(audio[0, : out.size][heard] ** 2))) < -60


@pytest.mark.parametrize("places", [1, 2, None])
@pytest.mark.parametrize("index", [2, 5, 8, 20])
def test_bypasses_put_across_equal_the_whole_circuit(index: int, places: int | None) -> None:
    """By the Woodbury formula; of three places or more all have the network, or so many."""
    rig = random_wiring(np.random.default_rng(index), index)
    assert len(rig.volumes) >= 3
    # One at least must follow the knob.
    turned_first = sorted(range(len(rig.volumes)), key=lambda i: rig.volumes[i].held_at is not None)
    wired = set(turned_first[:places])
    rig = rig.with_volumes(
        tuple(
            replace(one, bypass="auditioned" if i in wired else None)
            for i, one in enumerate(rig.volumes)
        )
    )
    network, dials = parse_expression("gang(150k, audio) || 1n"), np.array([2.0, 7.0])
    chain = open_chain(rig, HZ, dials)
    assert len(chain.dial) == len(wired)
    drawn = []
    for stands in chain.dial:
        parts = [leaf_admittance(leaf, chain.s, stands) for leaf in leaves(network)]
        drawn.append(combined(network, iter(parts)))
    whole = transfer(chain_equations(rig, network), HZ, dials)
    assert np.allclose(bridged(chain, tuple(drawn)), whole, rtol=1e-9, atol=1e-14)


def test_wiring_notation() -> None:
    rig = find_rig("split-humbucker")
    coils = {one.name: one for one in coils_of(rig.first.pickup)}
    names = list(coils)
    both = parse_source(f"{names[0]} + -{names[1]}", coils)
    assert isinstance(both, CoilsInSeries)
    assert [one.share > 0 for one in coils_of(both)] == [True, False]
    flat = parse_source(f"({names[0]} || {names[1]}) || {names[0]}", coils)
    assert isinstance(flat, CoilsInParallel) and len(flat.parts) == 3


@pytest.mark.parametrize(
    ("controls", "more", "says"),
    [
        ("", "", r"section \[volume\] is missing"),
        (MASTER.replace("250k", "250k"), '[situations.x]\nswitch = "middle"', "must be one of"),
        (MASTER, "[situations.x]\nblend_dial = 3", "the rig has no .blend."),
        (MASTER, "[situations.x]\npedal_dial = 3", "the rig has no .pedal."),
        (MASTER, "[situations.x]\ntone_dial = 3", "no tone control"),
        (MASTER, "[situations.x]\nweight = 0", "weight = 0 must lie above 0"),
        (MASTER, '[situations.x]\nturns = "neck"', "turns = 'neck': must be one of 'master'"),
        (MASTER, '[situations.x]\nmood = "blue"', "unknown key 'mood'"),
        (MASTER, '[situations.x]\ncable_length = "9 m"', "needs a .cable. of a length"),
        (VOLUMES.replace("[volumes.bridge]", "[volumes.middle]"), "", "unknown key 'middle'"),
        (MASTER, '[tones.neck]\nresistance = "250k"', r"has no \[volumes.neck\]"),
        (BLEND.replace('"bridge"]', '"middle"]') + MASTER, "", "between = "),
        (MASTER, '[pedal]\nresistance = "25k"\ndial = 12', "dial = 12 must lie between"),
        (MASTER, '[buffer]\nat = "moon"', "at = 'moon': must be one of guitar, cable"),
        (MASTER, "[buffer]\ngain_db = 90", "gain_db = 90 must lie between"),
    ],
)
def test_nonsense(tmp_path: Path, controls: str, more: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        situations_of(tmp_path, controls, more)
    assert str(caught.value).startswith(str(tmp_path / "guitar.toml"))
    assert "\n" not in str(caught.value)


def test_pickups_with_volumes_of_their_own_are_wired_side_by_side(tmp_path: Path) -> None:
    file = tmp_path / "guitar.toml"
    file.write_text(
        GUITAR.format(controls=VOLUMES).replace("neck || bridge.screw", "neck + bridge")
    )
    with pytest.raises(InputError, match="only be wired side by side"):
        read_situations(file)


@pytest.mark.parametrize(
    "text", ['"neck |"', '"treble"', '"neck || (bridge"', '"neck + bridge || neck"']
)
def test_positions_that_cannot_be_read(tmp_path: Path, text: str) -> None:
    file = tmp_path / "guitar.toml"
    file.write_text(GUITAR.format(controls=MASTER).replace('"neck || bridge"', text))
    with pytest.raises(InputError, match=r"\[switch\] both: .*column"):
        read_situations(file)


@pytest.mark.parametrize("name", list(built_in_rigs()))
def test_built_in_rigs_are_as_a_netlist_has_them(name: str) -> None:
    """Every situation of every one, into its input as it stands."""
    network = parse_expression("150k || 680p")
    for one in find_situations(name):
        parts = parts_of(one.rig, network, at_dial(6.0))
        frequency_hz, outside = spice_response(parts)
        ratio = transfer(chain_equations(one.rig, network), frequency_hz, 6.0)[0] / outside
        assert np.abs(decibels(ratio)).max() < 0.001


def test_one_line_says_which_situation_was_taken() -> None:
    """On standard error, once the work is done; what it says is that situation's."""
    asked = ("curves", "--rig", "split-humbucker", "--design", "bare", "--show", "5")
    first, named = presolder_here(*asked), presolder_here(*asked, "--in", "in series")
    assert "situation 'in series', the first of 3 (see --in)" in first.stderr
    assert named.stderr == "" and named.stdout == first.stdout
    other = presolder_here(*asked, "--in", "one coil")
    assert other.returncode == 0 and other.stdout != first.stdout
    wrong = presolder_here(*asked, "--in", "two coils")
    assert wrong.returncode == 2
    assert wrong.stderr.strip().endswith(
        "--in: situation 'two coils' is not in the rig; one of 'in series', 'in parallel',"
        " 'one coil'"
    )


def test_the_reference_at_ten_has_no_bypass_anywhere() -> None:
    """With the design across a pedal that stands half way, its sound at 10 is not the bare one's."""
    rig = find_rig("piezo-buffered")
    assert rig.pedal is not None
    half_way = replace(rig.pedal.volume, bypass="auditioned", held_at=5.0)
    rig = replace(rig, pedal=replace(rig.pedal, volume=half_way), take=Capture("string"))
    take = np.random.default_rng(3).normal(0.0, 0.1, (1, 24_000))
    fitted, bare = (
        np.concatenate(list(Renderer(rig, (Design("d", one),), 48_000).at_ten(take)), axis=1)
        for one in (parse_expression("10n"), None)
    )
    assert np.array_equal(fitted, bare)


def test_of_volume_and_pedal_only_one_is_turned() -> None:
    guitar, pedal = (one.rig for one in find_situations("piezo-buffered"))
    for rig, turned in ((guitar, 0), (pedal, 1)):
        assert rig.volumes[turned].held_at is None and rig.volumes[turned].auditioned
        other = rig.volumes[1 - turned]
        assert other.held_at == 10.0 and other.bypass is None
