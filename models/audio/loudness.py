"""Integrated loudness after ITU-R BS.1770, measured in one pass over blocks.

The package that the tests compare this with needs the whole signal in memory
and half a second to import, which is why it is not used here.
"""

from collections.abc import Iterable

import numpy as np

from presolder.models.audio.sections import through_sections
from presolder.models.decibels import amplitude, power, power_decibels
from presolder.models.typing import Array

_HOP_SECONDS = 0.1
_HOPS_PER_BLOCK = 4
_ABSOLUTE_GATE_LUFS = -70.0
_RELATIVE_GATE_LU = -10.0
_OFFSET_DB = -0.691
_NEAR_PEAK, _PEAK_REACH, _PEAKS_AT_ONCE = 0.8, 16, 4096
_PEAK_TAPS = np.arange(-_PEAK_REACH, _PEAK_REACH + 1)


def _between() -> Array:
    """Taps, shape (6, 33), for quarters of a sample to either side."""
    away = _PEAK_TAPS - np.array([-0.75, -0.5, -0.25, 0.25, 0.5, 0.75])[:, np.newaxis]
    window = np.cos(0.5 * np.pi * np.clip(away / (_PEAK_REACH + 1), -1.0, 1.0)) ** 2
    return np.asarray(np.sinc(away) * window)


_BETWEEN = _between()


def k_weighting(sample_rate_hz: float) -> Array:
    """Coefficients of the K-weighting filter at any sample rate.

    Parameters
    ----------
    sample_rate_hz : float
        Sample rate.

    Returns
    -------
    ndarray, shape (2, 6)
        Second-order sections b0, b1, b2, 1, a1, a2: head shelf, then high-pass.

    Notes
    -----
    The standard prints the coefficients for 48 kHz only (ITU-R BS.1770-5,
    annex 1, tables 1 and 2). The analogue parameters that reproduce them are
    those of B. De Man, "Evaluation of implementations of the EBU R128
    loudness measurement", AES Convention 145, 2018.
    """
    gain, shelf_q, shelf_hz = (
        amplitude(3.999843853973347),
        0.7071752369554196,
        1681.974450955533,
    )
    pass_q, pass_hz = 0.5003270373238773, 38.13547087602444
    k = np.tan(np.pi * shelf_hz / sample_rate_hz)
    middle = gain**0.4996667741545416
    scale = 1.0 + k / shelf_q + k * k
    shelf = [
        (gain + middle * k / shelf_q + k * k) / scale,
        2.0 * (k * k - gain) / scale,
        (gain - middle * k / shelf_q + k * k) / scale,
        1.0,
        2.0 * (k * k - 1.0) / scale,
        (1.0 - k / shelf_q + k * k) / scale,
    ]
    k = np.tan(np.pi * pass_hz / sample_rate_hz)
    scale = 1.0 + k / pass_q + k * k
    high_pass = [
        1.0,
        -2.0,
        1.0,
        1.0,
        2.0 * (k * k - 1.0) / scale,
        (1.0 - k / pass_q + k * k) / scale,
    ]
    return np.array([shelf, high_pass])


def integrated_loudness(blocks: Iterable[Array], sample_rate_hz: float) -> float | None:
    """Gated programme loudness of mono or stereo audio.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The audio in order, full scale 1.0.
    sample_rate_hz : float
        Sample rate.

    Returns
    -------
    float or None
        Loudness in LUFS; None if the audio is shorter than one 400 ms gating
        block or nothing passes the absolute gate of -70 LUFS.
    """
    return gated_loudness(hop_powers(blocks, sample_rate_hz))


def gated_loudness(powers: Array) -> float | None:
    """Integrated loudness from what `hop_powers` measured, as `integrated_loudness`.

    Parameters
    ----------
    powers : ndarray, shape (hops,)
        Of the audio; with a gain, times its square.
    """
    if powers.size < _HOPS_PER_BLOCK:
        return None
    window = np.ones(_HOPS_PER_BLOCK) / _HOPS_PER_BLOCK
    block_powers = np.convolve(powers, window, mode="valid")
    floor = power(_ABSOLUTE_GATE_LUFS - _OFFSET_DB)
    loud = block_powers[block_powers > floor]
    if loud.size == 0:
        return None
    relative = loud.mean() * power(_RELATIVE_GATE_LU)
    return float(_OFFSET_DB + power_decibels(loud[loud > relative].mean()))


def loudest_lufs(powers: Array) -> float:
    """Loudness of the loudest 400 ms of what `hop_powers` measured; of silence, minus infinity."""
    window = np.ones(min(_HOPS_PER_BLOCK, max(powers.size, 1)))
    most = np.convolve(powers, window / window.size, mode="valid").max(initial=0.0)
    return float(_OFFSET_DB + power_decibels(most))


def true_peak(samples: Array) -> float:
    """The highest magnitude between samples too, of one channel, shape (n,).

    Notes
    -----
    At four times the rate, as ITU-R BS.1770-5, annex 2, but by a windowed sinc of
    32 taps, and only where a sample comes within 2 dB of the highest.
    """
    sizes = np.abs(samples)
    peak = float(sizes.max(initial=0.0))
    near = np.flatnonzero(sizes >= _NEAR_PEAK * peak) + _PEAK_REACH
    padded = np.pad(samples, _PEAK_REACH)
    # Of a tone or a flat top that is nearly all; some at a time need no memory.
    for first in range(0, near.size, _PEAKS_AT_ONCE):
        some = near[first : first + _PEAKS_AT_ONCE, np.newaxis]
        peak = max(peak, float(np.abs(padded[some + _PEAK_TAPS] @ _BETWEEN.T).max()))
    return peak


def hop_powers(blocks: Iterable[Array], sample_rate_hz: float) -> Array:
    """Mean square after K-weighting of each whole 100 ms, summed over channels, shape (hops,)."""
    hop = round(_HOP_SECONDS * sample_rate_hz)
    rest: Array | None = None
    powers = []
    for weighted in through_sections(blocks, k_weighting(sample_rate_hz)):
        known = weighted if rest is None else np.concatenate([rest, weighted], axis=1)
        count = known.shape[1] // hop
        hops = known[:, : count * hop].reshape(known.shape[0], count, hop)
        powers.append(np.einsum("chn,chn->h", hops, hops) / hop)
        rest = known[:, count * hop :].copy()
    return np.concatenate(powers) if powers else np.zeros(0)
