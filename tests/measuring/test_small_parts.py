"""Pieces that the measuring commands are put together from, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import leaves
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.taper import Taper, fraction_below_wiper
from presolder.models.measuring.coil_fit import _strayed
from presolder.models.measuring.faults import _other_laws, as_described
from presolder.models.measuring.fitting import half_width
from presolder.models.measuring.soldered import probes, works
from presolder.models.measuring.third_octaves import BAND_HZ
from presolder.models.measuring.verify import in_figures, strayed_guitars


def test_a_strayed_rig(humbucker: Rig) -> None:
    """Volume 10 % up, tone pot 20 % down, its capacitor 5 % up, cable 30 % down."""
    tone = humbucker.first.tone
    assert tone is not None
    found = _strayed(humbucker, np.array([0.1, -0.2, 0.05, -0.3]))
    assert found.first.tone is not None
    ratios = (
        found.volume.resistance_ohms / humbucker.volume.resistance_ohms,
        found.first.tone.pot.resistance_ohms / tone.pot.resistance_ohms,
        found.first.tone.capacitance_farads / tone.capacitance_farads,
        found.cable_farads / humbucker.cable_farads,
    )
    assert ratios == pytest.approx((1.1, 0.8, 1.05, 0.7))
    toneless = humbucker.with_first(replace(humbucker.first, tone=None))
    assert _strayed(toneless, np.zeros(4)) == toneless


def test_guitars_of_ordinary_parts(humbucker: Rig) -> None:
    """One part after the other, by a standard deviation of what is drawn evenly: spread / √3."""
    network = parse_expression("gang(500k, audio) || (91k + 1n)")
    one = as_described(humbucker, network)
    cable, pot, taper, *parts = strayed_guitars(one)
    third = np.sqrt(3)
    assert cable.rig.cable_farads / humbucker.cable_farads == pytest.approx(1 + 0.2 / third)
    ohms = pot.rig.volume.resistance_ohms / humbucker.volume.resistance_ohms
    assert ohms == pytest.approx(1 + 0.2 / third)
    moved = taper.rig.volume.taper.midpoint - humbucker.volume.taper.midpoint
    assert moved == pytest.approx(0.05 / third)
    values = [
        [getattr(leaf, "farads", None) or leaf.ohms for leaf in leaves(network)]  # type: ignore[union-attr]
        for network in [network, *(guitar.network for guitar in parts)]
        if network is not None
    ]
    ratios = np.array(values[1:]) / values[0]
    # In the order in which they are written: a gang as a pot, a resistor, a capacitor.
    wanted = np.ones((3, 3)) + np.diag([0.2, 0.05, 0.1]) / third
    assert ratios == pytest.approx(wanted)


def test_laws_that_a_pot_may_have_instead() -> None:
    for kind, others in (
        ("audio", {"linear", "reverse-audio"}),
        ("linear", {"audio", "reverse-audio"}),
        ("reverse-audio", {"linear", "audio"}),
        # One law in two makes.
        ("two-slope", {"linear", "reverse-audio"}),
    ):
        assert {law.kind for law in _other_laws(Taper(kind))} == others  # type: ignore[arg-type]


def test_level_and_treble_of_bands() -> None:
    """The mean of the bands about 500 Hz, and what those from 2 to 4 kHz are above it."""
    bands = np.where(BAND_HZ < 1000, -3.0, 2.0)
    level, treble = in_figures(np.array([bands, bands + 1.0]))
    assert level.tolist() == [-3.0, -2.0] and treble.tolist() == [5.0, 5.0]
    silent = np.where(BAND_HZ > 1000, np.nan, bands)
    level, treble = in_figures(silent[None])
    assert level.tolist() == [-3.0] and np.isnan(treble).all()


def test_readings_are_taken_where_the_part_shows_most(humbucker: Rig) -> None:
    """Of 0 and 5, where more is beside it: the track above the wiper, and pickup and track below it."""
    (work,) = works(humbucker)
    (across,) = probes(work, parse_expression("100k"))
    track, winding = 500e3, humbucker.coil.resistance_ohms
    beside = [
        1 / (1 / max((1 - below) * track, 1e-3) + 1 / (below * track + winding))
        for below in fraction_below_wiper(humbucker.volume.taper, np.array([0.0, 5.0]))
    ]
    assert across.without_ohms >= max(beside) * 0.999
    assert across.ohms == pytest.approx(1 / (1 / across.without_ohms + 1 / 100e3), rel=1e-6)
    first, second = probes(work, parse_expression("91k + 220k"))
    assert np.isinf(first.without_ohms) and first.ohms == pytest.approx(91e3)
    # A capacitor is open to a meter, and shows nowhere.
    (silent,) = probes(work, parse_expression("1n"))
    assert silent.ohms == silent.without_ohms
    gang, _ = probes(work, parse_expression("gang(500k, audio) || 1n"))
    assert gang.ohms < gang.without_ohms
    assert second.without_ohms > second.ohms


def test_half_widths_hold_the_truth_a_little_more_than_19_times_of_20() -> None:
    """2 to 2.3 standard deviations of a Gaussian (1.96 would be 95 %); of two, as far as both."""
    one = half_width(3.0, np.array([3.0]), np.array([0.1]), np.ones(1))
    assert 0.196 < one < 0.23
    two = half_width(0.0, np.array([0.0, 1.0]), np.array([1e-3, 1e-3]), np.array([0.5, 0.5]))
    assert two == pytest.approx(1.0, abs=3e-3) and two > 1.0
