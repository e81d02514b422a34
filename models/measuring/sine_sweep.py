"""A response from a sweep as it was played and as it was recorded."""

import numpy as np

from presolder.models.decibels import decibels
from presolder.models.errors import InputError
from presolder.models.typing import Array, ComplexArray, Flags

# What is kept of the impulse response before and after its peak. A sweep that begins at some
# hundreds of hertz rings before the peak too; its distortion comes tens of milliseconds earlier.
_BEFORE_SECONDS, _AFTER_SECONDS = 0.024, 0.03
_BINS = 1 << 16
# Where its delay is looked at, and how far an octave's impulse stands over its noise there: from
# below the 100 Hz from which a response is told, since a tear blurs the octave that it is in.
_OCTAVES_HZ, _CLEARLY = np.geomspace(65.0, 14e3, 16), 10.0
# How finely its envelope is looked at, of which what is finer than so many seconds is in vain; and
# how far it may lie off, in periods.
_FINELY, _FINE_S, _UNSURE = 16, 1e-4, 0.15
# No buffer is shorter than this; what noise moves an octave by is less.
_LOST_S = 0.5e-3
# By how much two clocks may go apart; those of phones and interfaces do by a tenth of it.
_MOST_DRIFT = 5e-4
# How long nothing was played at the beginning of a recording.
_QUIET_SECONDS = 0.25


def before_db(recorded: Array, sample_rate_hz: float) -> float:
    """What came in before a sweep began, in dB against its loudest second.

    Parameters
    ----------
    recorded : ndarray, shape (n,)
        At least a quarter of a second of it before the sweep.
    sample_rate_hz : float
    """
    power = np.square(recorded)
    second = int(min(sample_rate_hz, recorded.size))
    loudest = (np.convolve(power[::64], np.ones(second // 64), "valid") / (second // 64)).max()
    before = power[: int(_QUIET_SECONDS * sample_rate_hz)].mean()
    return float(decibels(np.sqrt(before / loudest)))


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
        If the two have nothing in common, or samples were lost on the way.

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
    reaches = power > 1e-4 * power.max()
    drift = _drift(x, y * dividing, reaches, sample_rate_hz)
    if drift:
        # By the recorder's clock, as the player's would have it.
        count = round(recorded.size / (1.0 + drift))
        recorded = np.fft.irfft(np.fft.rfft(recorded), count) * count / recorded.size
        y = np.fft.rfft(recorded, length)
        impulse = np.fft.irfft(y * dividing, length)
    perfect = np.fft.irfft(x * dividing, length)
    bins = np.fft.rfftfreq(_BINS, 1.0 / sample_rate_hz)
    gain = _kept(impulse, sample_rate_hz) / _kept(perfect, sample_rate_hz)
    frequency_hz = np.geomspace(100.0, min(16_000.0, 0.42 * sample_rate_hz), 120)
    own_bins = np.fft.rfftfreq(length, 1.0 / sample_rate_hz)
    reached = np.interp(frequency_hz, own_bins, reaches) > 0.5
    return frequency_hz[reached], decibels(np.interp(frequency_hz[reached], bins, gain))


def _drift(
    played: ComplexArray, response: ComplexArray, reaches: Flags, sample_rate_hz: float
) -> float:
    """By what share a recording is longer than what was played; 0 where it makes no difference.

    It is seen by when each octave comes, of which a pickup's own delay is a tenth of a period or
    so. What is lost or put in while a sweep runs shifts all that comes after it; where player and
    recorder have a clock each, what comes later is shifted by more and more.

    Raises
    ------
    InputError
        If it is torn.
    """
    whole_s = 2 * (response.size - 1) / sample_rate_hz
    came: list[tuple[float, float]] = []
    for middle in _OCTAVES_HZ[0.36 * sample_rate_hz > _OCTAVES_HZ][::-1]:
        # Only where the sweep was.
        if not reaches[int(0.7 * middle * whole_s)] or not reaches[int(1.4 * middle * whole_s)]:
            continue
        envelope = _octave(response, middle, whole_s)
        at = int(np.argmax(envelope))
        if envelope[at] > _CLEARLY * np.sqrt(np.mean(np.square(envelope))):
            at_s = at / envelope.size * whole_s
            first_s = came[0][0] if came else at_s
            after_s = (at_s - first_s + whole_s / 2) % whole_s - whole_s / 2
            came.append((first_s + after_s, middle))
    came_s, middles_hz = np.array(came).T if came else np.zeros((2, 0))
    allowed_s = np.maximum(np.add.outer(_UNSURE / middles_hz, _UNSURE / middles_hz), _LOST_S)
    if (np.abs(np.subtract.outer(came_s, came_s)) <= allowed_s).all():
        return 0.0
    # How far what comes after the tear lies from what came before, wherever that fits best.
    parts = [(came_s[:k], came_s[k:]) for k in range(1, came_s.size)]
    steps = [(np.median(before), np.median(after)) for before, after in parts]
    left = [
        np.abs(before - a).sum() + np.abs(after - b).sum()
        for (before, after), (a, b) in zip(parts, steps, strict=True)
    ]
    # The other way: a line over the time at which each was played.
    own = [_octave(played, middle, whole_s) for middle in middles_hz]
    played_s = np.array([np.argmax(one) / one.size * whole_s for one in own])
    slope, start = np.polyfit(played_s, came_s, 1)
    off_s = came_s - (start + slope * played_s)
    if abs(slope) < _MOST_DRIFT and np.abs(off_s).sum() < 0.5 * min(left):
        return float(slope)
    a, b = steps[int(np.argmin(left))]
    raise InputError(
        f"the recording is torn, by {1e3 * abs(b - a):.1f} ms: the machine was busy or its buffer"
        " too short; record again"
    )


def _octave(spectrum: ComplexArray, middle_hz: float, whole_s: float) -> Array:
    """The envelope over time, `whole_s` in all, of an octave of a spectrum, finely.

    The octave is a raised cosine, so that an impulse in it is short; the envelope of that stays
    where it is whatever the phase.
    """
    middle = middle_hz * whole_s
    lines = np.arange(int(0.5 * middle) + 1, min(int(2.0 * middle), spectrum.size))
    shaped = spectrum[lines] * np.cos(np.log2(lines / middle) * np.pi / 2) ** 2
    count = max(lines.size, min(_FINELY * lines.size, whole_s / _FINE_S))
    return np.asarray(np.abs(np.fft.ifft(shaped, 1 << int(np.ceil(np.log2(count))))))


def _kept(impulse: Array, sample_rate_hz: float) -> Array:
    """Size of the spectrum of what lies around an impulse response's peak."""
    before = int(_BEFORE_SECONDS * sample_rate_hz)
    after = int(_AFTER_SECONDS * sample_rate_hz)
    kept = np.roll(impulse, before - int(np.argmax(np.abs(impulse))))[: before + after]
    kept[:before] *= np.sin(np.linspace(0.0, np.pi / 2, before)) ** 2
    kept[-after // 2 :] *= np.cos(np.linspace(0.0, np.pi / 2, after - after // 2)) ** 2
    return np.asarray(np.abs(np.fft.rfft(kept, _BINS)), dtype=np.float64)
