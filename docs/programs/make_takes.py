"""Make the bundled takes that a modelled string plays, as raw pickup EMF.

``chords`` is open chords strummed, ``lead`` a line that sustains, ``muted``
muted and percussive playing, ``string`` a dense figure; all are invented, and
loop. Run it as ``python docs/programs/make_takes.py FOLDER``; the samples it
writes are the same every time, and a test compares them with the bundled files.

Each note is a digital waveguide (Smith, Physical Audio Signal Processing,
chapter "Plucked strings"): a loop of one period whose losses are a two-point
average and a gain, with an all-pass filter for the fraction of a sample. It is
set off by a burst of seeded noise combed by the plucking position. A coil
senses string velocity at one spot, which combs the spectrum again.
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

SAMPLE_RATE_HZ = 48_000
PLUCK_POSITION, PICKUP_POSITION = 0.19, 0.27
# Onset in seconds, semitones above the low E, strength, sustain in seconds.
Note = tuple[float, float, float, float]


def _strum(
    at_s: float,
    semitones: tuple[int, ...],
    strength: float,
    sustain_s: float,
    gap_s: float = 0.018,
) -> tuple[Note, ...]:
    """Notes of a chord, a little apart."""
    return tuple((at_s + gap_s * i, n, strength, sustain_s) for i, n in enumerate(semitones))


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

# The others are four bars at 100 beats a minute: an eighth is 0.3 s.
BARS_SECONDS, BAR, EIGHTH = 9.6, 2.4, 0.3
OPEN_CHORDS = (
    (5, 12, 17, 20, 24),
    (8, 12, 15, 22, 24),
    (3, 7, 10, 15, 22, 27),
    (10, 17, 22, 24),
)


def _strummed(bar: int, chord: tuple[int, ...]) -> tuple[Note, ...]:
    """A bar of a chord: strokes down on the beat, up and of fewer strings between."""
    down = [(0, 1.0, 1.3), (2, 0.8, 0.55), (4, 0.9, 0.7), (6, 0.85, 0.6)]
    up = [(3, 0.6, 0.5), (5, 0.55, 0.4), (7, 0.65, 0.5)]
    start = bar * BAR
    strokes = [_strum(start + EIGHTH * at, chord, how, ring, 0.014) for at, how, ring in down]
    strokes += [_strum(start + EIGHTH * at, chord[:-4:-1], how, ring, 0.01) for at, how, ring in up]
    return tuple(note for stroke in strokes for note in stroke)


CHORDS: tuple[Note, ...] = tuple(
    note for bar, chord in enumerate(OPEN_CHORDS) for note in _strummed(bar, chord)
)
# Eighths of the line, semitones above the low E, and eighths that the note is left to ring.
_LINE = (
    (0, 29, 5), (2, 27, 3), (3, 24, 4), (5, 22, 3), (6, 24, 6), (8, 27, 3), (9, 29, 4),
    (11, 32, 5), (13, 31, 3), (14, 27, 6), (16, 34, 5), (18, 32, 3), (19, 29, 3), (20, 27, 4),
    (22, 24, 5), (24, 26, 3), (25, 29, 3), (26, 31, 5), (28, 24, 4), (30, 20, 4),
)  # fmt: skip
LEAD: tuple[Note, ...] = tuple(
    (EIGHTH * at, pitch, 0.8 + 0.2 * (at % 2 == 0), EIGHTH * long * 1.6)
    for at, pitch, long in _LINE
)
_MUTED_LOW = (5, 5, 8, 5, 3, 3, 10, 8)


def _chugged(at: int) -> tuple[Note, ...]:
    """What a sixteenth of the muted take holds: a low note, a stab, or a stroke on dead strings."""
    start, low = at * EIGHTH / 2, _MUTED_LOW[at // 8]
    if at % 8 == 3:
        return _strum(start, (low + 12, low + 19, low + 24), 0.8, 0.3, 0.008)
    if at % 4 == 2:
        return _strum(start, (0, 5, 10, 15), 0.6, 0.08, 0.004)
    return ((start, low, 1.0 if at % 4 == 0 else 0.7, 0.3),)


MUTED: tuple[Note, ...] = tuple(note for at in range(64) for note in _chugged(at))


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


def make_take(
    notes: tuple[Note, ...], seconds: float, softened_hz: float | None = None
) -> NDArray[np.int16]:
    """All notes at 16 bits, peak at -3 dBFS.

    Parameters
    ----------
    notes : tuple of Note
    seconds : float
        Length; what still rings then is faded out.
    softened_hz : float, optional
        Above here it falls by 12 dB an octave, as a plectrum and a wound string have it.

    Returns
    -------
    ndarray, shape (n,)
    """
    mix = np.zeros(round(SAMPLE_RATE_HZ * seconds))
    for seed, (onset_s, semitones, strength, sustain_s) in enumerate(notes):
        start = round(onset_s * SAMPLE_RATE_HZ)
        note = pluck(semitones, strength, sustain_s, seed)[: mix.size - start]
        mix[start : start + note.size] += note
    if softened_hz is not None:
        mix = sosfilt(butter(2, softened_hz, fs=SAMPLE_RATE_HZ, output="sos"), mix)
    mix *= np.minimum(1.0, np.arange(mix.size)[::-1] / (0.05 * SAMPLE_RATE_HZ))
    scaled = mix / np.abs(mix).max() * 32767 * 10 ** (-3 / 20)
    return np.asarray(np.round(scaled), dtype=np.int16)


SOFTENED_HZ = 4000.0
TAKES: dict[str, tuple[Any, ...]] = {
    "string": (STRING, STRING_SECONDS),
    "chords": (CHORDS, BARS_SECONDS, SOFTENED_HZ),
    "lead": (LEAD, BARS_SECONDS, SOFTENED_HZ),
    "muted": (MUTED, BARS_SECONDS, SOFTENED_HZ),
}

if __name__ == "__main__":
    for name, take in TAKES.items():
        out = Path(sys.argv[1]) / f"{name}.flac"
        soundfile.write(out, make_take(*take), SAMPLE_RATE_HZ, "PCM_16", format="FLAC")
