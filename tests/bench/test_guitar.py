"""The guitar as a form over the text of its rig file."""

import tomllib
from pathlib import Path

import pytest

import presolder as ps
from presolder.models.errors import InputError
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
