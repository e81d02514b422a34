"""Whether a take is fit for listening: where it starts, and what is wrong with it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.audio.emf import bounded
from presolder.models.circuit.equations import chain_equations, take_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import amplitude, decibels, power, power_decibels
from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.rig import Rig
from presolder.models.typing import Array

# From where on each is worth a word; common practice, no source.
SILENT_DB, _PREROLL_SECONDS, _SHORTEST_SILENCE_SECONDS = -50.0, 0.03, 0.1
_CLIPPED_RUN, _FULL_SCALE = 3, 0.999
_MOST_CLIPPED_RUNS = 3
LARGEST_DC_DB = -40.0
LARGEST_HUM_DB = -40.0
SHORTEST_SECONDS = 1.0
LARGEST_LIFT_DB = 20.0
# Two channels that differ by less than this are one; common practice, no source.
_ALIKE_DB = 60.0
_MAINS_HZ = (50.0, 60.0)
_PIECE = 1 << 18
_AUDIBLE_HZ = np.geomspace(100.0, 8000.0, 60)


def onset(samples: Array, sample_rate_hz: float) -> int:
    """Where sound sets in after silence at the start.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)
    sample_rate_hz : float

    Returns
    -------
    int
        Samples of silence to leave out, a short run-up kept; 0 where the
        silence is too short to matter.
    """
    loudest = np.abs(samples).max()
    heard = np.abs(samples).max(axis=0) > loudest * amplitude(SILENT_DB)
    return leading_silence(int(np.argmax(heard)), sample_rate_hz)


def leading_silence(first_heard: int, sample_rate_hz: float) -> int:
    """Samples to leave out before the first that is heard; see `onset`."""
    first = first_heard - round(_PREROLL_SECONDS * sample_rate_hz)
    return first if first > _SHORTEST_SILENCE_SECONDS * sample_rate_hz else 0


def sounding(samples: Array, sample_rate_hz: float) -> Array:
    """The take without the silence before and after it; arguments as for `onset`."""
    first = onset(samples, sample_rate_hz)
    last = onset(samples[:, ::-1], sample_rate_hz)
    return samples[:, first : samples.shape[1] - last]


@dataclass(frozen=True)
class Flaws:
    """What is wrong with a take; nothing, where all are at their defaults.

    Attributes
    ----------
    clipped_runs : int
        Places where several samples in a row stand at full scale, or at the
        take's own highest value.
    dc_db : float
        Mean over peak, where it is large; minus infinity else.
    hum_db : float
        Mains hum below the whole take's level, where it is strong.
    hum_hz : float
        Its frequency.
    short_s : float or None
        Length, where there is too little to judge by.
    """

    clipped_runs: int = 0
    dc_db: float = -np.inf
    hum_db: float = -np.inf
    hum_hz: float = 0.0
    short_s: float | None = None


def flaws(samples: Array, sample_rate_hz: float) -> Flaws:
    """Look a take over.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)
        Full scale is 1.
    sample_rate_hz : float
    """
    runs = sum(_clipped_runs(channel) for channel in samples)
    peak = _peak(samples)
    dc_db = float(decibels(np.abs(samples.mean(axis=1)).max() / peak))
    hum_db, hum_hz = _hum(samples, sample_rate_hz)
    seconds = samples.shape[1] / sample_rate_hz
    return Flaws(
        runs if runs >= _MOST_CLIPPED_RUNS else 0,
        dc_db if dc_db > LARGEST_DC_DB else -np.inf,
        hum_db if hum_db > LARGEST_HUM_DB else -np.inf,
        hum_hz,
        seconds if seconds < SHORTEST_SECONDS else None,
    )


def _peak(samples: Array) -> float:
    """Highest absolute value, without a copy of a long take."""
    return max(float(samples.max()), -float(samples.min()))


def _clipped_runs(channel: Array) -> int:
    """Runs of equal samples at the channel's ceiling, which clipping leaves."""
    ceiling = _peak(channel)
    if ceiling == 0:
        return 0
    high = min(ceiling, 1.0) * _FULL_SCALE
    at = np.concatenate([
        first + np.flatnonzero((piece >= high) | (piece <= -high))
        for first, piece in _pieces(channel)
    ])  # fmt: skip
    ends = np.flatnonzero(np.diff(at) > 1)
    lengths = np.diff(np.concatenate([[-1], ends, [at.size - 1]]))
    return int((lengths >= _CLIPPED_RUN).sum())


def _pieces(channel: Array) -> Iterator[tuple[int, Array]]:
    """A channel in pieces, with where each begins, so that nothing as long is made of it."""
    for first in range(0, channel.size, _PIECE):
        yield first, channel[first : first + _PIECE]


def _hum(samples: Array, sample_rate_hz: float) -> tuple[float, float]:
    """Level of the stronger mains hum against the whole, in the quietest second."""
    size = round(sample_rate_hz)
    if samples.shape[1] < 2 * size:
        return -np.inf, 0.0
    window = np.hanning(size)
    # The lines of a second's spectrum that matter, of which each is a hertz from the next.
    lines_hz = np.outer(_MAINS_HZ, (1, 2, 3)).ravel()
    # In two steps, over rows and along them, as a fast transform would.
    along = max(k for k in range(1, int(np.sqrt(size)) + 1) if size % k == 0)
    rows = np.exp(-2j * np.pi * np.outer(lines_hz, np.arange(0, size, along)) / size)
    columns = np.exp(-2j * np.pi * np.outer(lines_hz, np.arange(along)) / size)
    steps = np.concatenate([rows.real, rows.imag])
    whole, at_mains = 0.0, []
    for first in range(0, samples.shape[1] - size + 1, size):
        second = samples[:, first : first + size].mean(axis=0) * window
        # Of half the spectrum, after Parseval.
        whole += 0.5 * size * float(np.square(second).sum())
        real, imaginary = np.split(steps @ second.reshape(-1, along), 2)
        powers = np.square(np.abs(((real + 1j * imaginary) * columns).sum(axis=1)))
        at_mains.append(powers.reshape(len(_MAINS_HZ), 3).sum(axis=1))
    if not whole > 0:
        return -np.inf, 0.0
    # Steady hum is there in every second.
    steadiest = np.min(at_mains, axis=0) * len(at_mains) / whole
    most = int(np.argmax(steadiest))
    return float(power_decibels(steadiest[most])), _MAINS_HZ[most]


def largest_lift(rig: Rig) -> tuple[float, float]:
    """By how much the band is lifted that lost most on the way to the recording.

    Parameters
    ----------
    rig : Rig

    Returns
    -------
    lift_db, frequency_hz : float
        Against the level at 500 Hz, from 100 Hz to 8 kHz, with the knob at 10; what
        the chain under audition takes away again is no lift. 0 for a string take.
    """
    take = take_equations(rig)
    if take is None:
        return 0.0, 0.0
    hz = np.concatenate([[500.0], _AUDIBLE_HZ])
    stood = transfer(take, hz, rig.take.dial)[0]
    heard = transfer(chain_equations(rig.as_heard, None), hz, DIAL_MAX)[0]
    gain_db = decibels(heard / bounded(stood, heard))
    # Only what the chain does to the balance: a volume at 5 lifts all bands alike.
    lift_db = gain_db[1:] - gain_db[0]
    most = int(np.argmax(lift_db))
    return float(lift_db[most]), float(_AUDIBLE_HZ[most])


def folded(samples: Array) -> Array:
    """A recording as one channel, if its two are as good as the same.

    Parameters
    ----------
    samples : ndarray, shape (channels, n)

    Returns
    -------
    ndarray, shape (1, n) or (2, n)
        The mean of both channels, where half their difference lies 60 dB and
        more below it; else as it was.
    """
    if samples.shape[0] != 2:
        return samples
    middle, side = 0.5 * (samples[0] + samples[1]), 0.5 * (samples[0] - samples[1])
    alike = np.square(side).sum() <= power(-_ALIKE_DB) * np.square(middle).sum()
    return middle[np.newaxis] if alike else samples
