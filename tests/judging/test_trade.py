"""What the trade has long heard: common practice, no source.

The values here are check values for these tests alone.
"""

import numpy as np
import pytest

import presolder as ps
from ears import ear_of
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.built_in import built_in_designs
from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.law import Taper
from presolder.models.instrument.network import Network
from presolder.models.judging.merit import Merit, merit
from presolder.models.judging.tones import clean_up
from rendering import Array
from rigs import single

RIG = single(
    Pickup(7.8e3, 4.0, 130e-12, 1e6),
    Pot(500e3, Taper("audio")),
    Tone(Pot(500e3, Taper("audio")), 22e-9),
    500e-12,
    Load(1e6),
)
DIALS = np.linspace(0.5, 10, 96)
LONE, BESIDE, BEHIND, BOTH = "270p", "180k || 820p", "100k + 820p", "15k + (180k || 820p)"


def gain(network: Network | None, dials: Array | list[float]) -> Array:
    """Gain at 500 Hz, by dial."""
    return np.abs(transfer(chain_equations(RIG, network), 500.0, dials)[:, 0])


def lift_db(expression: str, dials: Array | list[float] = DIALS) -> Array:
    """Level at 500 Hz against the bare pot, by dial."""
    return decibels(gain(parse_expression(expression), dials) / gain(None, dials))


@pytest.mark.parametrize("expression", [LONE, BESIDE, BEHIND, BOTH])
def test_nothing_changes_at_ten(expression: str) -> None:
    frequency_hz = np.geomspace(20, 20_000, 100)
    fitted = transfer(chain_equations(RIG, parse_expression(expression)), frequency_hz, 10.0)
    bare = transfer(chain_equations(RIG, None), frequency_hz, 10.0)
    assert np.abs(decibels(fitted) - decibels(bare)).max() < 1e-6


def test_lone_capacitor_leaves_the_level() -> None:
    """Under 1 dB at 500 Hz; towards dial 0 the whole track R lies across it, so that the lift
    tends to abs(1 + j w R C) less what the coil does, which is 0.7 dB here."""
    assert np.abs(lift_db(LONE)).max() < 1.0
    assert (
        np.abs(lift_db(LONE)).max()
        < 20 * np.log10(abs(1 + 2j * np.pi * 500 * 500e3 * 270e-12)) + 0.15
    )


def test_lone_capacitor_gets_bright_low_down() -> None:
    """Duller than at 10 with the knob high, brighter the further it comes down."""
    change = merit(ear_of(RIG), parse_expression(LONE), np.array([8.0, 6.0, 4.0, 2.0])).change
    assert change.duller_db[0] > change.brighter_db[0]
    assert np.all(np.diff(change.brighter_db) > 0)
    assert change.brighter_db[-1] > 2 * change.duller_db[-1]


def test_resistor_beside_the_capacitor_lifts_the_middle() -> None:
    at_seven, at_five = lift_db(BESIDE, [7.0, 5.0])
    assert at_seven > 3.0
    assert at_five > 6.0


def test_resistor_behind_the_capacitor_keeps_the_taper_best_of_the_two_part_ones() -> None:
    assert np.all(np.abs(lift_db(BEHIND)) <= np.abs(lift_db(BESIDE)) + 1e-9)
    ear = ear_of(RIG)
    louder = {text: merit(ear, parse_expression(text)).taper_phon for text in (BEHIND, BESIDE)}
    assert louder[BEHIND] < 0.7 * louder[BESIDE]


def test_small_resistor_ahead_of_the_pair_changes_little() -> None:
    assert np.abs(lift_db(BOTH) - lift_db(BESIDE)).max() < 1.5


def test_parallel_second_gang_makes_an_audio_pot_nearly_linear() -> None:
    """And the most even one: the least distance of output voltage from the dial."""
    dials = np.linspace(0.5, 10, 20)

    def distance(network: Network | None) -> float:
        swing = gain(network, dials)
        return float(np.sqrt(np.mean((swing / swing[-1] - dials / 10) ** 2)))

    bare = distance(None)
    gang = distance(parse_expression("gang(120k, audio, zero) || 390p"))
    assert gang < 0.25 * bare
    for text in (LONE, BESIDE, BEHIND, BOTH):
        assert gang < distance(parse_expression(text))
    # The built-in one, made of a stock dual pot and a resistor, is the most even of all.
    built_in = {d.name: distance(d.network) for d in built_in_designs(RIG)}
    assert min(built_in, key=lambda name: built_in[name]) == "gang-parallel-strong"
    assert built_in["gang-parallel-strong"] < 0.25 * bare


ORDINARY = {
    "lone": "390p",
    "pair": "180k || 820p",
    "ahead": "22k + (180k || 820p)",
    "series": "220k + 390p",
    "beside": "47p || (220k + 390p)",
    "gang": "gang(500k, audio, zero) || 120k || 680p",
}
ALL_THE_WAY = np.arange(9.0, 1.0, -1.0)


@pytest.fixture(scope="module")
def said() -> dict[str, Merit]:
    """What `compare` says of each topology at ordinary values, from 9 to 2."""
    designs = [ps.Design(name, parse_expression(text)) for name, text in ORDINARY.items()]
    found = ps.compare(RIG, designs, ps.Judging(left_at=ALL_THE_WAY))
    return {one.design.name: one.figures[0] for one in found.ranked}


def test_a_lone_capacitor_keeps_the_level_of_the_body_and_is_spiky(said: dict[str, Merit]) -> None:
    """It is the least loud of the plain ones where the knob is high, and the only peaky one."""
    lone, pair = said["lone"], said["pair"]
    assert np.abs(lift_db(ORDINARY["lone"], ALL_THE_WAY)).max() < 1.5
    assert lift_db(ORDINARY["pair"], [5.0])[0] > 6.0
    assert {name for name, its in said.items() if "peaky" in its.spoilt} == {"lone"}
    assert lone.peak_db > 4 and lone.over_dials(lone.change.brighter_db) > (
        2 * pair.over_dials(pair.change.brighter_db)
    )


def test_the_pair_is_the_loudest_plain_one_and_bends_the_taper_most(said: dict[str, Merit]) -> None:
    pair = said["pair"]
    for name in ("lone", "series", "beside"):
        assert np.all(pair.taper_shift_phon > said[name].taper_shift_phon)
        assert pair.taper_phon > 1.5 * said[name].taper_phon
    assert "left loud" in pair.spoilt


def test_a_resistor_ahead_of_the_pair_sounds_much_like_the_pair(said: dict[str, Merit]) -> None:
    ahead, pair = said["ahead"], said["pair"]
    assert np.abs(ahead.taper_shift_phon - pair.taper_shift_phon).max() < 1.5
    assert np.abs(ahead.change.tone_db - pair.change.tone_db).max() < 0.75


def test_the_series_pair_keeps_the_taper_but_for_a_slight_lift(said: dict[str, Merit]) -> None:
    series = said["series"]
    assert series.spoilt == ()
    assert series.taper_phon < min(
        said[name].taper_phon for name in ("lone", "pair", "ahead", "gang")
    )
    assert series.taper_shift_phon[ALL_THE_WAY >= 5].max() < 3.0
    bare = said["bare"]
    assert series.tone_db < 0.6 * bare.tone_db


def test_a_small_capacitor_beside_the_series_pair_adds_little(said: dict[str, Merit]) -> None:
    beside, series = said["beside"], said["series"]
    assert np.abs(beside.taper_shift_phon - series.taper_shift_phon).max() < 1.5
    assert abs(beside.tone_db - series.tone_db) < 0.4


def test_a_dual_gang_is_most_even_in_tone_and_nearly_linear(said: dict[str, Merit]) -> None:
    spread = {
        name: np.ptp(its.change.brighter_db - its.change.duller_db) for name, its in said.items()
    }
    assert min(spread, key=lambda name: spread[name]) == "gang"
    swing = gain(parse_expression(ORDINARY["gang"]), [2.0, 4.0, 6.0, 8.0, 10.0])
    assert swing / swing[-1] == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0], abs=0.12)


def test_at_ten_none_is_heard() -> None:
    found = ps.compare(RIG, list(ORDINARY.values()), ps.Judging(left_at=10))
    for one in found.ranked:
        assert not one.figures[0].change.noticed.any()


@pytest.mark.slow
@pytest.mark.parametrize("dirt", [pytest.param("smooth", marks=pytest.mark.thorough), "diodes"])
def test_what_dirt_does_with_each(dirt: str) -> None:
    """The pair undoes the clean-up; in series both parts keep it and give the edge back."""
    designs = [
        ps.Design("bare", None),
        *(ps.Design(name, parse_expression(ORDINARY[name])) for name in ("pair", "series")),
    ]
    report = ps.cleanup(RIG, designs, dirt=dirt)
    bare, pair, series = report.played
    ideal = report.out.ideal_figures
    clean = [one.clean_dial for one in (bare, pair, series, ideal)]
    assert None not in clean
    at_bare, at_pair, at_series, at_ideal = (float(one or 0) for one in clean)
    assert at_pair < at_bare - 1.5
    assert abs(at_series - at_ideal) < 0.6 and abs(at_series - at_bare) < 0.7
    assert series.edge_left_db > bare.edge_left_db + 1.5
    score_db = {one.design.name: one.score_db for one in report.scored}
    assert score_db["series"] < score_db["bare"] < score_db["pair"]
    assert report.designs[report.order[-1]].name == "pair"


@pytest.mark.parametrize("expression", [None, BEHIND, BESIDE])
def test_rolling_back_cleans_a_fuzz(expression: str | None) -> None:
    network = None if expression is None else parse_expression(expression)
    figures = clean_up(RIG, network, Dirt("lopsided-10k", 20.0), np.array([3.0, 6.0, 8.0, 10.0]))
    assert np.all(np.diff(figures.thd) > 0)
    assert figures.thd[0] < 0.5 * figures.thd[-1]
