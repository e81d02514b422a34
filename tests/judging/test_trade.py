"""What the trade has long heard: common practice, no source.

The values here are check values for these tests alone.
"""

import numpy as np
import pytest

from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.controls import Load, Pickup, Pot, Tone
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.taper import Taper
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


def lift_db(expression: str, dials: Array | list[float] = DIALS) -> Array:
    """Level at 500 Hz against the bare pot, by dial."""
    fitted = transfer(chain_equations(RIG, parse_expression(expression)), 500.0, dials)[:, 0]
    bare = transfer(chain_equations(RIG, None), 500.0, dials)[:, 0]
    return decibels(fitted) - decibels(bare)


@pytest.mark.parametrize("expression", ["330p", "150k || 1n", "120k + 1n", "20k + (150k || 1n2)"])
def test_inaudible_at_ten(expression: str) -> None:
    frequency_hz = np.geomspace(20, 20_000, 100)
    fitted = transfer(chain_equations(RIG, parse_expression(expression)), frequency_hz, 10.0)
    bare = transfer(chain_equations(RIG, None), frequency_hz, 10.0)
    assert np.abs(decibels(fitted) - decibels(bare)).max() < 1e-6


def test_capacitor_alone_leaves_the_level() -> None:
    """Under 1 dB from dial 3.2 up; below that circuit theory itself allows a little more.

    Towards dial 0 the whole track R lies across the capacitor and the output
    sees almost a short, so that the lift tends to abs(1 + j w R C), which is
    1.03 dB for 500k and 330p at 500 Hz, before the coil's own reactance adds
    a tenth. Measured: 1.13 dB at dial 0.5.
    """
    assert np.abs(lift_db("330p", DIALS[DIALS >= 3.2])).max() < 1.0
    limit_db = 20 * np.log10(abs(1 + 2j * np.pi * 500 * 500e3 * 330e-12))
    assert limit_db > 1.0
    assert np.abs(lift_db("330p")).max() < limit_db + 0.15


def test_parallel_resistor_lifts_the_level() -> None:
    at_seven, at_five = lift_db("150k || 1n", [7.0, 5.0])
    assert at_seven > 4.0
    assert at_five > 8.0


def test_series_resistor_keeps_the_taper_nearer_to_bare() -> None:
    assert np.all(np.abs(lift_db("120k + 1n")) <= np.abs(lift_db("150k || 1n")) + 1e-9)


def test_small_resistor_ahead_of_the_pair_changes_little() -> None:
    assert np.abs(lift_db("20k + (150k || 1n2)") - lift_db("150k || 1n")).max() < 1.5
