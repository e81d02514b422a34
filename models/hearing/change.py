"""How much one sound differs from another at equal loudness, and whether ears notice."""

from dataclasses import dataclass

import numpy as np

from presolder.models.hearing.loudness import (
    BARK,
    above_threshold_db,
    loudness_level,
    specific_loudness,
)
from presolder.models.hearing.sharpness import sharpness
from presolder.models.typing import Array, Flags, Indices

# A change of excitation is noticed from about 1 dB in any critical band (Zwicker
# and Fastl, Psychoacoustics, section 7.5; Moore, An Introduction to the Psychology
# of Hearing, chapter 4; both from memory).
NOTICED_DB = 1.0
# Below this the standard corrects levels in steps, which would pass for changes.
_COMPARED = BARK > 2.8
# From the critical band whose lower edge is near 1 kHz.
_TREBLE = BARK > 9.2
_ROUNDS = 8
EXACT_PHON = 1e-5
_SLOPES = (0.5, 4.0)


@dataclass(frozen=True, eq=False)
class Sound:
    """What ears make of sounds, each array of shape (...) or (..., 240).

    Attributes
    ----------
    third_octave_db : ndarray, shape (..., 28)
    specific : ndarray, shape (..., 240)
        Specific loudness, sone per Bark.
    phon : ndarray, shape (...)
        Loudness level.
    acum : ndarray, shape (...)
        Sharpness.
    """

    third_octave_db: Array
    specific: Array
    phon: Array
    acum: Array

    def at(self, index: Indices) -> "Sound":
        """The parts at some indices of the first axis."""
        return Sound(
            self.third_octave_db[index], self.specific[index], self.phon[index], self.acum[index]
        )


@dataclass(frozen=True, eq=False)
class Change:
    """How sounds differ from a reference once they are equally loud, each of shape (...).

    Attributes
    ----------
    duller_db, brighter_db : ndarray
        Treble excitation lost, and gained: means over the critical bands from
        1 kHz up, weighted by how loud each is.
    largest_db : ndarray
        Largest change of excitation in any band that is heard, either way.
    gain_db : ndarray
        Gain that made them equally loud.
    """

    duller_db: Array
    brighter_db: Array
    largest_db: Array
    gain_db: Array

    def of(self, index: int) -> "Change":
        """The part at an index of the first axis."""
        return Change(
            self.duller_db[index],
            self.brighter_db[index],
            self.largest_db[index],
            self.gain_db[index],
        )

    @property
    def noticed(self) -> Flags:
        """Whether ears notice."""
        return np.asarray(self.largest_db >= NOTICED_DB, dtype=np.bool_)

    @property
    def tone_db(self) -> Array:
        """Treble lost and gained together."""
        return np.asarray(self.duller_db + self.brighter_db)


def sound(third_octave_db: Array) -> Sound:
    """Loudness and sharpness of sounds; shape (..., 28) of levels in dB SPL."""
    specific, sone = specific_loudness(third_octave_db)
    return Sound(third_octave_db, specific, loudness_level(sone), sharpness(specific))


def equally_loud_db(
    third_octave_db: Array, phon: Array | float, within_phon: float = EXACT_PHON
) -> Array:
    """Gain that brings sounds to a loudness level.

    Parameters
    ----------
    third_octave_db : ndarray, shape (..., 28)
    phon : ndarray or float, shape (...)
        Above 0.
    within_phon : float
        How near it need come.

    Returns
    -------
    ndarray, shape (...)
        dB.

    Notes
    -----
    The secant method, its slope kept within what loudness allows; one phon a
    dB is nearly it.
    """
    total_db = 10.0 * np.log10((10.0 ** (third_octave_db / 10.0)).sum(axis=-1))
    gain_db = np.asarray(phon - total_db, dtype=np.float64)
    slope = np.ones(gain_db.shape)
    before_db = before_phon = np.full(gain_db.shape, np.nan)
    for _ in range(_ROUNDS):
        reached = loudness_level(specific_loudness(third_octave_db + gain_db[..., None])[1])
        if np.abs(phon - reached).max() < within_phon:
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = (reached - before_phon) / (gain_db - before_db)
        slope = np.where(np.isfinite(secant), np.clip(secant, *_SLOPES), slope)
        before_db, before_phon = gain_db, reached
        gain_db = gain_db + (phon - reached) / slope
    return gain_db


def change(third_octave_db: Array, reference: Sound, within_phon: float = EXACT_PHON) -> Change:
    """Compare sounds with a reference at its loudness.

    Parameters
    ----------
    third_octave_db : ndarray, shape (..., 28)
        Levels of the sounds, dB SPL.
    reference : Sound
        One sound, or as many as broadcast.
    within_phon : float
        How near to equally loud they are brought.

    Returns
    -------
    Change
    """
    gain_db = equally_loud_db(third_octave_db, reference.phon, within_phon)
    specific, _ = specific_loudness(third_octave_db + gain_db[..., None])
    moved_db = above_threshold_db(specific) - above_threshold_db(reference.specific)
    was, now = reference.specific * _TREBLE, specific * _TREBLE
    duller = (was * np.maximum(-moved_db, 0.0)).sum(axis=-1) / _some(was.sum(axis=-1))
    larger = np.maximum(was, now)
    brighter = (larger * np.maximum(moved_db, 0.0)).sum(axis=-1) / _some(larger.sum(axis=-1))
    largest = np.abs(moved_db[..., _COMPARED]).max(axis=-1)
    return Change(
        np.asarray(duller), np.asarray(brighter), np.asarray(largest), np.asarray(gain_db)
    )


def _some(total: Array) -> Array:
    """No treble at all gives no change of it."""
    return np.where(total > 0, total, 1.0)
