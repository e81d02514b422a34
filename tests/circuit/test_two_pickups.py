"""Instruments with two pickups, each with a volume and a bypass, and the switch in the middle."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from presolder.models.audio.knob import steady_turn
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.expression import parse_expression
from presolder.render.files.audio import read_recording
from presolder.render.files.rig_file import built_in_rigs, find_rig, read_rig
from rendering import band_rms, rendered, resting
from rigs import as_string_take, with_other
from running import in_process
from takes import SAMPLES

# One of each topology, and the plainest twice.
DESIGNS = short_list()

WIRINGS = ("two-pickups", "two-pickups-independent")
HZ = np.geomspace(20, 16_000, 40)


@pytest.mark.parametrize("name", WIRINGS)
def test_null_at_ten(name: str) -> None:
    """Nothing changed, nothing heard: the jack take comes back."""
    take = read_recording(SAMPLES / "phrase.flac")
    samples = take.samples[:, : 2 * take.sample_rate_hz]
    out = rendered(samples, take.sample_rate_hz, find_rig(name), DESIGNS, resting(10.0, 2.0))
    for design in out:
        error = band_rms(design[0] - samples[0], take.sample_rate_hz, 50, 16_000)
        assert error < 1e-4 * band_rms(samples[0], take.sample_rate_hz, 50, 16_000)


@pytest.mark.parametrize("name", WIRINGS)
def test_turn_to_zero_and_back_stays_bounded(name: str) -> None:
    """Both knobs together through both end stops, where shorts meet shorts."""
    rig = find_rig(name)
    assert len(rig.channels) == 2
    rig = as_string_take(with_other(rig, held_at=None))
    noise = np.random.default_rng(4).normal(size=24_000)
    path = steady_turn(10.0, 0.0, 0.2, 0.1)
    out = rendered(noise, 48_000, rig, DESIGNS, path)
    assert np.isfinite(out).all()
    assert np.abs(out[:, 0, -2000:]).max() < 1e-4


def test_the_other_pickup_at_zero() -> None:
    """With the lug wiring the first volume at 0 silences both; independent, it does not."""
    lug, independent = (
        np.abs(transfer(chain_equations(find_rig(name), None), HZ, 0.0)).max() for name in WIRINGS
    )
    assert lug < 1e-6
    assert independent > 0.1


@pytest.mark.parametrize("name", WIRINGS)
def test_two_alike_are_one_of_half_impedance(name: str) -> None:
    """Two equal branches turned together are one branch with all impedances halved.

    By symmetry: no current flows between the halves, so they may be joined
    node by node (bisection theorem for symmetric networks; any textbook on
    network theory).
    """
    rig = find_rig(name)
    assert len(rig.channels) == 2 and rig.first.tone is not None
    network = parse_expression("120k + (820k || 330p)")
    twin = replace(
        rig,
        channels=(rig.first, rig.first),
    )
    pickup, tone, volume = rig.first.pickup, rig.first.tone, rig.first.volume
    assert pickup.eddy_ohms is not None
    half = replace(
        rig.first,
        pickup=replace(
            pickup,
            resistance_ohms=pickup.resistance_ohms / 2,
            inductance_henries=pickup.inductance_henries / 2,
            capacitance_farads=pickup.capacitance_farads * 2,
            eddy_ohms=pickup.eddy_ohms / 2,
        ),
        volume=replace(volume, resistance_ohms=volume.resistance_ohms / 2),
        tone=replace(
            tone,
            pot=replace(tone.pot, resistance_ohms=tone.pot.resistance_ohms / 2),
            capacitance_farads=tone.capacitance_farads * 2,
        ),
    )
    halved = replace(rig, channels=(half,))
    dials = np.array([1.0, 4.0, 7.0, 10.0])
    both = transfer(chain_equations(twin, network), HZ, dials)
    one = transfer(chain_equations(halved, parse_expression("60k + (410k || 660p)")), HZ, dials)
    assert np.abs(decibels(both / one)).max() < 1e-6


def test_own_bypass_of_the_second() -> None:
    rig = find_rig("two-pickups")
    assert len(rig.channels) == 2
    cap = parse_expression("150p")
    dimmed = with_other(rig, held_at=3.0)
    responses = [
        transfer(chain_equations(with_other(dimmed, bypass=own), cap), HZ, 6.0)
        for own in ("auditioned", cap, None)  # type: ignore[type-var]
    ]
    assert np.array_equal(responses[0], responses[1])
    assert np.abs(decibels(responses[0] / responses[2])).max() > 1.0


SECOND = """[second]
{line}
[second.pickup]
resistance = "7k"
inductance = "3 H"
[second.volume]
resistance = "500k"
"""


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("dial = 11", "dial = 11 must lie between 0 and 10"),
        ('dial = "loose"', "dial = 'loose': must be a number"),
        ("level_db = 90", "level_db = 90 must lie between -40 and 40"),
        ("knob = 3", "unknown key 'knob'"),
        ('design = "oops"', "design 'oops' is not built in"),
    ],
)
def test_nonsense(tmp_path: Path, line: str, says: str) -> None:
    rig = tmp_path / "rig.toml"
    head = built_in_rigs()["two-pickups"].read_text().split("[second]")[0]
    rig.write_text(head + SECOND.format(line=line))
    with pytest.raises(InputError) as caught:
        read_rig(rig)
    assert says in str(caught.value)
    assert str(caught.value).startswith(f"{rig} [second]")


def test_missing_part_and_unknown_wiring(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    text = built_in_rigs()["two-pickups"].read_text()
    rig.write_text(text.split("[second]")[0] + "[second]\ndial = 4\n")
    with pytest.raises(InputError, match=r"\[second\]: pickup is missing"):
        read_rig(rig)
    rig.write_text(text.replace('wiring = "lug"', 'wiring = "wiper"'))
    with pytest.raises(InputError, match="wiring = 'wiper': must be one of lug, independent"):
        read_rig(rig)


def test_manifest_names_the_second(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    text = built_in_rigs()["two-pickups"].read_text()
    rig.write_text(text.replace('design = "same"', 'design = "330p"'))
    take = str(SAMPLES / "phrase.flac")
    turn = ("--travel", "0.2", "--rest", "0.1", "--design", "bare")
    in_process("render", take, "--rig", str(rig), *turn, "--out", str(tmp_path / "out"))
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text())
    assert manifest["rig"]["second"]["network"] == "330p"
    assert manifest["rig"]["second"]["pickup"]["inductance_henries"] == 3.9
    assert manifest["rig"]["volume_wiring"] == "lug"
