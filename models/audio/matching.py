"""Fair levels for comparing files: one shared gain, or equal loudness."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from presolder.models.audio.loudness import hop_powers, integrated_loudness, loudest_lufs
from presolder.models.decibels import decibels

PEAK_DBFS = -1.0
# So much louder than the take's own loudest moment dirt may be, or one setting of the volume
# would not serve both.
DIRT_OVER_CLEAN_LU = 3.0


@dataclass(frozen=True)
class Level:
    """Sample peak in dBFS, and loudness in LUFS before matching; None where there is none."""

    peak_db: float
    loudness_lufs: float | None


def measure(audio: NDArray[np.floating], sample_rate_hz: float) -> Level:
    """Peak and loudness of audio, shape (channels, n).

    Loudness is measured with the peak brought to full scale and stated for
    the audio as it is: the absolute gate of -70 LUFS would otherwise leave
    parts of a quiet file out that count once it has been made louder.
    """
    samples = np.asarray(audio, dtype=np.float64)
    peak = np.abs(samples).max(initial=0.0)
    if peak == 0.0:
        return Level(-np.inf, None)
    peak_db = float(decibels(peak))
    loudness_lufs = integrated_loudness([samples / peak], sample_rate_hz)
    return Level(peak_db, None if loudness_lufs is None else loudness_lufs + peak_db)


def shared_gain_db(peaks_db: Iterable[float]) -> float:
    """The one gain that puts the loudest peak of all files at -1 dBFS.

    It is 0 if all of them are silent.
    """
    loudest = max(peaks_db)
    return PEAK_DBFS - loudest if np.isfinite(loudest) else 0.0


def clean_lufs(take: NDArray[np.floating], sample_rate_hz: float) -> float:
    """Loudness of a take's loudest 400 ms with its peak at -1 dBFS, shape (channels, n)."""
    samples = np.asarray(take, dtype=np.float64)
    peak = max(float(samples.max()), -float(samples.min()))
    powers = hop_powers([samples], sample_rate_hz)
    return loudest_lufs(powers) + PEAK_DBFS - float(decibels(peak))


def matching_gains_db(levels: list[Level]) -> list[float | None]:
    """Gains that make all files equally loud, as loud as fits below -1 dBFS.

    Parameters
    ----------
    levels : list of Level
        One a file.

    Returns
    -------
    list of float or None
        None for files silent or too short to have a loudness.
    """
    loud = [level for level in levels if level.loudness_lufs is not None]
    if not loud:
        return [None] * len(levels)
    target = min((x.loudness_lufs or 0.0) - x.peak_db + PEAK_DBFS for x in loud)
    return [None if x.loudness_lufs is None else target - x.loudness_lufs for x in levels]
