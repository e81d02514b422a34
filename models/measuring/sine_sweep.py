"""A response from a sweep as it was played and as it was recorded."""

import numpy as np

from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.typing import Array

# What is kept of the impulse response before and after its peak. A sweep that begins at some
# hundreds of hertz rings before the peak too; its distortion comes tens of milliseconds earlier.
_BEFORE_SECONDS, _AFTER_SECONDS = 0.024, 0.03
_BINS = 1 << 16


def swept_response(played: Array, recorded: Array, sample_rate_hz: float) -> tuple[Array, Array]:
    """Gain over frequency from a sweep as played and as recorded.

    Parameters
    ----------
    played, recorded : ndarray, shape (n,) and (m,)
        The recording may start late, and may be longer.
    sample_rate_hz : float

    Returns
    -------
    frequency_hz, gain_db : ndarray, shape (f,)
        120 points, 100 Hz to 16 kHz or 0.42 of the sample rate, as far as the
        sweep reaches.

    Raises
    ------
    InputError
        If the two have nothing in common.

    Notes
    -----
    The recording's spectrum over the sweep's gives the impulse response, of
    which only the part around its peak is kept: noise, and the distortion
    that a rising sweep leaves before the peak, stay out (Farina, "Simultaneous
    measurement of impulse response and distortion with a swept-sine
    technique", AES 108th Convention, 2000). A sweep that begins above the
    lowest frequencies spreads even a perfect response's impulse beyond what is
    kept, so the gain is against what would be kept of that.
    """
    length = 1 << int(np.ceil(np.log2(played.size + recorded.size)))
    x, y = np.fft.rfft(played, length), np.fft.rfft(recorded, length)
    power = np.square(np.abs(x))
    dividing = x.conj() / (power + 1e-6 * power.max())
    impulse = np.fft.irfft(y * dividing, length)
    if np.abs(impulse).max() < 8.0 * np.sqrt(np.mean(np.square(impulse))):
        raise InputError("the recording does not hold the sweep that was played")
    perfect = np.fft.irfft(x * dividing, length)
    bins = np.fft.rfftfreq(_BINS, 1.0 / sample_rate_hz)
    gain = _kept(impulse, sample_rate_hz) / _kept(perfect, sample_rate_hz)
    frequency_hz = np.geomspace(100.0, min(16_000.0, 0.42 * sample_rate_hz), 120)
    own_bins = np.fft.rfftfreq(length, 1.0 / sample_rate_hz)
    reached = np.interp(frequency_hz, own_bins, power) > 1e-4 * power.max()
    return frequency_hz[reached], decibels(np.interp(frequency_hz[reached], bins, gain))


def _kept(impulse: Array, sample_rate_hz: float) -> Array:
    """Size of the spectrum of what lies around an impulse response's peak."""
    before = int(_BEFORE_SECONDS * sample_rate_hz)
    after = int(_AFTER_SECONDS * sample_rate_hz)
    kept = np.roll(impulse, before - int(np.argmax(np.abs(impulse))))[: before + after]
    kept[:before] *= np.sin(np.linspace(0.0, np.pi / 2, before)) ** 2
    kept[-after // 2 :] *= np.cos(np.linspace(0.0, np.pi / 2, after - after // 2)) ** 2
    return np.asarray(np.abs(np.fft.rfft(kept, _BINS)), dtype=np.float64)
