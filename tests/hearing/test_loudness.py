"""Loudness of steady sounds; the standards' own cases stand in the checks for the validation page."""

import numpy as np
import pytest
from mosqito.sq_metrics.loudness.loudness_zwst._calc_slopes import _calc_slopes
from mosqito.sq_metrics.loudness.loudness_zwst._main_loudness import _main_loudness

from checks_hearing import SIGNAL_1_DB, tone_db
from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.loudness import (
    CENTRES_HZ,
    above_threshold_db,
    loudness_level,
    specific_loudness,
)
from presolder.models.hearing.material import material
from presolder.models.hearing.sharpness import sharpness


def test_annex_signal_1() -> None:
    """ISO 532-1:2017, table B.2: 103.802 phon (from memory); its sones stand in the checks."""
    _, sone = specific_loudness(SIGNAL_1_DB)
    assert loudness_level(sone) == pytest.approx(103.802, abs=0.01)


def test_one_sone() -> None:
    """The definition of the sone: 1 kHz at 40 dB, 40 phon; and twice as loud 10 phon above."""
    _, sone = specific_loudness(tone_db(1000, 40))
    assert sone == pytest.approx(1.0, abs=0.02)
    assert loudness_level(1.0) == 40.0
    assert loudness_level(2.0) == 50.0
    # 40 (N + 0.0005)^0.35 below a sone.
    assert loudness_level(0.01) == pytest.approx(8.119, abs=0.001)


def test_any_spectra_as_an_independent_library() -> None:
    """The same third-octave levels through that library's two steps; its bark grid is ours."""
    random = np.random.default_rng(3)
    levels_db = np.cumsum(random.normal(0, 4, (500, 28)), axis=1) + 50
    specific, sone = specific_loudness(levels_db)
    theirs, their_specific = _calc_slopes(_main_loudness(levels_db.T.copy(), "free"))
    assert sone == pytest.approx(theirs, rel=0.002, abs=0.001)
    # At kinks of the slopes that library jumps where the standard's program does not.
    assert np.quantile(np.abs(specific - their_specific.T), 0.999) < 0.015


def test_every_slope_as_an_independent_library() -> None:
    """One loud third octave at a time, so that nothing but its upper slope is heard beside it."""
    levels_db = np.full((5, 28, 28), -20.0)
    for i, level_db in enumerate((40.0, 55.0, 70.0, 85.0, 95.0)):
        levels_db[i, np.arange(28), np.arange(28)] = level_db
    levels_db = levels_db.reshape(-1, 28)
    specific, _ = specific_loudness(levels_db)
    _, theirs = _calc_slopes(_main_loudness(levels_db.T.copy(), "free"))
    assert np.abs(specific - theirs.T).max() < 1e-9


def test_threshold_and_inverse() -> None:
    """Nothing is heard below the threshold; above it the inverse gives the level back."""
    silent = np.full(28, -20.0)
    specific, sone = specific_loudness(silent)
    assert sone == 0
    assert not above_threshold_db(specific).any()
    # A band of noise 37 dB over its threshold of 3 dB, less what makes it a critical band.
    levels_db = np.where(np.arange(28) == 17, 40.0, -20.0)
    specific, _ = specific_loudness(levels_db)
    # The standard takes 1.7 dB off the third octave at 1.25 kHz to make it a critical band.
    assert above_threshold_db(specific)[95:105].max() == pytest.approx(40 - 3 - 1.7, abs=1e-6)


def test_sharpness_is_a_moment() -> None:
    """DIN 45692, formula (1): divided by the whole loudness, however little that is."""
    specific, _ = specific_loudness(tone_db(4000, 60))
    sharp = float(sharpness(specific))
    assert sharp > 1.5
    assert sharpness(np.array([1e-4 * specific, 0 * specific])) == pytest.approx([sharp, 0.0])


def test_material_of_a_tone() -> None:
    """All of a tone's power lies at the tone, and its loudest second is no louder than the rest."""
    rate = 48_000
    tone = np.sin(2 * np.pi * 1000 * np.arange(2 * rate) / rate)[None]
    heard = material(tone, rate, "tone")
    near = np.abs(LINES_HZ / 1000 - 1) < 0.1
    assert heard.line_power[near].sum() / heard.line_power.sum() > 0.999
    assert heard.crest_db == pytest.approx(0.0, abs=0.01)
    twice = material(np.concatenate([np.zeros((1, rate)), tone, 0.5 * tone], axis=1), rate, "two")
    # Two seconds of 1 and two of a quarter of the power: the mean is 0.625.
    assert twice.crest_db == pytest.approx(-10 * np.log10(0.625), abs=0.15)
    with pytest.raises(InputError, match="hush: silent"):
        material(np.zeros((1, rate)), rate, "hush")


def test_centres() -> None:
    """IEC 61260-1: 28 third octaves, base ten, 25 Hz to 12.5 kHz in nominal names."""
    assert CENTRES_HZ[[0, 16, -1]] == pytest.approx([25.12, 1000, 12589], rel=1e-4)
