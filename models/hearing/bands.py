"""Third-octave levels of spectra, as the filters of a sound level meter see them."""

import numpy as np

from presolder.models.hearing.loudness import CENTRES_HZ
from presolder.models.typing import Array

_LINES_PER_BAND = 4
# Power is reckoned at these frequencies; a response with a resonance is smooth between them.
_STEPS = np.arange(-16 * _LINES_PER_BAND, 12 * _LINES_PER_BAND + 1)
LINE_EDGES_HZ: Array = np.asarray(1000.0 * 10.0 ** (_STEPS / (10.0 * _LINES_PER_BAND) - 0.05))
LINES_HZ: Array = np.sqrt(LINE_EDGES_HZ[1:] * LINE_EDGES_HZ[:-1])
_QUALITY = 1.0 / (10.0**0.05 - 10.0**-0.05)
_SILENCE = 1e-30


def filter_powers(frequency_hz: Array) -> Array:
    """What each third-octave filter passes of the power at each frequency.

    Parameters
    ----------
    frequency_hz : ndarray, shape (f,)

    Returns
    -------
    ndarray, shape (f, 28)

    Notes
    -----
    Butterworth band-passes of third order, which keep the limits of class 1 in
    IEC 61260-1.
    """
    ratio = np.asarray(frequency_hz)[:, None] / CENTRES_HZ
    return np.asarray(1.0 / (1.0 + (_QUALITY * (ratio - 1.0 / ratio)) ** 6), dtype=np.float64)


_FILTERS = filter_powers(LINES_HZ)


def third_octave_db(line_power: Array) -> Array:
    """Third-octave levels.

    Parameters
    ----------
    line_power : ndarray, shape (..., 112)
        Mean square pressure at `LINES_HZ`, re (20 uPa)^2.

    Returns
    -------
    ndarray, shape (..., 28)
        dB re 20 uPa.
    """
    return np.asarray(10.0 * np.log10(np.maximum(line_power @ _FILTERS, _SILENCE)))
