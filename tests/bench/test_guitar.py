"""The guitar as a form over the text of its rig file."""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import presolder as ps
from presolder.models.errors import InputError
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.typing import Array
from presolder.render.bench import desk, jobs
from presolder.render.bench.asked import Asked
from presolder.render.bench.guitar import answered, fields_of
from presolder.render.files.rig_file import built_in_rigs, read_rig_text

STARTER = ps.starter({"pickup": "single-coil"}).toml


def value(rig: str, key: str) -> str:
    (field,) = (one for one in fields_of(rig) if one.key == key)
    return field.value


@pytest.mark.parametrize("name", list(built_in_rigs()))
def test_every_rig_makes_a_form_and_every_answer_of_it_a_rig(name: str) -> None:
    """What stands in the form, typed again, changes nothing but how it is written."""
    text = built_in_rigs()[name].read_text("utf-8")
    before = read_rig_text(Path("rig.toml"), text)
    for field in fields_of(text):
        if not field.value:
            continue
        again, _, _ = answered(text, field.key, field.value)
        after = read_rig_text(Path("rig.toml"), again, as_given=True)
        assert [one.rig.channels for one in after] == [one.rig.channels for one in before], (
            field.key
        )
        assert [one.rig.cable_farads for one in after] == pytest.approx(
            [one.rig.cable_farads for one in before]
        )


@pytest.mark.parametrize(
    ("key", "typed", "reads"),
    [
        ("pickup.resistance", "6,4k", "6,4k"),
        ("volume.resistance", "A500K", "A500K"),
        ("cable.length", "15 ft", "15 ft"),
        ("input.resistance", "old fuzz", "10k"),
        ("input.resistance", "inf", "inf"),
        ("player.plays", "sw", "swells"),
        ("dirt.kind", "germanium", "germanium-fuzz"),
        ("player.dials", "8, 6.5", "8, 6.5"),
    ],
)
def test_everyday_words(key: str, typed: str, reads: str) -> None:
    text, did, _ = answered(STARTER, key, typed)
    assert value(text, key) == reads
    assert did.endswith(reads)
    assert read_rig_text(Path("rig.toml"), text)


def test_dials_are_left_to_the_way_of_playing_again() -> None:
    text, _, _ = answered(STARTER, "player.dials", "7")
    assert read_rig_text(Path("rig.toml"), text)[0].rig.player.dials == (7.0,)
    text, did, _ = answered(text, "player.dials", "")
    assert value(text, "player.dials") == "" and "as usual" in did
    assert text == STARTER or "dials" not in text
    with pytest.raises(InputError, match="Where the knob is left"):
        answered(STARTER, "player.dials", "11")


def test_what_is_known_is_no_longer_marked_and_what_is_not_is_again() -> None:
    text, _, _ = answered(STARTER, "pickup.inductance", "3.1 H")
    known = {one.key: one.known for one in fields_of(text)}
    assert known["pickup.inductance"] and not known["pickup.capacitance"]
    again, _, _ = answered(text, "pickup.inductance", "?")
    assert not {one.key: one.known for one in fields_of(again)}["pickup.inductance"]


def test_no_tone_control_and_one_again() -> None:
    without, _, _ = answered(STARTER, "tone.resistance", "none")
    assert "tone" not in tomllib.loads(without)
    (one,) = read_rig_text(Path("rig.toml"), answered(without, "tone.resistance", "500k")[0])
    assert one.rig.channels[0].tone is not None


def test_another_dirt_takes_nothing_of_the_last() -> None:
    text = STARTER + '\n[dirt]\nkind = "smooth"\ndrive = 30\n'
    (one,) = read_rig_text(Path("rig.toml"), answered(text, "dirt.kind", "silicon-fuzz")[0])
    assert one.rig.dirt is not None
    assert "dirt" not in tomllib.loads(answered(text, "dirt.kind", "none")[0])


def test_what_is_odd_is_said_and_what_cannot_be_is_refused() -> None:
    assert "odd for a pickup inductance" in answered(STARTER, "pickup.inductance", "25 H")[2]
    with pytest.raises(InputError, match="Inductance: 'soon' is not a value in henrys"):
        answered(STARTER, "pickup.inductance", "soon")
    with pytest.raises(InputError, match="nothing of this guitar is asked for"):
        answered(STARTER, "pickup.colour", "blue")


def asked_of(job: Path, **told: object) -> dict[str, str]:
    """What the form would have by these readings."""
    values = desk.measured(job, Asked(told))["values"]
    assert isinstance(values, dict)
    return values


@pytest.fixture
def job(tmp_path: Path) -> Path:
    answers = {
        "pickup": "single-coil", "pickup.resistance": "6k", "volume.resistance": "B250K",
        "cable.length": "5 m", "input.resistance": "1M", "tone.resistance": "none",
    }  # fmt: skip
    return tmp_path / jobs.begin(tmp_path, "one", ps.starter(answers).toml)


def peak_hz(response: Array) -> float:
    return float(HZ[np.argmax(np.abs(response) * HZ)])


HZ = np.geomspace(500, 20_000, 40_000)


def test_ohms_at_the_jack_tell_pot_and_winding(job: Path) -> None:
    """By the divider at direct current, worked out here."""
    track, winding = 231e3, 6.4e3
    below = {dial: dial / 10 * track for dial in (10, 8, 6, 5, 4, 2)}
    read = {f"{d}": r * (track - r + winding) / (track + winding) for d, r in below.items()}
    typed = {dial: f"{ohms / 1e3:.1f}k".replace(".", ",") for dial, ohms in read.items()}
    values = asked_of(job, what="jack", ohms=typed)
    assert parse_quantity(values["volume.resistance"], "ohm") == pytest.approx(track, rel=0.01)
    assert parse_quantity(values["pickup.resistance"], "ohm") == pytest.approx(winding, rel=0.02)
    assert values["volume.taper"] == "linear"


def test_two_resonances_tell_the_pickup(job: Path) -> None:
    """The coil of 6k, 3 H and 120 pF into 1M, its highest output looked for on a grid."""
    s = 2j * np.pi * HZ

    def highest(added: float) -> str:
        across = 1 / (1e-6 + s * (120e-12 + added))
        return f"{peak_hz(across / (6e3 + 3.0 * s + across)):.1f}"

    told = {"bare_hz": highest(0.0), "loaded_hz": highest(470e-12), "added": "470p"}
    values = asked_of(job, what="resonance", **told)
    assert parse_quantity(values["pickup.inductance"], "henry") == pytest.approx(3.0, rel=0.01)
    assert parse_quantity(values["pickup.capacitance"], "farad") == pytest.approx(120e-12, rel=0.03)


def test_two_resonances_tell_the_cable(job: Path) -> None:
    rig = jobs.situations_of(job, jobs.newest(job))[0].rig.as_recorded
    before = float(value(jobs.newest(job).rig, "cable.picofarads_per_m"))

    def highest(added: float) -> str:
        other = replace(rig, cable_farads=1.3 * rig.cable_farads + added)
        return f"{peak_hz(ps.response(other, 'bare', 10.0, HZ)):.1f}"

    told = {"cable_hz": highest(0.0), "loaded_hz": highest(470e-12), "added": "470p"}
    found = float(asked_of(job, what="cable", **told)["cable.picofarads_per_m"])
    assert found == pytest.approx(1.3 * before, rel=0.03)


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ({"what": "weight"}, "jack, resonance, cable is wanted"),
        ({"what": "jack", "ohms": {"ten": "1k"}}, "a number is wanted"),
        ({"what": "resonance", "bare_hz": "7000", "loaded_hz": "3000", "added": "much"}, "added"),
    ],
)
def test_readings_that_cannot_be(job: Path, told: dict[str, object], why: str) -> None:
    with pytest.raises(InputError, match=why):
        asked_of(job, **told)
