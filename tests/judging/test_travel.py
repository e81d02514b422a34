"""The turn of the knob: the level that is wanted, and what pots and bypasses make of it."""

import json
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

import presolder as ps
from ears import ear_of
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Capacitor, Resistor, Series
from presolder.models.instrument.preferred import preferred_values
from presolder.models.instrument.rig import Rig
from presolder.models.judging.merit import merit
from presolder.models.judging.search import Shelf
from presolder.models.judging.turn import (
    fit_travel,
    half_as_loud_at,
    pots_sold,
    turn_of,
    untracked_db,
    usable_between,
    wanted_through,
)
from presolder.render.files.rig_file import find_rig
from rigs import single
from running import in_process, presolder_here

# A pot that nothing loads and that has no cable: the level is its law alone.
FREE = single(Pickup(10.0, 1e-3), Pot(500e3, Taper("linear")), None, 0.0, Load())


def test_the_turn_of_a_linear_pot_by_hand() -> None:
    """20 lg of the dial: 1 dB down at 8.91, 3 at 7.08, 30 at 0.316, and 60 at 0.01."""
    turn = turn_of(ear_of(FREE), None)
    assert turn.level_db[[19, 99]] == pytest.approx([-20.0, 20 * np.log10(0.5)], abs=0.02)
    step = 270 * 0.05 / 10
    assert turn.dead_at_ten_degrees == pytest.approx(27 * (10 - 8.9125), abs=step)
    assert turn.usable_degrees == pytest.approx(27 * (7.0795 - 0.3162), abs=1.5 * step)
    assert turn.dead_at_zero_degrees == 0.0
    steep = FREE.with_volume(Pot(500e3, Taper("audio", 0.002)))
    # From (b^x - 1) / (b - 1) = 1/1000 with b = 499^2.
    silent = 270 * np.log(1 + (499**2 - 1) / 1000) / (2 * np.log(499))
    assert turn_of(ear_of(steep), None).dead_at_zero_degrees == pytest.approx(
        silent, abs=1.5 * step
    )


def test_what_is_wanted() -> None:
    for dial in (0.5, 9.0):
        assert half_as_loud_at(dial).said == f"half as loud at {dial:g}"
    half = half_as_loud_at(5.0)
    assert half.dial.tolist() == [9.5, 9, 8.5, 8, 7.5, 7, 6.5, 6, 5.5, 5]
    assert half.level_db[[0, -1]] == pytest.approx([-1.0, -10.0])
    usable = usable_between(3, 30)
    assert (usable.dial[0], usable.dial[-1]) == (9.5, 0.5)
    assert usable.level_db[[0, 9, -1]] == pytest.approx([-3.0, -16.5, -30.0])
    drawn = wanted_through(((2.0, -20.0), (8.0, -2.0)), "drawn")
    assert drawn.level_db[drawn.dial == 5.0] == pytest.approx([-11.0])


@pytest.mark.thorough
def test_search_finds_what_trying_everything_finds() -> None:
    """Every pot with every R + C of a small grid, judged one by one."""
    ear, wanted = ear_of(find_rig("humbucker-500k")), half_as_loud_at(5.0)
    ohms, farads = preferred_values("E6", 10e3, 330e3), preferred_values("E6", 220e-12, 3.3e-9)
    shelf = Shelf(tuple(map(Resistor, ohms)), tuple(map(Capacitor, farads)), ())
    pots = (ear.rig.volume, Pot(250e3, Taper("linear")), Pot(500e3, Taper("audio", 0.1)))
    found = fit_travel((ear,), wanted, pots, (Series((Resistor(1.0), Capacitor(1.0))),), shelf)
    weight = ear.conditions.tone_weight
    for pot in pots:
        rig = ear.rig.with_volume(pot)
        own = ear_of(rig, left_at=wanted.dial)
        meant = replace(own, conditions=replace(own.conditions, wanted_db=wanted.level_db))
        tried = []
        for r, c in product(ohms, farads):
            network = Series((Resistor(float(r)), Capacitor(float(c))))
            tone_db = merit(meant, network).tone_db
            response = own.response(network, wanted.dial)
            loud = 10 * np.log10((10 ** (own.levels_db(response) / 10)).sum(axis=-1))
            ten = own.levels_db(own.response(None, np.array([10.0]))[0])
            level = loud - 10 * np.log10((10 ** (ten / 10)).sum())
            miss = float(np.sqrt(np.mean((level - wanted.level_db) ** 2)))
            tried.append(weight * tone_db + (1 - weight) * miss)
        its = next(one for one in found if one.pot == pot and one.network is not None)
        assert its.score_db == pytest.approx(min(tried), abs=1e-6)
        # Another pot is one part more to buy and to solder.
        assert its.effort.parts == 2 + (pot != ear.rig.volume)


def test_trade_facts() -> None:
    """A linear pot is off an even fade in dB; an audio one is near it. Common practice, no source."""
    wanted = usable_between(3, 30)
    ear = ear_of(FREE)
    shelf = Shelf((Resistor(1e5),), (Capacitor(1e-9),), ())
    pots = (FREE.volume, Pot(500e3, Taper("audio", 0.15)))
    found = fit_travel((ear,), wanted, pots, (Capacitor(1.0),), shelf)
    bare = {one.pot.taper.kind: one.miss_db for one in found if one.network is None}
    assert bare["linear"] > 2 * bare["audio"]


def test_gangs_that_do_not_track() -> None:
    ear = ear_of(find_rig("humbucker-500k"))
    dial = np.array([8.0, 5.0])
    assert untracked_db(ear, parse_expression("150k + 470p"), dial) is None
    network = parse_expression("gang(500k, audio, zero) + 470p")
    off = untracked_db(ear, network, dial)
    assert off is not None and off > 0.05
    wider = parse_expression("gang(600k, audio, zero) + 470p")

    def level(its: object) -> np.ndarray:
        response = ear.levels_db(ear.response(its, dial))  # type: ignore[arg-type]
        return 10 * np.log10((10 ** (response / 10)).sum(axis=-1))

    assert off >= np.abs(level(wider) - level(network)).max() - 1e-9


def test_command(tmp_path: Path) -> None:
    curve = tmp_path / "wanted.csv"
    curve.write_text("dial,level_db\n2,-25\n8,-6\n10,0\n")
    options = ("--wanted", str(curve), "--pot", "B500K", "--topology", "cap", "--top", "2")
    text = in_process("travel", *options)
    found = json.loads(in_process("travel", *options, "--json"))
    assert "as drawn in wanted.csv" in text and found["wanted"]["said"] == "as drawn in wanted.csv"
    assert found["now"]["expression"] is None and found["now"]["pot"]["as_now"]
    first = found["best"][0]
    stays = first["expression"] is None and first["pot"]["as_now"]
    assert text.startswith("Nothing searched comes clearly nearer") == stays
    assert first["score_db"] <= found["now"]["score_db"] + 0.5
    assert "If its gangs" not in text and first["untracked_db"] is None
    rig = ps.rig("humbucker-500k")
    if first["pot"]["as_now"]:
        assert first["at_ten_db"] == 0.0
    assert rig.volume.taper.kind == "audio"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rig", "wanted", "says", "says_not"),
    [
        # An unloaded single coil is brighter at 10 with 1 M than with 250k (common practice).
        ("single-coil-250k", "halfway at 3", ["changes the sound at 10"], "further off"),
        ("hollow-body-blend", "halfway at 3", [], "changes the sound at 10"),
        (
            "humbucker-500k",
            "halfway at 7",
            ["That is further off", "the tone changes less"],
            "changes the sound at 10",
        ),
    ],
)
def test_what_is_said_of_the_first(rig: str, wanted: str, says: list[str], says_not: str) -> None:
    lines = ps.travel(
        rig, ps.turn_wanted(wanted), pots=["A250K", "B1M"], topologies=["cap"], top=1
    ).lines()
    text = " ".join(line for line in lines if isinstance(line, str))
    assert "comes first" in text
    assert all(words in text for words in says) and says_not not in text


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ("halfway", "'halfway' must be 'halfway at 5'"),
        ("halfway at 0.4", "halfway at 0.4 must lie between 0.5 and 9"),
        ("halfway at 9.1", "halfway at 9.1 must lie between 0.5 and 9"),
        ("halfway at 12", "halfway at 12 must lie between 0.5 and 9"),
        ("usable from 30 to 3", "must rise"),
        ("usable from 3 to 300", "between 0 and 80"),
        ("none.csv", "no such file"),
    ],
)
def test_wishes_that_cannot_be_read(wanted: str, says: str) -> None:
    done = presolder_here("travel", "--wanted", wanted)
    assert done.returncode == 2 and says in done.stderr
    assert done.stderr.startswith("presolder: --wanted")


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("2,-25\n", "at least two points"),
        ("2,-25\n2,-6\n", "dials must rise"),
        ("2,-5\n8,-6\n", "not fall as the dial rises"),
        ("2,-5\n8,6\n", "levels must lie between -80 and 0"),
        ("0,-50\n8,-6\n", "above 0 and up to 10"),
        ("2,-50\n8,-6\n11,0\n", "above 0 and up to 10"),
    ],
)
def test_curves_that_make_no_sense(tmp_path: Path, rows: str, says: str) -> None:
    curve = tmp_path / "wanted.csv"
    curve.write_text(f"dial,level_db\n{rows}")
    with pytest.raises(InputError, match=says):
        ps.turn_wanted(curve)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--pot", "500k"), "--pot: '500k' does not say its taper"),
        (("--left-at", "5"), "--left-at has no use here"),
        (("--top", "0"), "--top 0 must lie"),
        (("--topology", "bare"), "--topology: bare has no parts"),
    ],
)
def test_nonsense(options: tuple[str, ...], says: str) -> None:
    done = presolder_here("travel", "--wanted", "halfway at 5", *options)
    assert done.returncode == 2 and says in done.stderr


def test_a_wanted_turn_lies_between_its_points() -> None:
    found = wanted_through([(2.3, -20.0), (5.0, -10.0), (10.0, 0.0)], "")
    assert found.dial.tolist() == [9.5 - 0.5 * i for i in range(15)]
    assert found.level_db[found.dial == 7.5] == pytest.approx(-5.0)
    assert found.level_db[found.dial == 2.5] == pytest.approx(-10.0 - 2.5 * 10 / 2.7)
    with pytest.raises(InputError, match="dials must rise"):
        wanted_through([(5.0, -10.0), (5.0, 0.0)], "")


def test_pots_that_are_sold() -> None:
    """Three values and four laws (common practice, no source), and the one there is, once."""
    for now, count in ((Pot(500e3, Taper("audio", 0.15)), 12), (Pot(330e3, Taper("linear")), 13)):
        sold = pots_sold(now)
        assert len(sold) == len(set(sold)) == count and sold[0] == now
        assert {pot.resistance_ohms for pot in sold[1:]} == {250e3, 500e3, 1e6}
        assert {pot.taper.kind for pot in sold[1:]} == {"linear", "audio"}


def test_a_gang_a_fifth_off_by_the_response_at_one_frequency(humbucker: Rig) -> None:
    """20 % of the gang's value either way, and none without a gang."""
    ear, dials = ear_of(humbucker), np.array([8.0, 5.0, 2.0])
    assert untracked_db(ear, parse_expression("470p"), dials) is None
    nominal, *others = (
        20
        * np.log10(np.abs(transfer(chain_equations(humbucker, parse_expression(text)), 700, dials)))
        for text in ("gang(250k, linear)", "gang(200k, linear)", "gang(300k, linear)")
    )
    by_hand = max(float(np.abs(other - nominal).max()) for other in others)
    found = untracked_db(ear, parse_expression("gang(250k, linear)"), dials)
    # The level over the whole take, against that at one frequency amid it.
    assert found == pytest.approx(by_hand, rel=0.3) and by_hand > 0.3


@pytest.mark.thorough
def test_situations_are_weighed() -> None:
    """By hand: the miss in each, and their mean by the weights; the JSON has each turn."""
    wanted = half_as_loud_at(5.0)
    found = ps.travel("three-single-coils", wanted, pots=[], topologies=["cap"])
    weights = np.array([ear.weight for ear in found.ears])
    assert len(set(weights)) > 1
    for one in found.ranked:
        misses = []
        for ear in one.ears:
            loud = 10 ** (ear.levels_db(ear.response(one.network, wanted.dial)) / 10)
            ten = 10 ** (ear.levels_db(ear.response(None, np.array([10.0]))) / 10)
            level = 10 * np.log10(loud.sum(axis=-1) / ten.sum(axis=-1))
            misses.append(np.sqrt(np.mean((level - wanted.level_db) ** 2)))
        assert one.miss_db == pytest.approx(weights @ misses / weights.sum(), abs=1e-9)
    told = found.plain()
    assert [one["name"] for one in told["situations"]] == list(told["now"]["situations"])
    assert f"({found.ears[1].name})" in str(found)
