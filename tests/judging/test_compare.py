"""Figures of merit against hand-worked cases."""

import json

import numpy as np
import pytest

from presolder.models.errors import InputError
from presolder.models.instrument.controls import Load, Pickup, Pot
from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Capacitor
from presolder.models.instrument.taper import Taper
from presolder.models.judging.merit import a_weighting_power, merit, pickup_load
from presolder.render.files.rigs import built_in_rigs
from rigs import single
from running import in_process

IDEAL = single(Pickup(1e-2, 1e-6), Pot(500e3, Taper("linear")))


def test_taper_shift_of_a_resistor_by_hand() -> None:
    """An ideal source and no cable: two resistive dividers.

    Bare the output is a; with Rb across the upper part it is
    a R / (a R + (1 - a) R || Rb).
    """
    a, track, across = np.arange(1, 10) / 10, 500e3, 250e3
    upper = 1 / (1 / ((1 - a) * track) + 1 / across)
    shift_db = 20 * np.log10(a * track / (a * track + upper) / a)
    figures = merit(IDEAL, parse_expression("250k"), np.arange(1.0, 10.0))
    assert figures.taper_shift_db == pytest.approx(shift_db, abs=1e-6)
    assert figures.taper_rms_db == pytest.approx(np.sqrt(np.mean(shift_db**2)), abs=1e-6)
    assert figures.taper_worst_db == pytest.approx(shift_db.max(), abs=1e-6)
    # Resistors alone leave the shape; dial 1 leaves a tenth, and the shift.
    assert figures.tone_rms_db < 1e-6
    assert figures.spike_db < 1e-6
    assert figures.leftover_db == pytest.approx(-20 + shift_db[0], abs=1e-6)


def test_spike_of_an_overcompensated_pot_by_hand() -> None:
    """An ideal source, cable C_c and bypass C_b: a divider of resistors low, of capacitors high.

    From a below the corner to C_b / (C_b + C_c) above it, so that the excess at
    dial 1 tends to 20 log10(10 C_b / (C_b + C_c)); at 6 kHz it follows the
    first-order law between the two.
    """
    cable, bypass = 470e-12, 470e-12
    cabled = single(IDEAL.first.pickup, IDEAL.first.volume, None, cable, Load())
    lower, upper = 50e3, 450e3

    def gain_db(frequency_hz: float) -> float:
        s = 2j * np.pi * frequency_hz
        below, above = 1 / (1 / lower + s * cable), 1 / (1 / upper + s * bypass)
        return float(20 * np.log10(abs(below / (below + above))))

    assert merit(cabled, Capacitor(bypass), np.arange(1.0, 10.0)).spike_db == pytest.approx(
        gain_db(6000) - gain_db(500), abs=1e-3
    )
    assert gain_db(1e9) - gain_db(1e-3) == pytest.approx(20 * np.log10(5), abs=0.01)
    bare = merit(cabled, None)
    assert (bare.taper_rms_db, bare.spike_db) == (0.0, 0.0)


def test_load_by_hand() -> None:
    """At dial 5 the coil feeds half a track into half a track beside 1M."""
    rig = single(Pickup(8e3, 4.0, eddy_ohms=1e6), IDEAL.first.volume, load=Load(1e6))
    expected = 250e3 + 1 / (1 / 250e3 + 1 / 1e6)
    assert pickup_load(rig, None, 1000.0, np.array([5.0]))[0] == pytest.approx(expected, rel=1e-9)
    assert merit(rig, None).load_ohms == pytest.approx(1 / (1 / 500e3 + 1 / 1e6), rel=1e-9)


def test_a_weighting_table() -> None:
    """IEC 61672-1, table 3: A-weighting at nominal frequencies (exact ones used here)."""
    for exponent, table_db in ((-10, -19.1), (-3, -3.2), (0, 0.0), (4, 1.3), (8, -0.1), (9, -1.1)):
        weight_db = 10 * np.log10(a_weighting_power(1000 * 10 ** (exponent / 10)))
        assert weight_db == pytest.approx(table_db, abs=0.06)


def test_every_rig_with_defaults() -> None:
    for name in built_in_rigs():
        result = json.loads(in_process("compare", "--rig", name, "--keep", "tone", "--json"))
        scores = [design["score_db"] for design in result["designs"]]
        assert scores == sorted(scores)
        assert scores == [design["tone_rms_db"] for design in result["designs"]]
        table = in_process("compare", "--rig", name, "--keep", "taper").splitlines()
        assert len(table) == 9
        assert table[1].split()[:2] == ["1", "bare"]


def test_dials_that_count() -> None:
    """Taper shift at one dial is the level's difference there."""
    result = json.loads(in_process("compare", "--design", "250k", "--dials", "5", "--json"))
    (design,) = result["designs"]
    assert design["taper_shift_db"] == [pytest.approx(design["taper_rms_db"])]
    with pytest.raises(InputError, match="--dials: 0 must lie above 0 and up to 10"):
        in_process("compare", "--dials", "5,0")


@pytest.mark.parametrize("keep", ["both", "2", "-1", "nan"])
def test_nonsense_preference(keep: str) -> None:
    with pytest.raises(InputError, match="must be taper, tone, or a number from 0 to 1"):
        in_process("compare", "--keep", keep)
