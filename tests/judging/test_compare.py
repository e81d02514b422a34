"""Figures of merit against hand-worked cases, and the order that comes from them."""

import json
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

import presolder as ps
from ears import ear_of
from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.rig import Channel, Rig
from presolder.models.judging.alike import others_like
from presolder.models.judging.judged import ranked
from presolder.models.judging.merit import merit, merits, pickup_load, turn_figures
from presolder.models.judging.ranking import (
    EQUAL_DB,
    Scored,
    all_scored,
    effort,
    in_classes,
    in_order,
    worth_their_parts,
)
from presolder.models.judging.tolerance import Spread
from presolder.render.files.rig_file import built_in_rigs, find_situations
from rigs import single
from running import in_process

IDEAL = single(Pickup(1e-2, 1e-6), Pot(500e3, Taper("linear")))


def test_taper_shift_of_a_resistor_by_hand() -> None:
    """An ideal source and no cable: two resistive dividers, which leave the tone alone.

    Bare the output is a; with Rb across the upper part it is
    a R / (a R + (1 - a) R || Rb). A level change of so many dB is about as many
    phon (ISO 532-1: ten phon a doubling of loudness, which takes about 10 dB).
    """
    a, track, across = np.arange(3, 10) / 10, 500e3, 250e3
    upper = 1 / (1 / ((1 - a) * track) + 1 / across)
    shift_db = 20 * np.log10(a * track / (a * track + upper) / a)
    figures = merit(ear_of(IDEAL), parse_expression("250k"), np.arange(3.0, 10.0))
    assert figures.taper_shift_phon == pytest.approx(shift_db, rel=0.12)
    assert figures.change.largest_db.max() < 0.3
    assert figures.level_phon[0] == pytest.approx(20 * np.log10(0.3) + shift_db[0], rel=0.12)
    # At 1 below: nine tenths of the track, 450k, with 250k across.
    left_db = 20 * np.log10(50 / (50 + 1 / (1 / 450 + 1 / 250)))
    assert figures.leftover_phon == pytest.approx(left_db, rel=0.12)


def test_lone_capacitor_of_an_ideal_source_by_hand() -> None:
    """A divider of resistors low, of capacitors high: brighter by what lies between."""
    cabled = single(IDEAL.first.pickup, IDEAL.first.volume, None, 470e-12, Load())
    bright = merit(ear_of(cabled), parse_expression("470p"), np.array([2.0]))
    # From a fifth to a half: 8 dB, of which equal loudness takes a part away.
    assert 2 < bright.change.brighter_db[0] < 20 * np.log10(2.5)
    assert bright.change.duller_db[0] < 0.05
    bare = merit(ear_of(cabled), None, np.array([2.0]))
    assert bare.change.brighter_db[0] < 0.05
    assert bare.change.duller_db[0] > 0.5
    # It lacks the treble of an ideal knob, and is softer for it.
    assert bare.taper_shift_phon[0] < -0.2


def test_load_by_hand() -> None:
    """At dial 5 the coil feeds half a track into half a track beside 1M."""
    rig = single(Pickup(8e3, 4.0, eddy_ohms=1e6), IDEAL.first.volume, load=Load(1e6))
    expected = 250e3 + 1 / (1 / 250e3 + 1 / 1e6)
    assert pickup_load(rig, None, 1000.0, np.array([5.0]))[0] == pytest.approx(expected, rel=1e-9)
    at_ten = merit(ear_of(rig), None).load_ohms
    assert at_ten == pytest.approx(1 / (1 / 500e3 + 1 / 1e6), rel=1e-9)


def test_load_of_a_pickup_beside_another_by_hand() -> None:
    """At 10 it feeds both tracks, the input and the other coil, which is silent but there."""
    volume = Pot(500e3, Taper("linear"))
    both = (Channel(Pickup(8e3, 4.0), volume), Channel(Pickup(9e3, 1e-3), volume, held_at=10.0))
    rig = Rig(both, load=Load(1e6))
    expected = 1 / (2 / 500e3 + 1 / 9e3 + 1 / 1e6)
    assert abs(pickup_load(rig, None, 1000.0, np.array([10.0]))[0]) == pytest.approx(
        expected, rel=1e-5
    )
    assert merit(ear_of(rig), None, np.array([10.0])).load_ohms == pytest.approx(expected, rel=1e-5)


def test_many_at_once_as_one_by_one(humbucker: Rig) -> None:
    ear = ear_of(humbucker)
    networks = [design.network for design in built_in_designs(humbucker)]
    for network, together in zip(networks, merits(ear, networks), strict=True):
        alone = merit(ear, network)
        assert together.tone_db == pytest.approx(alone.tone_db, abs=1e-6)
        assert together.taper_phon == pytest.approx(alone.taper_phon, abs=1e-9)
        several = (together.change.tone_db, together.level_phon, together.taper_shift_phon)
        assert {one.shape for one in (*several, together.acum)} == {together.dial.shape}


def test_nothing_changes_at_ten(humbucker: Rig) -> None:
    ear = ear_of(humbucker)
    for design in built_in_designs(humbucker):
        figures = merit(ear, design.network, np.array([10.0]))
        assert figures.change.largest_db[0] < 0.01
        assert figures.taper_phon < 1e-6


def test_dirt_is_what_the_guitar_feeds(humbucker: Rig) -> None:
    """A rig with a fuzz is judged as the same rig into that fuzz's input."""
    fuzz = replace(humbucker, dirt=Dirt("lopsided-10k"))
    into = humbucker.feeding(Dirt("lopsided-10k").load)
    network = parse_expression("68k + 1n5")
    told, same = merit(ear_of(fuzz), network), merit(ear_of(into), network)
    assert told.tone_db == pytest.approx(same.tone_db, abs=1e-9)
    assert abs(told.tone_db - merit(ear_of(humbucker), network).tone_db) > 0.5


def test_speaker_and_level_are_heard(humbucker: Rig) -> None:
    """A loudspeaker takes the top away; at a whisper little of it is above the threshold."""
    usual, boxed = ear_of(humbucker), ear_of(humbucker, speaker="plain")
    soft = ear_of(humbucker, listening_level_db=45.0)
    # Against 1 kHz the plain loudspeaker lifts the presence and takes the top away.
    lift_db = (boxed.at_ten.third_octave_db - usual.at_ten.third_octave_db)[[20, 26]]
    lift_db -= (boxed.at_ten.third_octave_db - usual.at_ten.third_octave_db)[16]
    assert lift_db[0] > 3 and lift_db[1] < -3
    assert soft.at_ten.phon < usual.at_ten.phon - 25
    figures = [merit(ear, parse_expression("470p")).change.largest_db for ear in (usual, soft)]
    assert np.abs(figures[0] - figures[1]).max() > 0.3


def test_order_puts_plain_parts_before_gains_nobody_hears(humbucker: Rig) -> None:
    """By hand: scores 1.0, 1.2, 1.4 are equal; 1.6 is not equal to 1.0."""
    ear = ear_of(humbucker)
    bare_at_two = np.full((1, 100), 2.0)
    template = replace(all_scored((ear,), (Design("bare", None),))[0], bare_drawn_db=bare_at_two)
    volume = humbucker.first.volume

    def scored(one: Scored, points: float) -> Scored:
        return replace(one, drawn_db=np.full((1, 100), points))

    made = {}
    for name, text, points in (
        ("dual", "gang(500k, audio, zero) + 1n", 1.0),
        ("three", "10k || (10k + 1n)", 1.2),
        ("two", "10k + 1n", 1.4),
        ("later", "1n", 1.6),
        ("special", "gang(250k, linear, zero) + 1n", 0.2),
    ):
        network = parse_expression(text)
        own = replace(template, design=Design(name, network), efforts=(effort(network, volume),))
        made[name] = scored(own, points)
    order = [
        one.design.name for one in in_order(made[n] for n in ("dual", "three", "two", "later"))
    ]
    assert order == ["two", "three", "dual", "later"]
    assert [len(some) for some in in_classes(made[n] for n in ("dual", "two", "later"))] == [2, 1]
    # A special order never wins, however good.
    assert [one.design.name for one in in_order(made.values())] == [*order, "special"]
    bare = scored(template, 1.8)
    with_bare = in_order([bare, *(made[n] for n in ("dual", "two", "later"))])
    # Nothing stands before bare that is not half a decibel ahead of it.
    assert [one.design.name for one in with_bare] == ["dual", "bare", "later", "two"]
    ahead = with_bare[: with_bare.index(bare)]
    assert all(bare.score_db - one.score_db >= EQUAL_DB for one in ahead)


def test_what_is_better_on_few_guitars_or_spoils_the_knob_never_comes_first(
    humbucker: Rig,
) -> None:
    """By scores put in by hand: far ahead on a few guitars, behind on most; or left loud."""
    ear = ear_of(humbucker)
    bare, plain = all_scored((ear,), (Design("bare", None), Design("d", parse_expression("1n"))))
    plain = replace(plain, figures=(replace(plain.figures[0], spoilt=()),))
    bare = replace(bare, drawn_db=np.full((1, 100), 2.0))

    def ahead_on(count: int) -> Scored:
        drawn = np.where(np.arange(100) < count, -5.0, 2.1)[np.newaxis]
        return replace(plain, drawn_db=drawn, bare_drawn_db=bare.drawn_db)

    for count, first in ((50, bare), (51, None)):
        one = ahead_on(count)
        assert one.nearer == count
        assert one.score_db < bare.score_db - EQUAL_DB
        assert in_order([bare, one])[0] is (first or one)
    good = replace(ahead_on(100), drawn_db=np.full((1, 100), 0.1))
    assert in_order([bare, good])[0] is good
    spoilt = replace(good, figures=(replace(good.figures[0], spoilt=("left loud",)),))
    assert in_order([bare, spoilt]) == (bare, spoilt)


def test_the_knob_remains_one_by_hand() -> None:
    """Of an ideal source: what is left at 1, and peaks, by dividers.

    A tenth of a linear track, 50k, under 450k: 20 dB down. 50k across the upper part leave
    50 / (50 + 45), 5.6 dB down: far over a third of the range. Through 1 uF the treble comes
    whole, 20 dB over the body.
    """
    ear = ear_of(IDEAL)
    bare, across = merits(ear, (None, parse_expression("50k")))
    by_hand = 20 * np.log10((50 / 95) / 0.1)
    assert across.louder_at_one_phon == pytest.approx(by_hand, rel=0.1)
    assert across.spoilt == ("left loud",)
    assert bare.spoilt == () and bare.louder_at_one_phon == 0
    # 5M across do next to nothing.
    assert merit(ear, parse_expression("5M")).spoilt == ()
    peaky = merit(ear, parse_expression("100p"))
    assert "peaky" in peaky.spoilt and peaky.peak_db > 4
    # Responses put in by hand: flat, 3 dB down a step, and once 1 dB up on the way.
    down_db = np.array([-3.0 * np.arange(7), [0.0, -3.0, -6.0, -5.0, -12.0, -15.0, -18.0]])
    levels = np.repeat(10 ** (down_db / 20)[..., np.newaxis], LINES_HZ.size, axis=-1) + 0j
    turned = turn_figures(ear, levels)
    assert turned.of(0) == () and turned.of(1) == ("rises",)


def test_effort() -> None:
    volume = Pot(250e3, Taper("audio", 0.12))
    for text, expected in (
        ("1n", (False, 0, 1)),
        ("10k + 1n", (False, 0, 2)),
        ("gang(250k, audio, zero, 0.12) + 1n", (False, 1, 2)),
        ("gang(250k, audio, zero) + 1n", (True, 1, 2)),
        ("gang(250k, linear, zero) + 1n", (True, 1, 2)),
        ("gang(500k, audio, zero, 0.12) + 1n", (True, 1, 2)),
        ("gang(250k, audio, zero, 0.12) + gang(250k, audio, full, 0.12)", (True, 2, 2)),
    ):
        assert effort(parse_expression(text), volume).rank == expected
    assert effort(None, volume).rank == (False, 0, 0)


def test_gangs_of_built_in_designs_are_the_volume_pots(rigs: dict[str, Rig]) -> None:
    for rig in rigs.values():
        for design in built_in_designs(rig):
            assert not effort(design.network, rig.volume).special_order
    text = in_process("curves", "--rig", "single-coil-250k", "--design", "gang-series", "--json")
    assert json.loads(text)["designs"][0]["expression"].startswith("gang(250k, audio, zero")


def test_built_in_values_by_hand() -> None:
    """Half the pot: 330k x 0.5^0.75 = 196k, 180p x 2^0.5 = 255p; on a linear one 0.6 and 1.6 times
    that; twice the coil and the cable: 330k x 2^0.75 = 555k, held at 470k; 180p x 2 x 2^0.5 = 509p.
    """

    def series(rig: Rig) -> str:
        (found,) = (one for one in built_in_designs(rig) if one.name == "series")
        return format_network(found.network)

    coil, load = Pickup(8e3, 4.2), Load(1e6)
    for pickup, pot, cable, expected in (
        (coil, Pot(500e3), 600e-12, "330k + 180p"),
        (coil, Pot(250e3), 600e-12, "180k + 270p"),
        (coil, Pot(250e3, Taper("linear")), 600e-12, "120k + 390p"),
        (Pickup(8e3, 8.4), Pot(500e3), 1.2e-9, "470k + 470p"),
    ):
        assert series(single(pickup, pot, None, cable, load)) == expected


@pytest.mark.slow
def test_guitars_like_this_one(humbucker: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same hundred whatever stands beside; with nothing that strays, this very guitar."""
    ear = ear_of(humbucker, take=ps.sample("phrase"))
    one, other = parse_expression("220k + 390p"), parse_expression("1k + (220k || 1n)")
    alone, beside = others_like(ear, (None, one)), others_like(ear, (other, None, one))
    assert alone.tone_db[1] == pytest.approx(beside.tone_db[2], abs=1e-9)
    assert alone.taper_phon[1] == pytest.approx(beside.taper_phon[2], abs=1e-9)
    # A fifth of a pot and of a cable is heard.
    assert np.ptp(alone.tone_db[0]) > 0.5 and np.ptp(alone.taper_phon[0]) > 0.5
    monkeypatch.setattr(
        "presolder.models.judging.alike.LIKE_THIS", Spread(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    )
    still = others_like(ear, (None, one))
    for its, figures in zip(range(2), merits(ear, (None, one)), strict=True):
        assert still.tone_db[its] == pytest.approx(np.full(100, figures.tone_db), abs=0.01)
        assert still.taper_phon[its] == pytest.approx(np.full(100, figures.taper_phon), abs=0.01)


@pytest.mark.thorough
def test_every_rig_with_defaults() -> None:
    for name in sorted(built_in_rigs())[::4]:
        where = ("--rig", name, "--in", find_situations(name)[0].name)
        result = json.loads(in_process("compare", *where, "--keep", "tone", "--json"))
        for design in result["designs"]:
            (figures,) = design["situations"].values()
            assert figures["score_db"] == figures["tone_db"]
            low, high = design["spread_db"]
            assert low <= design["score_db"] <= high
            assert (design["nearer_of_100"] is None) == (design["design"] == "bare")
        taper = json.loads(in_process("compare", *where, "--keep", "taper", "--json"))
        assert taper["situations"][0]["judged_by"]["rig"] == name
        for design in taper["designs"]:
            (figures,) = design["situations"].values()
            assert figures["score_db"] == figures["taper_phon"]
        text = in_process("compare", *where, "--keep", "taper")
        assert f"Judged on {name}: rolls-back, knob at 8, 7, 6; bundled take" in text


def test_conditions_from_options_and_from_the_rig(humbucker: Rig) -> None:
    result = json.loads(
        in_process("compare", "--design", "250k", "--left-at", "5", "--plays", "swells", "--json")
    )
    (judged,) = result["situations"]
    assert judged["judged_by"]["plays"] == "swells"
    assert judged["judged_by"]["dials"] == [5.0]
    assert {one["design"] for one in result["designs"]} == {"bare", "250k"}
    its = next(one for one in result["designs"] if one["design"] == "250k")
    (design,) = its["situations"].values()
    assert design["taper_shift_phon"] == [pytest.approx(design["taper_phon"])]
    own = replace(humbucker, player=replace(humbucker.player, own_dials=(4.0,)))
    assert ear_of(own).conditions.dials.tolist() == [4.0]
    assert ear_of(own, plays="swells").conditions.dials.tolist() == [8.0, 6.0, 4.0, 2.0]
    with pytest.raises(InputError, match="--left-at: 0 must lie above 0 and up to 10"):
        in_process("compare", "--left-at", "5,0")
    with pytest.raises(InputError, match="--listening-level 20 must lie between 40 and 100 dB"):
        in_process("compare", "--listening-level", "20")


@pytest.mark.parametrize("keep", ["both", "2", "-1", "nan"])
def test_nonsense_preference(keep: str) -> None:
    with pytest.raises(InputError, match="must be taper, tone, or a number from 0 to 1"):
        in_process("compare", "--keep", keep)


@pytest.mark.slow
def test_ranks_follow_scores(humbucker: Rig) -> None:
    """Whoever stands later is not audibly better, unless it may not come first."""
    for plays in ("rolls-back", "swells", "cleans-up-dirt"):
        order = ranked((ear_of(humbucker, plays=plays),), built_in_designs(humbucker))
        allowed = [one for one in order if one.may_come_first]
        assert order[: len(allowed)] == tuple(allowed)
        for i, one in enumerate(allowed):
            assert all(other.score_db > one.score_db - EQUAL_DB for other in allowed[i + 1 :])


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
