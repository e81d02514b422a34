"""Loudness of steady sounds after ISO 532-1, for any number of spectra at once.

The method of Zwicker: third-octave levels become excitation in critical bands,
which the ear's transmission and its threshold in quiet shape; excitation
becomes specific loudness, which spreads upwards in frequency as masking does;
and its sum is the loudness. It was chosen over ISO 532-2 because sharpness
after DIN 45692 is defined on it, and because third-octave levels suffice.

The tables are those of ISO 532-1:2017, annex A (as published before by Zwicker
and others, J. Acoust. Soc. Jpn. (E) 12, 1991), free field.
"""

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.core import spread
from presolder.models.typing import Array

# Nominal third-octave centres 25 Hz to 12.5 kHz, at their exact places.
CENTRES_HZ = 10.0 ** (np.arange(14, 42) / 10.0)
# Critical-band rates at which specific loudness is given.
BARK = np.arange(1, 241) / 10.0
# Upper limits of the critical bands, Bark; nothing sounds in the last one itself.
LIMITS_BARK = np.array(
    [0.9, 1.8, 2.8, 3.5, 4.4, 5.4, 6.6, 7.9, 9.2, 10.6, 12.3,
     13.8, 15.2, 16.7, 18.1, 19.3, 20.6, 21.8, 22.7, 23.6, 24.0]
)  # fmt: skip
# Low third octaves: up to which level each correction holds, and the corrections.
_LOW_RANGES_DB = np.array([45, 55, 65, 71, 80, 90, 100, 120])
_LOW_WEIGHTS_DB = np.array(
    [[-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0],
     [-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0],
     [-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0],
     [-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0],
     [-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0],
     [-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0],
     [-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0],
     [-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0]]
)  # fmt: skip
# Which low third octaves make up the first three critical bands.
_LOW_GROUPS = (slice(0, 6), slice(6, 9), slice(9, 11))
THRESHOLD_DB = np.array([30, 18, 12, 8, 7, 6, 5, 4, *[3] * 12], dtype=np.float64)
_TRANSMISSION_DB = np.array(
    [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, -0.5, -1.6, -3.2, -5.4, -5.6, -4, -1.5, 2, 5, 12]
)
_TO_CRITICAL_DB = np.array(
    [-0.25, -0.6, -0.8, -0.8, -0.5, 0, 0.5, 1.1, 1.5, 1.7,
     1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0, -0.5]
)  # fmt: skip
_SHARE = 0.25
# How steeply specific loudness falls towards higher bands, in ranges of its size.
_RANGES = np.array(
    [21.5, 18, 15.1, 11.5, 9, 6.1, 4.4, 3.1, 2.13, 1.36, 0.82, 0.42, 0.30, 0.22, 0.15, 0.10,
     0.035, 0]
)  # fmt: skip
_SLOPES = np.array(
    [[13, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5],
     [9, 7.5, 6, 5.1, 4.5, 4.5, 4.5, 4.5],
     [7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9],
     [6.2, 5.4, 4.6, 4.0, 3.5, 3.2, 3.2, 3.2],
     [4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7],
     [3.7, 3.0, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2],
     [2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7],
     [2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3],
     [1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1],
     [1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82],
     [0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62],
     [0.59, 0.53, 0.51, 0.50, 0.42, 0.42, 0.42, 0.42],
     [0.40, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22],
     [0.27, 0.21, 0.20, 0.18, 0.17, 0.17, 0.17, 0.17],
     [0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11],
     [0.12, 0.11, 0.10, 0.08, 0.08, 0.08, 0.08, 0.08],
     [0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05],
     [0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02]]
)  # fmt: skip
# Far above any specific loudness that the method allows.
_MOST = 1000.0
# Band of each critical-band rate; those on a limit belong to the band below it.
BAND_OF_BARK = np.searchsorted(LIMITS_BARK, BARK - 1e-6)
# Index of each band's first rate, and how many there are.
_STARTS = np.searchsorted(BAND_OF_BARK, np.arange(LIMITS_BARK.size + 1)).astype(np.float64)


def _falls() -> tuple[Array, Array]:
    """Sizes, rising, and for each slope column how far along its fall each size lies."""
    sizes = np.concatenate([[_MOST], _RANGES])
    steps = (sizes[:-1, None] - sizes[1:, None]) / _SLOPES
    along = np.vstack([np.zeros(_SLOPES.shape[1]), np.cumsum(steps, axis=0)])
    return sizes, along


_SIZES, _ALONG = _falls()


def core_loudness(third_octave_db: ArrayLike) -> Array:
    """Specific loudness of each critical band before it spreads.

    Parameters
    ----------
    third_octave_db : array_like, shape (..., 28)
        Sound pressure levels in third octaves from 25 Hz to 12.5 kHz, dB re 20 uPa.

    Returns
    -------
    ndarray, shape (..., 21)
        Sone per Bark; the last is 0.

    Notes
    -----
    ISO 532-1:2017, section 5.4 to 5.6.
    """
    level_db = np.asarray(third_octave_db, dtype=np.float64)
    low_db = level_db[..., :11]
    above = low_db[..., None, :] > (_LOW_RANGES_DB[:, None] - _LOW_WEIGHTS_DB)[:-1]
    weights_db = np.take_along_axis(
        np.broadcast_to(_LOW_WEIGHTS_DB, (*low_db.shape[:-1], *_LOW_WEIGHTS_DB.shape)),
        above.sum(axis=-2)[..., None, :],
        axis=-2,
    )[..., 0, :]
    power = 10.0 ** ((low_db + weights_db) / 10.0)
    grouped = [power[..., group].sum(axis=-1, keepdims=True) for group in _LOW_GROUPS]
    lowest_db = 10.0 * np.log10(np.maximum(np.concatenate(grouped, axis=-1), 1e-30))
    excited_db = np.concatenate([lowest_db, level_db[..., 11:]], axis=-1) - _TRANSMISSION_DB
    over_db = excited_db - _TO_CRITICAL_DB - THRESHOLD_DB
    rising = (1.0 - _SHARE + _SHARE * 10.0 ** (0.1 * over_db)) ** 0.25 - 1.0
    core = 0.0635 * 10.0 ** (0.025 * THRESHOLD_DB) * np.maximum(rising, 0.0)
    core[excited_db <= THRESHOLD_DB] = 0.0
    core[..., 0] *= np.minimum(0.4 + 0.32 * core[..., 0] ** 0.2, 1.0)
    return np.concatenate([core, np.zeros((*core.shape[:-1], 1))], axis=-1)


def specific_loudness(third_octave_db: ArrayLike) -> tuple[Array, Array]:
    """Specific loudness over the critical-band rate, and the loudness it adds up to.

    Parameters
    ----------
    third_octave_db : array_like, shape (..., 28)
        As for `core_loudness`.

    Returns
    -------
    specific : ndarray, shape (..., 240)
        Sone per Bark, at `BARK`.
    sone : ndarray, shape (...)
        Loudness.

    Notes
    -----
    ISO 532-1:2017, section 5.7: within a band the core loudness stands, unless
    what spreads from lower bands is still larger.
    """
    core = core_loudness(third_octave_db)
    shape = core.shape[:-1]
    specific, sone = spread(
        core.reshape(-1, LIMITS_BARK.size), _STARTS, _SIZES, _ALONG, BARK[1] - BARK[0]
    )
    return specific.reshape(*shape, BARK.size), sone.reshape(shape)


def loudness_level(sone: ArrayLike) -> Array:
    """Loudness level in phon, same shape; ISO 532-1:2017, formulas (11) and (12)."""
    loudness = np.asarray(sone, dtype=np.float64)
    loud = 40.0 + 10.0 * np.log2(np.maximum(loudness, 1.0))
    return np.where(loudness >= 1.0, loud, 40.0 * (loudness + 0.0005) ** 0.35)


def above_threshold_db(specific: Array) -> Array:
    """Excitation level over the threshold in quiet, from specific loudness.

    Parameters
    ----------
    specific : ndarray, shape (..., 240)
        Sone per Bark.

    Returns
    -------
    ndarray, shape (..., 240)
        dB; 0 where nothing is heard. In the lowest critical band, whose
        threshold the standard treats apart, it is only approximate.

    Notes
    -----
    The inverse of the standard's formula for specific loudness.
    """
    threshold = THRESHOLD_DB[np.minimum(BAND_OF_BARK, THRESHOLD_DB.size - 1)]
    size = specific / (0.0635 * 10.0 ** (0.025 * threshold))
    return np.asarray(10.0 * np.log10(((size + 1.0) ** 4 - (1.0 - _SHARE)) / _SHARE))
