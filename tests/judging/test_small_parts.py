"""Pieces that the judging is put together from, by hand."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ears import ear_of
from presolder.models.audio.curves import static_curve
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.errors import InputError
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.designs import built_in_designs
from presolder.models.instrument.dirt import DIRT_KINDS, Dirt, DirtKind
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import format_network
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.taper import Taper
from presolder.models.instrument.topologies import built_in_of
from presolder.models.judging.cleanup import clean_up, tone_harmonics
from presolder.models.judging.need import need
from presolder.models.judging.ranking import EQUAL_DB, worth_their_parts
from presolder.models.judging.tolerance import Spread, straying_parts, tighter_capacitor
from presolder.models.judging.travel import pots_sold, untracked_db, wanted_through
from presolder.render.listening.page import chart


def test_of_a_weak_tone_its_own_amplitude_is_left() -> None:
    """A clipper that does not clip: the first harmonic is the sine, by the curve's slope."""
    for kind in DIRT_KINDS:
        first, *others = np.abs(tone_harmonics(kind, [1e-4])[0])
        slope = np.diff(static_curve(kind, np.array([-1e-4, 1e-4])))[0] / 2e-4
        assert first == pytest.approx(1e-4 * slope, rel=1e-3)
        assert max(others) < 0.01 * first


@pytest.mark.parametrize("kind", DIRT_KINDS)
def test_the_level_falls_as_the_chain_does_once_nothing_is_clipped(
    humbucker: Rig, kind: DirtKind
) -> None:
    """And by no more while it is: a clipper compresses."""
    dirt, network = Dirt(kind, drive_db=12.0), parse_expression("470p")
    dials = np.array([10.0, 6.0, 2.0, 0.2, 0.1])
    found = clean_up(humbucker, network, dirt, dials)
    chain = chain_equations(humbucker.feeding(dirt.load), network)
    gain_db = 20 * np.log10(np.abs(transfer(chain, 330.0, dials)[:, 0]))
    steps, of_chain = np.diff(found.level_db), np.diff(gain_db)
    assert (of_chain <= steps + 0.01).all() and (steps <= 0.01).all()
    assert steps[-1] == pytest.approx(of_chain[-1], abs=0.05)
    assert found.thd[0] > 10 * found.thd[-1]


def test_what_is_heard_at_one_dial_is_heard(humbucker: Rig) -> None:
    """At 9.99 nothing has changed yet; that does not unsay what 5 does."""
    ear = ear_of(humbucker, dials=[9.99, 5.0])
    found = need(ear, np.array([9.99, 5.0]))
    assert found.shown.change.noticed.tolist() == [False, True]
    assert found.verdict in ("probably", "yes")


def test_parts_must_earn_their_solder() -> None:
    def one(rank: int, score_db: float) -> Any:
        return SimpleNamespace(effort=SimpleNamespace(rank=rank), score_db=score_db)

    plain = one(0, 2.0)
    for parts, better_by, kept in (
        (1, 0.4, False),
        (1, 0.6, True),
        (0, 0.4, True),
        (0, -3.0, True),
    ):
        other = one(parts, plain.score_db - better_by)
        assert EQUAL_DB == 0.5
        assert worth_their_parts([plain, other]) == ((plain, other) if kept else (plain,))
    # The dear one first: what is simpler stays, however much worse.
    assert worth_their_parts([one(1, 1.0), plain])[1] is plain


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


def test_gangs_that_do_not_track(humbucker: Rig) -> None:
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


def test_built_in_designs_of_a_topology() -> None:
    pot = Pot(500e3)
    every = {format_network(one.network): one.name for one in built_in_designs(pot)}
    for text, names in (
        ("1n + 1k", {"series", "series-strong"}),
        ("1k + 1k + 1k", set()),
    ):
        found = built_in_of(parse_expression(text), pot)
        assert {every[format_network(one)] for one in found} == names


def test_the_chart_of_a_design_lies_where_it_says() -> None:
    """As loud as at 10 and as bright is the zero line; louder is higher up."""
    dial = np.array([2.0, 5.0, 8.0])

    def drawn(phon: float, brighter: float) -> tuple[list[float], float]:
        change = SimpleNamespace(brighter_db=np.full(3, brighter), duller_db=np.zeros(3))
        figure: Any = SimpleNamespace(dial=dial, phon=np.full(3, phon), change=change)
        svg = chart(figure, 60.0, "a")
        lines = [part.split('"')[0] for part in svg.split('points="')[1:]]
        heights = [[float(point.split(",")[1]) for point in line.split()] for line in lines]
        assert all(len(set(line)) == 1 for line in heights)
        return [line[0] for line in heights], float(svg.split('y1="')[1].split('"')[0])

    (loudness, treble), zero = drawn(60.0, 0.0)
    assert loudness == treble == zero
    (loudness, treble), _ = drawn(50.0, 3.0)
    assert loudness > zero > treble
    # Ten phon and three decibels by one scale.
    assert (loudness - zero) / (zero - treble) == pytest.approx(10 / 3, rel=0.02)


def test_what_strays_and_how_far(humbucker: Rig) -> None:
    """A gang as a pot does, 20 %; resistors 5, capacitors 10 (common practice, no source)."""
    network = parse_expression("gang(500k, audio) || (91k + 1n)")
    found = [
        (part.name, part.kind, part.spread) for part in straying_parts(humbucker, network, Spread())
    ]
    assert found == [
        ("volume pot", "pot", 0.20),
        ("taper midpoint", "midpoint", 0.05),
        ("cable", "cable", 0.20),
        ("gang 500k", "pot", 0.20),
        ("91k", "resistor", 0.05),
        ("1n", "capacitor", 0.10),
    ]


def test_a_tighter_capacitor_strays_half_as_far(humbucker: Rig) -> None:
    """Of 10 and 5 %; what ears make of it is next to proportional."""
    ear, dials = ear_of(humbucker), np.array([8.0, 6.0, 4.0])
    found = tighter_capacitor(ear, parse_expression("1n"), dials, Spread())
    assert found is not None
    assert found.then_db / found.now_db == pytest.approx(0.5, abs=0.06)
    assert tighter_capacitor(ear, parse_expression("1n"), dials, Spread(capacitor=0.05)) is None
    assert tighter_capacitor(ear, parse_expression("91k"), dials, Spread()) is None
