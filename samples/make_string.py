"""Make ``string.flac`` and ``chords.flac``: a modelled string, as raw pickup EMF.

``string`` is a dense invented figure that loops, ``chords`` a few chords left
to ring. Run it as ``python samples/make_string.py FOLDER``; the samples it
writes are the same every time, and a test compares them with the bundled files.

Each note is a digital waveguide (Smith, Physical Audio Signal Processing,
chapter "Plucked strings"): a loop of one period whose losses are a two-point
average and a gain, with an all-pass filter for the fraction of a sample. It is
set off by a burst of seeded noise combed by the plucking position. A coil
senses string velocity at one spot, which combs the spectrum again.
"""

import sys
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import lfilter

SAMPLE_RATE_HZ = 48_000
PLUCK_POSITION, PICKUP_POSITION = 0.19, 0.27
# Onset in seconds, semitones above the low E, strength, sustain in seconds.
Note = tuple[float, float, float, float]


def _strum(
    at_s: float, semitones: tuple[int, ...], strength: float, sustain_s: float
) -> tuple[Note, ...]:
    """Notes of a chord, 18 ms apart."""
    return tuple((at_s + 0.018 * i, n, strength, sustain_s) for i, n in enumerate(semitones))


# An attack at least every 0.3 s, so that every dial of a sweep has one.
STRING: tuple[Note, ...] = (
    *_strum(0.0, (7, 14, 19, 23), 0.9, 0.9),
    (0.30, 7, 0.8, 0.3),
    (0.60, 26, 0.9, 0.6),
    (0.75, 24, 0.7, 0.5),
    (0.90, 19, 0.8, 0.6),
    *_strum(1.20, (2, 9, 14, 18), 0.9, 0.9),
    (1.50, 2, 0.8, 0.3),
    (1.80, 21, 0.8, 0.5),
    (1.95, 18, 0.7, 0.5),
    (2.10, 14, 0.9, 0.6),
    *_strum(2.40, (4, 11, 16, 19), 0.9, 0.9),
    (2.70, 4, 0.8, 0.3),
    (3.00, 28, 0.9, 0.7),
    (3.15, 26, 0.7, 0.5),
    (3.30, 23, 0.8, 0.6),
    *_strum(3.60, (0, 7, 12, 16, 19), 1.0, 0.9),
    (3.90, 12, 0.8, 0.4),
    (4.20, 19, 0.8, 0.5),
    (4.50, 16, 0.9, 0.3),
)
STRING_SECONDS = 4.8
CHORDS: tuple[Note, ...] = (
    *_strum(0.1, (3, 10, 15, 19), 0.9, 3.5),
    *_strum(2.6, (5, 12, 17, 20, 24), 0.9, 3.5),
    *_strum(5.1, (0, 7, 12, 16, 19, 24), 1.0, 4.0),
)
CHORDS_SECONDS = 8.5


def pluck(semitones: float, strength: float, sustain_s: float, seed: int) -> NDArray[np.float64]:
    """One note as pickup EMF, arbitrary scale.

    Parameters
    ----------
    semitones : float
        Pitch above the low E of 82.407 Hz.
    strength, sustain_s : float
        Loudness, and seconds to decay by 60 dB.
    seed : int
        Of the noise burst.

    Returns
    -------
    ndarray, shape (n,)
    """
    frequency_hz = 82.407 * 2.0 ** (semitones / 12.0)
    period = SAMPLE_RATE_HZ / frequency_hz
    count = int(SAMPLE_RATE_HZ * sustain_s * 1.2)
    # The averaging filter delays by half a sample, the all-pass by 0.1 to 1.1.
    whole = int(period - 0.6)
    fraction = period - 0.5 - whole
    allpass = (1.0 - fraction) / (1.0 + fraction)
    loss = 10.0 ** (-3.0 / (sustain_s * frequency_hz))
    burst = np.random.default_rng(seed).uniform(-1.0, 1.0, round(period))
    excitation = np.zeros(count)
    excitation[: burst.size] = burst - burst.mean()
    excitation = _comb(excitation, PLUCK_POSITION * period)
    # Loop filter: loss * (1 + z^-1)/2 * (a + z^-1)/(1 + a z^-1) * z^-whole.
    loop = 0.5 * loss * np.convolve([1.0, 1.0], [allpass, 1.0])
    denominator = np.zeros(whole + 3)
    denominator[:2] = [1.0, allpass]
    denominator[whole:] -= loop
    motion = lfilter([1.0, allpass], denominator, excitation)
    softened = lfilter([0.35], [1.0, -0.65], motion)
    return np.asarray(strength * _comb(softened, PICKUP_POSITION * period), dtype=np.float64)


def _comb(signal: NDArray[np.float64], delay_samples: float) -> NDArray[np.float64]:
    whole, fraction = divmod(delay_samples, 1.0)
    kernel = np.zeros(int(whole) + 2)
    kernel[0] = 1.0
    kernel[-2:] -= [1.0 - fraction, fraction]
    return np.convolve(signal, kernel)[: signal.size]


def make_take(notes: tuple[Note, ...], seconds: float) -> NDArray[np.int16]:
    """All notes at 16 bits, peak at -3 dBFS.

    Parameters
    ----------
    notes : tuple of Note
    seconds : float
        Length; what still rings then is faded out.

    Returns
    -------
    ndarray, shape (n,)
    """
    mix = np.zeros(round(SAMPLE_RATE_HZ * seconds))
    for seed, (onset_s, semitones, strength, sustain_s) in enumerate(notes):
        start = round(onset_s * SAMPLE_RATE_HZ)
        note = pluck(semitones, strength, sustain_s, seed)[: mix.size - start]
        mix[start : start + note.size] += note
    mix *= np.minimum(1.0, np.arange(mix.size)[::-1] / (0.05 * SAMPLE_RATE_HZ))
    scaled = mix / np.abs(mix).max() * 32767 * 10 ** (-3 / 20)
    return np.asarray(np.round(scaled), dtype=np.int16)


TAKES = {"string": (STRING, STRING_SECONDS), "chords": (CHORDS, CHORDS_SECONDS)}

if __name__ == "__main__":
    for name, (notes, seconds) in TAKES.items():
        out = Path(sys.argv[1]) / f"{name}.flac"
        soundfile.write(out, make_take(notes, seconds), SAMPLE_RATE_HZ, "PCM_16", format="FLAC")
