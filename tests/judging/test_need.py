"""Whether a bypass is needed."""

import json
from dataclasses import replace

import numpy as np
import pytest
from trade_grid import grid

import presolder as ps
from ears import ear_of, need_of
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.law import Taper
from presolder.models.instrument.onward import Buffer, Pedal, Volume
from presolder.models.instrument.player import PLAYING
from presolder.models.instrument.rig import Capture, Rig
from presolder.models.judging.merit import Merit, merit
from presolder.models.judging.recommendation import first_look
from presolder.models.judging.remedies import remedies
from presolder.models.judging.verdict import resonance
from presolder.render.files.rig_file import built_in_rigs, find_situations
from presolder.render.report.advice import advice
from rigs import single
from running import in_process, presolder_here

DIALS = np.array([10.0, 5.0, 2.0])


@pytest.mark.thorough
def test_always_full_never_needs_one(rigs: dict[str, Rig]) -> None:
    for rig in rigs.values():
        result = need_of(ear_of(rig, plays="full"), DIALS)
        assert result.verdict == "no"
        assert result.shown.change.largest_db[0] < 0.01


@pytest.mark.slow
@pytest.mark.parametrize("at", [0, 21, 49, 182])
def test_a_first_look_is_of_this_very_guitar(at: int) -> None:
    """By the figures that compare shows: 0.85 of the tone and the rest of the taper, for who
    rolls back (docs/figures.md); what spoils the knob or is a special order is left out."""
    rig = grid()[at]
    look = first_look(ear_of(rig, plays="rolls-back"))
    scored = {
        one.design: 0.85 * one.figures[0].tone_db + 0.15 * one.figures[0].taper_phon
        for one in ps.compare(rig, judging=ps.Judging("rolls-back")).ranked
        if not (one.figures[0].spoilt or one.effort.special_order)
        and one.design.name in {design.name for design in built_in_designs(rig)}
    }
    bare = next(db for design, db in scored.items() if design.network is None)
    nearest = min(scored.values())
    if bare - nearest >= 0.5:
        assert scored[look.design] == nearest
        assert look.nearer_db == pytest.approx(bare - nearest, abs=1e-9)
    else:
        assert (look.design.network, look.nearer_db) == (None, 0.0)


def low_pass(cable_farads: float) -> Rig:
    """An ideal source, so that the pot and the cable are a first-order low-pass."""
    return single(Pickup(1e-2, 1e-6), Pot(500e3, Taper("linear")), None, cable_farads, Load())


@pytest.mark.slow
def test_verdict_follows_the_corner_by_hand() -> None:
    """The corner is 1 / (2 pi C R (1 - a) a) for a track split at a: 125k at dial 5.

    With 2 pF it lies at 640 kHz and nothing is heard; with 600 pF at 2.1 kHz; with 1.5 nF
    at 850 Hz, which takes most of the treble.
    """
    assert need_of(ear_of(low_pass(2e-12), left_at=[5]), DIALS).verdict == "no"
    assert need_of(ear_of(low_pass(600e-12), left_at=[5]), DIALS).verdict == "yes"
    assert need_of(ear_of(low_pass(1.5e-9), left_at=[5]), DIALS).verdict == "yes"
    losses = [
        float(merit(ear_of(low_pass(c), left_at=[5]), None).change.duller_db[0])
        for c in (50e-12, 150e-12, 400e-12, 1e-9)
    ]
    assert losses == sorted(losses)


def test_resonance_of_coil_and_cable_by_hand() -> None:
    rig = single(Pickup(6e3, 3.0), Pot(1e7), None, 500e-12, Load())
    hz, height_db = resonance(rig, np.array([10.0]))
    assert hz[0] == pytest.approx(1 / (2 * np.pi * np.sqrt(3.0 * 500e-12)), rel=0.01)
    assert height_db[0] > 15
    assert np.isnan(resonance(low_pass(600e-12), np.array([5.0]))[0]).all()


@pytest.mark.thorough
def test_losses_do_not_cancel_against_gains() -> None:
    """A heavy coil into a long cable: its hump goes, the top above it comes up.

    Signed levels at a few frequencies would sum to nothing here.
    """
    heavy = single(Pickup(12e3, 7.5, 150e-12, 500e3), Pot(500e3), None, 650e-12, Load(1e6))
    result = need_of(ear_of(heavy), DIALS)
    assert result.verdict != "no"
    change = merit(ear_of(heavy), None).change
    assert change.noticed.all()
    assert change.duller_db.max() > 0.5


@pytest.mark.slow
def test_dirt_changes_the_answer(humbucker: Rig) -> None:
    fuzz = need_of(ear_of(replace(humbucker, dirt=Dirt("lopsided-10k"))), DIALS)
    assert fuzz.verdict == "hardly"
    assert need_of(ear_of(humbucker), DIALS).verdict == "yes"


def test_remedies_by_hand(humbucker: Rig) -> None:
    """Without a cable nothing is left to lose; with half of it less; the best comes first."""

    def lost(figures: Merit) -> float:
        return figures.over_dials(figures.change.duller_db)

    found = {remedy.what: remedy for remedy in remedies(ear_of(humbucker))}
    buffer = found["a buffer at the guitar's end of the cable"]
    half = found["a cable half as long"]
    assert lost(buffer.figures) < 0.1 < lost(half.figures) < lost(merit(ear_of(humbucker), None))
    assert buffer.heard_at_ten and half.heard_at_ten
    assert not found["the tone wire at the wiper lug"].heard_at_ten
    assert found["a 250k volume pot"].helps
    assert found["a 1M volume pot"].nearer_db < 0 and not found["a 1M volume pot"].helps
    nearer = [remedy.nearer_db for remedy in remedies(ear_of(humbucker))]
    assert nearer == sorted(nearer, reverse=True)
    shorter = replace(humbucker, cable_farads=humbucker.cable_farads / 2)
    shorter = replace(shorter, take=Capture("jack", humbucker.as_recorded))
    assert lost(half.figures) == pytest.approx(lost(merit(ear_of(shorter), None)), abs=1e-6)


@pytest.mark.slow
def test_a_low_input_makes_it_brighter_and_a_resistor_before_it_helps(humbucker: Rig) -> None:
    """At 10 the coil's inductance meets 10k and is dark; rolled down, the pot's track hides it.

    A bypass only adds treble; a resistor before the input keeps the pot the smaller part of
    what the coil sees.
    """
    ear = ear_of(replace(humbucker, dirt=Dirt("lopsided-10k")))
    found = need_of(ear, DIALS)
    (bare,) = found.bare.figures
    assert bare.over_dials(bare.change.brighter_db) > 2 * bare.over_dials(bare.change.duller_db)
    assert found.verdict == "hardly" and found.first is found.bare
    said = " ".join(advice(ear, found))
    assert "brighter" in said and "a bypass only adds treble" in said
    before = {one.what: one for one in found.remedies if "before the input" in one.what}
    assert len(before) == 2 and all(one.helps for one in before.values())
    assert before["a 100k resistor before the input"].nearer_db > (
        before["a 47k resistor before the input"].nearer_db
    )
    assert not [one for one in remedies(ear_of(humbucker)) if "before the input" in one.what]


@pytest.mark.thorough
def test_where_another_take_would_have_it_otherwise_it_is_named(humbucker: Rig) -> None:
    """Judged by each of the bundled takes alone, and through the dirt."""
    player = ps.Judging("cleans-up-dirt")
    report = ps.need(humbucker, player)
    (found,) = report.found
    assert found.first is not found.bare and found.otherwise_by
    string = replace(humbucker, take=Capture("string"))
    for name in ("string", "muted"):
        judging = replace(player, take=ps.sample(name))
        order = ps.compare(string, [found.first.design], judging).ranked
        otherwise = order[0].design.network is None
        assert otherwise == any(name in take for take in found.otherwise_by), name
        assert (f"'{name}'" in " ".join(report.lines()[:4])) == otherwise
    assert need_of(ear_of(humbucker), DIALS).otherwise_by == ()


def test_remedies_are_of_what_the_rig_has(humbucker: Rig) -> None:
    """No second buffer, none before a pedal, no half of no cable, no tone wire without a tone."""
    buffer = "a buffer at the guitar's end of the cable"

    def offered(rig: Rig) -> set[str]:
        return {remedy.what for remedy in remedies(ear_of(rig))}

    usual = offered(humbucker)
    assert {buffer, "a cable half as long", "the tone wire at the wiper lug"} < usual
    assert len({what for what in usual if what.endswith("volume pot")}) == 2
    assert usual - offered(replace(humbucker, buffer=Buffer("cable"))) == {buffer}
    pedal = Pedal(Volume(Pot(500e3), None, held_at=10.0))
    assert usual - offered(replace(humbucker, pedal=pedal)) == {buffer}
    assert usual - offered(replace(humbucker, cable_farads=0.0)) == {
        buffer, "a cable half as long",
    }  # fmt: skip
    fifties = replace(humbucker.first.tone, wiring="fifties")
    assert "the tone wire at the input lug" in offered(humbucker.with_tone(fifties))
    toneless = humbucker.with_first(replace(humbucker.first, tone=None))
    assert {what for what in offered(toneless) if "tone" in what} == set()


@pytest.mark.thorough
@pytest.mark.parametrize(
    "playing",
    [
        one if one in ("full", "swells") else pytest.param(one, marks=pytest.mark.thorough)
        for one in PLAYING
    ],
)
def test_every_rig_and_way_of_playing(playing: str) -> None:
    for name in sorted(built_in_rigs())[PLAYING.index(playing) :: 6]:
        where = ("--rig", name, "--in", find_situations(name)[0].name)
        words = in_process("need", *where, "--plays", playing)
        told = json.loads(in_process("need", *where, "--plays", playing, "--json"))
        (result,) = told["situations"]
        assert told["needed"] == result["needed"]
        assert words.lower().startswith(result["needed"])
        assert result["judged_by"]["plays"] == playing
        assert len(result["bare"]["dials"]) == len(result["resonance_hz"]) == 7
        assert f"Judged on {name}" in words
        assert (
            words.split()
            == " ".join(result["said"]).split()
            + words.split()[len(" ".join(result["said"]).split()) :]
        )
        if result["needed"] != "no":
            assert "rolled down to" in words and "beside itself at 10" in words
            assert len(result["remedies"]) >= 4


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--plays", "loud"], "'loud' is not one of"),
        (["--plays", "full", "--show", "0"], "must be above 0"),
        (["--plays", "full", "--show", "12"], "must lie between 0 and 10"),
    ],
)
def test_nonsense_is_refused(options: list[str], message: str) -> None:
    result = presolder_here("need", *options)
    assert result.returncode == 2
    assert message in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.slow
def test_what_is_heard_at_one_dial_is_heard(humbucker: Rig) -> None:
    """At 9.99 nothing has changed yet; that does not unsay what 5 does."""
    ear = ear_of(humbucker, left_at=[9.99, 5.0])
    found = need_of(ear, np.array([9.99, 5.0]))
    assert found.shown.change.noticed.tolist() == [False, True]
    assert found.verdict != "no"
