"""Make ``string.flac``: a short invented phrase on a modelled string, as raw pickup EMF.

Run it as ``python samples/make_string.py OUT.flac``; the samples it writes are
the same every time, and a test compares them with the bundled file.

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
SECONDS = 9.0
PLUCK_POSITION, PICKUP_POSITION = 0.19, 0.27
# Onset in seconds, semitones above the low E, strength, sustain in seconds.
PHRASE: tuple[tuple[float, float, float, float], ...] = (
    (0.15, 0, 0.8, 3.0),
    (0.65, 14, 0.7, 2.2),
    (1.00, 17, 0.8, 2.2),
    (1.35, 22, 0.9, 2.0),
    (1.90, 20, 0.7, 2.0),
    (2.60, 5, 0.9, 3.5),
    (2.63, 12, 0.8, 3.0),
    (2.66, 16, 0.8, 3.0),
    (2.69, 21, 0.8, 2.6),
    (2.72, 26, 0.7, 2.4),
    (4.70, 29, 0.8, 1.6),
    (4.95, 27, 0.6, 1.6),
    (5.20, 24, 0.8, 1.8),
    (5.70, 3, 0.9, 3.5),
    (5.74, 10, 0.8, 3.2),
    (5.78, 15, 0.8, 3.0),
    (5.82, 19, 0.9, 3.0),
)


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
    count = int(SAMPLE_RATE_HZ * min(sustain_s * 1.2, SECONDS))
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


def make_phrase() -> NDArray[np.int16]:
    """The whole phrase at 16 bits, peak at -3 dBFS."""
    mix = np.zeros(int(SAMPLE_RATE_HZ * SECONDS))
    for seed, (onset_s, semitones, strength, sustain_s) in enumerate(PHRASE):
        start = round(onset_s * SAMPLE_RATE_HZ)
        note = pluck(semitones, strength, sustain_s, seed)[: mix.size - start]
        mix[start : start + note.size] += note
    mix *= np.minimum(1.0, np.arange(mix.size)[::-1] / (0.05 * SAMPLE_RATE_HZ))
    scaled = mix / np.abs(mix).max() * 32767 * 10 ** (-3 / 20)
    return np.asarray(np.round(scaled), dtype=np.int16)


if __name__ == "__main__":
    soundfile.write(Path(sys.argv[1]), make_phrase(), SAMPLE_RATE_HZ, "PCM_16", format="FLAC")
