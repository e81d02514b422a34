"""A quick linear estimate of the full measure, for screening very many designs.

Near the sound of the guitar at 10, a band's loudness follows its level, so that
the gain that makes two sounds equally loud is a weighted mean of what happened
to the bands, and what is left in each band is the change that is heard there.
"""

from dataclasses import dataclass

import numpy as np

from presolder.models.hearing.loudness import (
    BAND_OF_BARK,
    CENTRES_HZ,
    LIMITS_BARK,
    above_threshold_db,
)
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import root_mean_square
from presolder.models.typing import Array

# The third octaves that are critical bands of their own, and the two groups of
# low ones below, each at its middle.
_CRITICAL_HZ = np.concatenate([[125.0, 224.0], CENTRES_HZ[11:]])
_TREBLE_FROM_HZ = 1100.0


@dataclass(frozen=True, eq=False)
class Estimate:
    """What each band counts for, each array of shape (f,).

    Attributes
    ----------
    frequency_hz : ndarray
        Middles of the critical bands.
    loudness_share : ndarray
        Of the guitar at 10.
    treble_share : ndarray
        The same within the treble, and 0 below it.
    audible_db : ndarray
        Level over threshold at 10: no more can be lost.
    """

    frequency_hz: Array
    loudness_share: Array
    treble_share: Array
    audible_db: Array

    def taper_and_tone(
        self, gain_db: Array, bare_db: Array, wanted_db: Array | None = None
    ) -> tuple[Array, Array]:
        """Estimate `Merit.taper_phon` and `Merit.tone_db`, each of shape (...).

        Parameters
        ----------
        gain_db : ndarray, shape (..., d + 1, f)
            Of designs, at dial 10 and then at each dial.
        bare_db : ndarray, shape (d + 1, f)
            Of the bare pot.
        wanted_db : ndarray, shape (d,), optional
            Level at each dial, re dial 10, to be kept instead of the bare pot's.
        """
        moved_db = gain_db[..., 1:, :] - bare_db[:1]
        louder = moved_db @ self.loudness_share
        kept = wanted_db
        if kept is None:
            kept = (bare_db[1:] - bare_db[:1]) @ self.loudness_share
        left_db = np.maximum(moved_db - louder[..., None], -self.audible_db)
        tone = np.abs(left_db) @ self.treble_share
        return root_mean_square(louder - kept), root_mean_square(tone)


def estimate(ear: Ear) -> Estimate:
    """Weigh the bands by what the guitar at 10 has in them."""
    specific = ear.at_ten.specific
    over_db = above_threshold_db(specific)
    # The first critical band, below 90 Hz, and the last have nothing of a guitar.
    bands = np.arange(1, LIMITS_BARK.size - 1)
    loud = np.array([specific[band == BAND_OF_BARK].sum() for band in bands])
    audible_db = np.array([over_db[band == BAND_OF_BARK].max() for band in bands])
    treble = loud * (_CRITICAL_HZ > _TREBLE_FROM_HZ)
    return Estimate(_CRITICAL_HZ, loud / loud.sum(), treble / treble.sum(), audible_db)
