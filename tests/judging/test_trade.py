"""What the trade has long heard: common practice, no source.

The values here are check values for these tests alone.
"""

import numpy as np
import pytest

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
from presolder.models.judging.merit import merit
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
    built_in = {d.name: distance(d.network) for d in built_in_designs(RIG.first.volume)}
    assert min(built_in, key=lambda name: built_in[name]) == "gang-parallel-strong"
    assert built_in["gang-parallel-strong"] < 0.25 * bare


@pytest.mark.parametrize("expression", [None, BEHIND, BESIDE])
def test_rolling_back_cleans_a_fuzz(expression: str | None) -> None:
    network = None if expression is None else parse_expression(expression)
    figures = clean_up(RIG, network, Dirt("lopsided-10k", 20.0), np.array([3.0, 6.0, 8.0, 10.0]))
    assert np.all(np.diff(figures.thd) > 0)
    assert figures.thd[0] < 0.5 * figures.thd[-1]
