"""Setting a dirt's drive by the loudest second of what reaches it.

By its RMS, not by its peak: takes differ in how far their peaks stand out, by 6 dB
among the bundled ones, and a dirt would be driven by as much less.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.audio.sections import through_sections
from presolder.models.instrument.dirt import Dirt
from presolder.models.typing import Array


def pre_emphasis(dirt: Dirt, sample_rate_hz: float) -> Array:
    """The high-pass before a curve; see `first_order_high_pass`."""
    return first_order_high_pass(dirt.pre_hz, sample_rate_hz)


def first_order_high_pass(corner_hz: float, sample_rate_hz: float) -> Array:
    """A high-pass as one second-order section, by the bilinear transform.

    Its corner lies so low that the transform's warping does not matter.
    """
    k = np.tan(np.pi * corner_hz / sample_rate_hz)
    section = np.array([[1.0, -1.0, 0.0, 1.0 + k, k - 1.0, 0.0]]) / (1.0 + k)
    return np.asarray(section, dtype=np.float64)


# Ordinary playing peaks at five times its RMS, 14 dB; common practice, no source.
ORDINARY_CREST = 5.0


@dataclass(frozen=True)
class LoudestSecond:
    """Peak and RMS of the loudest second of a signal."""

    peak: float
    rms: float

    @property
    def ordinary_peak(self) -> float:
        """Where ordinary playing of this RMS peaks."""
        return ORDINARY_CREST * self.rms


def loudest_second(
    blocks: Iterable[Array], sample_rate_hz: float, sections: Array | None = None
) -> LoudestSecond:
    """Find the second with the highest RMS, after filtering.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The signal.
    sample_rate_hz : float
        Sample rate.
    sections : ndarray, shape (k, 6)
        Second-order sections to filter with first; by default none.

    Returns
    -------
    LoudestSecond
        Of the louder channel; of the whole signal if it is under a second.
    """
    hop = round(0.1 * sample_rate_hz)
    filtered = blocks if sections is None else through_sections(blocks, sections)
    energies, peaks, count = [], [], 0
    for hops, samples in _hops(filtered, hop):
        energies.append(np.square(hops).sum(axis=-1))
        peaks.append(np.abs(hops).max(axis=-1))
        count += samples
    energy, peak = np.concatenate(energies, axis=1), np.concatenate(peaks, axis=1)
    window = np.ones(min(10, energy.shape[1]))
    second = np.array([np.convolve(row, window, mode="valid") for row in energy])
    channel, start = np.unravel_index(np.argmax(second), second.shape)
    rms = float(np.sqrt(second[channel, start] / min(window.size * hop, count)))
    return LoudestSecond(float(peak[channel, start : start + window.size].max()), rms)


def _hops(blocks: Iterable[Array], hop: int) -> Iterator[tuple[Array, int]]:
    """Blocks cut anew into whole hops, shape (channels, k, hop), and samples in them.

    Noughts fill the last.
    """
    rest = None
    for block in blocks:
        joined = block if rest is None else np.concatenate([rest, block], axis=1)
        whole = joined.shape[1] - joined.shape[1] % hop
        if whole:
            yield joined[:, :whole].reshape(len(joined), -1, hop), whole
        rest = joined[:, whole:].copy()
    if rest is not None and rest.shape[1]:
        padded = np.pad(rest, ((0, 0), (0, hop - rest.shape[1])))
        yield padded[:, np.newaxis], rest.shape[1]
