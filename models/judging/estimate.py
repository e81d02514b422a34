"""A quick linear estimate of the full measure, for screening very many designs.

Near the ideal a band's loudness follows its level, so that how much louder a sound is
is a weighted mean of what happened to the bands, and what is left in each band once it
is as loud is the change that is heard there.
"""

from dataclasses import dataclass

import numpy as np

from presolder.models.hearing.change import sound
from presolder.models.hearing.loudness import (
    BAND_OF_BARK,
    CENTRES_HZ,
    LIMITS_BARK,
    above_threshold_db,
)
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import (
    MOST_PEAK_DB,
    counts_of,
    most_left_phon,
    root_mean_square,
)
from presolder.models.typing import Array, Flags, Indices

# The third octaves that are critical bands of their own, and the two groups of
# low ones below, each at its middle.
_CRITICAL_HZ = np.concatenate([[125.0, 224.0], CENTRES_HZ[11:]])
_TREBLE_FROM_HZ = 1100.0
_PEAK = (_CRITICAL_HZ > 1000.0) & (_CRITICAL_HZ < 10_000.0)
_BODY = (_CRITICAL_HZ > 150.0) & (_CRITICAL_HZ < 500.0)
# Where the turn is looked at beside the player's dials: low down, and at 1.
LOW_DIALS = (3.0, 1.0)
# What is near to a limit is left to the full measure.
_SLACK = 1.0
_LOUDER_DB = 6.0


@dataclass(frozen=True, eq=False)
class Estimate:
    """What each band counts for at d dials: of shape (d, f), but for the frequencies.

    Attributes
    ----------
    frequency_hz : ndarray, shape (f,)
        Middles of the critical bands.
    down_db : ndarray, shape (d,)
        How far the knob is meant to turn down there.
    counts : ndarray, shape (d,)
        What each dial counts for.
    loudness_share : ndarray
        Of the ideal.
    treble_share : ndarray
        The same within the treble, and 0 below it.
    audible_db : ndarray
        Level over threshold of the ideal: no more can be lost.
    most_left_phon : float
        At dial 1, over the bare pot.
    phon_per_db : float
        How much louder the bare pot at dial 1 is for each decibel; near the threshold
        in quiet that is more than 1.
    wanted : bool
        Whether another turn is wanted than the pot's own; then all dials count alike for it.
    """

    frequency_hz: Array
    down_db: Array
    counts: Array
    loudness_share: Array
    treble_share: Array
    audible_db: Array
    most_left_phon: float
    phon_per_db: float
    wanted: bool

    def taper_and_tone(self, gain_db: Array, bare_db: Array) -> tuple[Array, Array]:
        """Estimate `Merit.taper_phon` and `Merit.tone_db`, each of shape (...).

        Parameters
        ----------
        gain_db : ndarray, shape (..., d, f)
            Of designs at each dial.
        bare_db : ndarray, shape (f,)
            Of the bare pot at 10.
        """
        moved_db = gain_db - bare_db - self.down_db[:, np.newaxis]
        louder = (moved_db * self.loudness_share).sum(axis=-1)
        left_db = np.maximum(moved_db - louder[..., np.newaxis], -self.audible_db)
        tone = (np.abs(left_db) * self.treble_share).sum(axis=-1)
        alike = None if self.wanted else self.counts
        return root_mean_square(louder, alike), root_mean_square(tone, self.counts)

    def spoilt(self, low_db: Array, bare_db: Array, ten_db: Array) -> Flags:
        """Whether designs leave too much at 1, or have a peak; shape (...).

        Parameters
        ----------
        low_db : ndarray, shape (..., 2, f)
            Gain of designs at `LOW_DIALS`.
        bare_db : ndarray, shape (2, f)
            Of the bare pot there.
        ten_db : ndarray, shape (f,)
            Of the bare pot at 10.
        """
        # Loudness goes with the fourth root of power, so that bands that rise far count for more.
        rises = 10.0 ** ((low_db[..., 1, :] - bare_db[1]) / 40.0)
        left = self.phon_per_db * 40.0 * np.log10(rises @ self.loudness_share[-1])
        peak = _peak(low_db[..., 0, :]) - np.maximum(_peak(bare_db[0]), _peak(ten_db))
        spoilt = (left > self.most_left_phon + _SLACK) | (peak > MOST_PEAK_DB + _SLACK)
        return np.asarray(spoilt & (not self.wanted))


def _peak(gain_db: Array) -> Array:
    return np.asarray(gain_db[..., _PEAK].max(axis=-1) - gain_db[..., _BODY].mean(axis=-1))


def estimate(ear: Ear, at: Indices) -> Estimate:
    """Weigh the bands by what the ideal has in them, at some of the player's dials."""
    dials = ear.conditions.dials
    specific = ear.ideal(dials).specific[at]
    over_db = above_threshold_db(specific)
    # The first critical band, below 90 Hz, and the last have nothing of a guitar.
    bands = np.arange(1, LIMITS_BARK.size - 1)
    loud = np.stack([specific[:, band == BAND_OF_BARK].sum(axis=-1) for band in bands], axis=-1)
    audible = np.stack([over_db[:, band == BAND_OF_BARK].max(axis=-1) for band in bands], axis=-1)
    treble = loud * (_CRITICAL_HZ > _TREBLE_FROM_HZ)
    wanted = ear.conditions.wanted_db is not None
    return Estimate(
        _CRITICAL_HZ,
        ear.turned_down_db(dials)[at],
        counts_of(specific),
        _share(loud),
        _share(treble),
        audible,
        np.inf if wanted else most_left_phon(ear),
        _phon_per_db(ear),
        wanted,
    )


def _phon_per_db(ear: Ear) -> float:
    at_one = ear.levels_db(ear.response(None, np.ones(1)))[0]
    quiet, louder = sound(np.stack([at_one, at_one + _LOUDER_DB])).phon
    return float(louder - quiet) / _LOUDER_DB


def _share(values: Array) -> Array:
    return np.asarray(values / np.maximum(values.sum(axis=-1, keepdims=True), 1e-12))
