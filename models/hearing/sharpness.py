"""Sharpness: where on the critical-band scale the loudness sits."""

import numpy as np

from presolder.models.hearing.loudness import BARK
from presolder.models.typing import Array

_WEIGHT = np.where(BARK > 15.8, 0.15 * np.exp(0.42 * (BARK - 15.8)) + 0.85, 1.0)
_SCALE = 0.11


def sharpness(specific: Array) -> Array:
    """Sharpness of sounds.

    Parameters
    ----------
    specific : ndarray, shape (..., 240)
        Specific loudness from `specific_loudness`, sone per Bark.

    Returns
    -------
    ndarray, shape (...)
        Acum; 0 for silence.

    Notes
    -----
    DIN 45692:2009, formulas (1) and (2): the first moment of the specific
    loudness, weighted towards the highest bands. A critical band of noise at
    1 kHz and 60 dB has 1 acum.
    """
    total = specific.sum(axis=-1)
    moment = specific @ (_WEIGHT * BARK)
    return np.asarray(_SCALE * moment / np.where(total > 0, total, 1.0), dtype=np.float64)
