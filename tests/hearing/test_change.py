"""Duller, brighter, audible: what must hold of any two sounds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from presolder.models.hearing.bands import LINES_HZ, third_octave_db
from presolder.models.hearing.change import Sound, change, equally_loud_db, sound
from presolder.models.hearing.loudness import CENTRES_HZ, loudness_level, specific_loudness
from presolder.models.hearing.material import Material, material
from presolder.render.files.samples import read_sample


@pytest.fixture(scope="module")
def heard() -> Material:
    take = read_sample("phrase")
    return material(take.samples, take.sample_rate_hz, "phrase")


def levels_db(heard: Material, gain_db: np.ndarray | float = 0.0) -> np.ndarray:
    power = heard.line_power * 1e7 / heard.line_power.sum()
    return third_octave_db(power * 10 ** (np.asarray(gain_db) / 10))


@pytest.fixture(scope="module")
def reference(heard: Material) -> Sound:
    return sound(levels_db(heard))


def shelf_db(lost_db: float, corner_hz: float) -> np.ndarray:
    """A treble shelf that loses so much far above its corner."""
    squared = (LINES_HZ / corner_hz) ** 2
    return np.asarray(10 * np.log10((1 + squared * 10 ** (-lost_db / 10)) / (1 + squared)))


@given(gain_db=st.floats(-30, 15))
@settings(deadline=None, max_examples=30)
def test_a_fixed_gain_changes_nothing(heard: Material, reference: Sound, gain_db: float) -> None:
    moved = change(levels_db(heard, gain_db), reference)
    assert moved.gain_db == pytest.approx(-gain_db, abs=0.02)
    # What is left is the rounding of the search for equal loudness.
    assert moved.largest_db < 0.03
    assert not moved.noticed


@pytest.mark.parametrize("corner_hz", [700.0, 1500.0, 3000.0])
def test_more_loss_never_makes_it_less_dull(
    heard: Material, reference: Sound, corner_hz: float
) -> None:
    lost = np.array([change(levels_db(heard, shelf_db(d, corner_hz)), reference).duller_db
                     for d in np.arange(0.0, 31.0, 0.5)])  # fmt: skip
    assert np.diff(lost).min() > -1e-3
    assert lost[-1] > 1


@pytest.mark.slow
@given(
    lost_db=st.lists(st.floats(0, 20), min_size=9, max_size=9),
    more_db=st.lists(st.floats(0, 10), min_size=9, max_size=9),
)
@settings(deadline=None, max_examples=60)
def test_more_loss_in_any_treble_bands(
    heard: Material, reference: Sound, lost_db: list[float], more_db: list[float]
) -> None:
    """Loss that grows towards the treble, and more of it."""

    def duller(values: np.ndarray) -> float:
        gain = -np.interp(np.log(LINES_HZ), np.log(CENTRES_HZ[17:26]), np.sort(values))
        gain[CENTRES_HZ[16] > LINES_HZ] = 0.0
        return float(change(levels_db(heard, gain), reference).duller_db)

    less, more = np.sort(lost_db), np.sort(lost_db) + np.sort(more_db)
    assert duller(more) >= duller(less) - 0.02


def test_loss_and_gain_do_not_cancel(heard: Material, reference: Sound) -> None:
    """Five decibels off the presence and four onto the top stand side by side."""
    gain = np.zeros(LINES_HZ.size)
    gain[(LINES_HZ > 1400) & (LINES_HZ < 2800)] = -5.0
    gain[LINES_HZ >= 2800] = 4.0
    moved = change(levels_db(heard, gain), reference)
    assert moved.duller_db > 1
    assert moved.brighter_db > 1
    assert moved.noticed


def test_size_of_a_plain_loss(heard: Material, reference: Sound) -> None:
    """Three decibels off everything above 1 kHz: duller by what equal loudness leaves of it."""
    gain = np.where(LINES_HZ > 1000, -3.0, 0.0)
    moved = change(levels_db(heard, gain), reference)
    assert moved.brighter_db < 0.05
    assert moved.duller_db == pytest.approx(3.0 - float(moved.gain_db), abs=0.25)
    assert 0.3 < moved.gain_db < 1.5


def test_equal_loudness_is_reached(heard: Material) -> None:
    start = levels_db(heard, shelf_db(12.0, 1000.0))
    for phon in (30.0, 55.0, 80.0):
        gain = equally_loud_db(start, phon)
        assert loudness_level(specific_loudness(start + gain)[1]) == pytest.approx(phon, abs=0.02)


def test_noticed_from_one_decibel(heard: Material, reference: Sound) -> None:
    """A bump in one critical band passes the noticeable difference near 1 dB."""
    band = (LINES_HZ > 2240) & (LINES_HZ < 2820)
    for bump_db, noticed in ((0.6, False), (1.6, True)):
        moved = change(levels_db(heard, np.where(band, bump_db, 0.0)), reference)
        assert bool(moved.noticed) is noticed


def test_the_loudest_second_over_the_mean() -> None:
    """Steady noise, twenty decibels louder for one second of ten: by hand 10 lg(100 / 10.9)."""
    rate = 48_000
    noise = np.random.default_rng(0).normal(0, 0.01, (1, 10 * rate))
    noise[:, 4 * rate : 5 * rate] *= 10.0
    found = material(noise, rate, "noise")
    assert found.crest_db == pytest.approx(10 * np.log10(100 / 10.9), abs=0.4)


@pytest.mark.parametrize(("hz", "counts"), [(120.0, False), (1000.0, True), (5000.0, True)])
def test_what_changes_below_280_hz_is_not_counted(
    heard: Material, reference: Sound, hz: float, counts: bool
) -> None:
    """Of 2.8 Bark, which is 280 Hz (Zwicker's critical bands; from memory)."""
    bump = 12.0 * np.exp(-np.square(np.log2(LINES_HZ / hz) / 0.25))
    assert bool(change(levels_db(heard, bump), reference).noticed) == counts
