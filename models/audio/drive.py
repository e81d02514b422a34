"""Setting a clipping stage's drive by the loudest second of what reaches it."""

from collections.abc import Iterable
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


@dataclass(frozen=True)
class LoudestSecond:
    """Peak and RMS of the loudest second of a signal."""

    peak: float
    rms: float


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
    signal = np.concatenate(list(filtered), axis=1)
    pad = -signal.shape[1] % hop
    hops = np.pad(signal, ((0, 0), (0, pad))).reshape(len(signal), -1, hop)
    energy = np.square(hops).sum(axis=-1)
    window = np.ones(min(10, hops.shape[1]))
    second = np.array([np.convolve(row, window, mode="valid") for row in energy])
    channel, start = np.unravel_index(np.argmax(second), second.shape)
    chosen = hops[channel, start : start + window.size]
    samples = min(window.size * hop, signal.shape[1])
    rms = float(np.sqrt(second[channel, start] / samples))
    return LoudestSecond(float(np.abs(chosen).max()), rms)
