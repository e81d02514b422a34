"""What a rig is, and that its takes stay as they were made."""

from dataclasses import replace
from html import escape
from pathlib import Path

import numpy as np
import pytest

from presolder.models.circuit.equations import chain_equations, take_equations
from presolder.models.circuit.response import transfer
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.instrument import Blend
from presolder.models.instrument.network import leaves
from presolder.models.instrument.onward import Volume
from presolder.models.instrument.rig import Capture, Channel, Rig
from presolder.render.files.rig_file import (
    built_in_rigs,
    find_situations,
    read_rig,
    read_situations,
)

HZ = np.geomspace(50, 15_000, 20)


def test_take_section_replaces_only_what_it_names(humbucker: Rig, tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    text = built_in_rigs()["humbucker-500k"].read_text()
    file.write_text(text + '\n[take]\ncable = "300p"\ntone_dial = 4\n')
    rig = read_rig(file)
    assert rig.cable_farads == humbucker.cable_farads
    tone = humbucker.first.tone
    assert tone is not None
    first = replace(humbucker.first, tone=replace(tone, dial=4.0))
    stood = replace(humbucker.with_first(first), cable_farads=300e-12)
    equations = take_equations(rig)
    assert equations is not None
    expected = transfer(chain_equations(stood, None), HZ, 10.0)
    assert transfer(equations, HZ, 10.0) == pytest.approx(expected)


@pytest.mark.parametrize("dial", [-0.01, 10.01, np.nan])
def test_a_knob_stands_between_0_and_10(dial: float) -> None:
    """Whatever it belongs to, also where no file was read."""
    pot = Pot(500e3)
    for described in (
        lambda: Volume(pot, held_at=dial),
        lambda: Channel(Pickup(8e3, 4.0), pot, held_at=dial),
        lambda: Tone(pot, 22e-9, dial=dial),
        lambda: Blend(250e3, ("neck", "bridge"), dial),
        lambda: Capture(dial=dial),
    ):
        with pytest.raises(InputError, match=r"must lie between 0 and 10|must lie above 0"):
            described()


def test_what_the_rig_feeds_later_leaves_its_takes_alone(humbucker: Rig) -> None:
    before = take_equations(humbucker)
    for changed in (
        humbucker.feeding(Dirt("lopsided-10k").load),
        replace(humbucker, cable_farads=2e-9),
        humbucker.with_first(replace(humbucker.first, volume=Pot(250e3))),
    ):
        after = take_equations(changed)
        assert before is not None and after is not None
        assert np.array_equal(transfer(after, HZ, 10.0), transfer(before, HZ, 10.0))
        different = transfer(chain_equations(changed, None), HZ, 10.0)
        assert not np.allclose(different, transfer(before, HZ, 10.0))


def test_a_rig_made_in_a_script_stands_as_its_takes_were_made() -> None:
    rig = Rig((Channel(Pickup(8e3, 4.0), Pot(500e3)),), cable_farads=500e-12)
    after = take_equations(rig.feeding(Load(resistance_ohms=10e3)))
    assert after is not None
    stood = transfer(chain_equations(rig, None), HZ, 10.0)
    assert transfer(after, HZ, 10.0) == pytest.approx(stood)


def test_string_takes_have_no_chain() -> None:
    rig = Rig((Channel(Pickup(8e3, 4.0), Pot(500e3)),), take=Capture("string"))
    assert take_equations(rig) is None
    assert rig.as_recorded is rig


def test_channels_that_make_no_sense() -> None:
    channel = Channel(Pickup(8e3, 4.0), Pot(500e3))
    for channels, says in (
        ((), "1 to 6 channels, not 0"),
        ((channel,) * 7, "1 to 6 channels, not 7"),
        ((replace(channel, held_at=4.0),), "one volume must follow the knob"),
        ((replace(channel, bypass=None),), "one volume must follow the knob"),
    ):
        with pytest.raises(InputError, match=says):
            Rig(channels)
    for strength in (-100.5, 100.5, float("nan")):
        with pytest.raises(InputError, match="must lie between -100 and 100"):
            replace(channel, strength=strength)
    for strength in (-100.0, 100.0):
        assert replace(channel, strength=strength).strength == strength


def test_prints_its_values() -> None:
    rig = Rig((Channel(Pickup(8e3, 4.0), Pot(500e3)),), 5e-10, Load(1e6), name="bench <7>")
    assert "8 kΩ, 4 H" in str(rig) and "500 kΩ audio (0.15 at half)" in str(rig)
    assert "bench &lt;7&gt;" in rig._repr_html_()


def test_what_a_rig_file_leaves_out_is_as_documented(tmp_path: Path) -> None:
    """A tone control stands at 10; a take was made into what the guitar feeds, unless it says."""
    file = tmp_path / "rig.toml"
    text = built_in_rigs()["humbucker-500k"].read_text()
    assert text.count("dial = 10\n") == 1
    text = text.replace("dial = 10\n", "")
    file.write_text(text)
    rig = read_rig(file)
    assert rig.first.tone is not None and rig.first.tone.dial == 10.0
    assert rig.take.rig is not None and rig.take.rig.load == rig.load
    file.write_text(text + '\n[take]\ninput_capacitance = "470p"\ninput_resistance = "220k"\n')
    stood = read_rig(file).take.rig
    assert stood is not None
    assert stood.load == Load(220e3, 470e-12)
    assert read_rig(file).load == rig.load


def test_a_softer_second_pickup(tmp_path: Path) -> None:
    """6 dB is half or twice its voltage, which adds to the first's."""
    text = built_in_rigs()["two-pickups"].read_text()
    file = tmp_path / "rig.toml"
    response = {}
    for written, share in (("-6.0206", 0.5), ("0", 1.0), ("6.0206", 2.0)):
        file.write_text(text.replace("level_db = 2\n", f"level_db = {written}\n"))
        response[share] = transfer(chain_equations(read_rig(file), None), HZ, 10.0)
    of_half = response[1.0] - response[0.5]
    assert response[2.0] - response[1.0] == pytest.approx(2 * of_half, rel=1e-4)
    # Two pickups all but alike: without the second about half is left.
    assert np.abs(2 * of_half / response[1.0]) == pytest.approx(np.full((1, HZ.size), 0.5), abs=0.2)


SAID = {
    "hollow-body-blend": """
    switch  at 'both'
    pickup  7.5 kΩ, 4.8 H, 90 pF, eddy 350 kΩ
    blend   500 kΩ blend, at 8
    second  pickup 8 kΩ, 5.5 H, 90 pF, eddy 350 kΩ
    tone    500 kΩ audio (0.15 at half), 22 nF, dial 10, modern wiring, for all
    master  500 kΩ audio (0.15 at half), turned
    cable   400 pF
    input   1 MΩ, 0 F
    take    captured at the jack; all coils have the same EMF
    player  rolls-back, knob at 8, 7, 6
""",
    "piezo-buffered": """
    pickup  piezo, 1.2 nF
    volume  1 MΩ audio (0.15 at half), at 10
    buffer  in the guitar, 10 MΩ in, 1 kΩ out, +0 dB
    cable   600 pF
    pedal   25 kΩ audio (0.15 at half), turned
    input   1 MΩ, 0 F
    take    captured at the jack
    player  rolls-back, knob at 8, 7, 6
""",
    "two-pickups": """
    pickup  8.6 kΩ, 4.6 H, 130 pF, eddy 850 kΩ
    volume  500 kΩ audio (0.15 at half)
    tone    500 kΩ audio (0.15 at half), 22 nF, dial 10, modern wiring
    second  pickup 7.4 kΩ, 3.9 H, 115 pF, eddy 900 kΩ
            volume 500 kΩ audio (0.15 at half), at 10
            tone 500 kΩ audio (0.15 at half), 22 nF, dial 10, modern wiring
    cable   600 pF
    input   1 MΩ, 0 F
    take    captured at the jack; all coils have the same EMF
    player  rolls-back, knob at 8, 7, 6
""",
}


@pytest.mark.parametrize("name", list(SAID))
def test_what_a_rig_says_of_itself(name: str) -> None:
    """As its file has it, read by eye; a part that isn't there has no line."""
    rig = find_situations(name)[-1].rig
    head, _, rows = str(rig).partition("\n")
    assert head == f"{name}: {rig.title}"
    assert f"\n{rows}\n" == SAID[name]
    table = rig._repr_html_()
    assert table.count("<tr>") == len(rows.splitlines())
    assert all(f"<td>{escape(row[12:].strip())}</td>" in table for row in rows.splitlines())


@pytest.mark.parametrize("join", ["+", "||"])
def test_sixteen_parts_and_no_more(join: str) -> None:
    assert len(leaves(parse_expression(f" {join} ".join(["1k"] * 16)))) == 16
    with pytest.raises(InputError, match="at most 16 parts"):
        parse_expression(f" {join} ".join(["1k"] * 17))


def test_volts_of_a_pickup_that_is_softer_than_the_first(tmp_path: Path) -> None:
    """A unit of EMF is the first pickup's 100 mV, of which the bridge's has a half."""
    coil = 'resistance = "6k"\ninductance = "2 H"\n'
    file = tmp_path / "r.toml"
    file.write_text(
        f'[pickups.neck]\n{coil}output = "100 mV"\n[pickups.bridge]\n{coil}output = "50 mV"\n'
        '[switch]\n"bridge" = "bridge"\n"neck" = "neck"\n[volume]\nresistance = "500k"\n'
    )
    for situation in read_situations(file):
        assert situation.rig.output_volts == pytest.approx(0.1)
    assert abs(read_rig(file).first.strength) == pytest.approx(0.5)
