"""Running audio through a clipping stage without audible aliasing.

The curve runs at eight times the audio rate on a band-limited interpolation, and
is averaged between those samples by first-order antiderivative antialiasing
(Parker, Zavalishin and Le Bivic, DAFx-16). The half-sample delay and the
droop of that average are undone, and the low-pass applied as an analogue
one, in the spectrum on the way back down: the stage adds no latency.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.audio.curves import first_order_gain, knee_volts, static_curve
from presolder.models.audio.drive import pre_emphasis
from presolder.models.audio.emf import band_limit
from presolder.models.audio.overlap import windowed
from presolder.models.audio.sections import through_sections
from presolder.models.audio.shaper import shape_averaged
from presolder.models.decibels import amplitude
from presolder.models.instrument.dirt import Dirt
from presolder.models.typing import Array

OVERSAMPLING = 8
_WINDOW = 1 << 13
# Reach of the interpolation kernels at the audio rate; past it they are below -120 dB.
_MARGIN = 1 << 10
# The table reaches this far past the peak of the loudest second.
_TABLE_REACH_DB = 18.0
_NODES_PER_KNEE = 100


@dataclass(frozen=True, eq=False)
class CurveTable:
    """A static curve and its antiderivative on evenly spaced nodes."""

    first: float
    step: float
    curve: Array
    integral: Array


def tabulate(dirt: Dirt) -> CurveTable:
    """Tabulate a stage's curve as far as its drive needs.

    Parameters
    ----------
    dirt : Dirt
        The stage.

    Returns
    -------
    CurveTable
        The antiderivative is zero at zero, where rounding matters most.
    """
    knee = knee_volts(dirt.kind)
    reach = knee * amplitude(dirt.drive_db + _TABLE_REACH_DB)
    half = int(np.ceil(reach / knee * _NODES_PER_KNEE))
    step = knee / _NODES_PER_KNEE
    nodes = np.arange(-half, half + 1) * step
    curve = static_curve(dirt.kind, nodes)
    slope = np.gradient(curve, step)
    # Trapezoids with the Euler-Maclaurin end correction: exact for cubics.
    pieces = 0.5 * step * (curve[1:] + curve[:-1]) + step**2 / 12.0 * (slope[:-1] - slope[1:])
    integral = np.concatenate([[0.0], np.cumsum(pieces)])
    return CurveTable(-half * step, step, curve, integral - integral[half])


def clipped(
    blocks: Iterable[Array], sample_rate_hz: float, dirt: Dirt, volts_per_unit: float
) -> Iterator[Array]:
    """Stream audio through a clipping stage.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The control chain's output.
    sample_rate_hz : float
        Sample rate.
    dirt : Dirt
        The stage.
    volts_per_unit : float
        Volts at the curve for a sample value of 1.

    Yields
    ------
    ndarray, shape (channels, n)
        Sample-aligned; as many samples in all. Independent of block lengths.
    """
    table = tabulate(dirt)
    bins = np.linspace(0.0, 0.5 * sample_rate_hz, _WINDOW // 2 + 1)
    up = band_limit(bins, sample_rate_hz) * OVERSAMPLING
    # What the average does to a signal too small to clip: the mean of two fine
    # samples, which is a delay of half a step and a cosine.
    half_step = np.pi * bins / (sample_rate_hz * OVERSAMPLING)
    average = np.cos(half_step) * np.exp(-1j * half_step)
    level = amplitude(dirt.level_db)
    down = level * band_limit(bins, sample_rate_hz) * first_order_gain(dirt, bins)[1]
    down /= average * OVERSAMPLING
    emphasis = pre_emphasis(dirt, sample_rate_hz)
    emphasis[:, :3] *= volts_per_unit
    emphasised = through_sections(blocks, emphasis)
    for window, count in windowed(emphasised, _WINDOW, _MARGIN, _MARGIN):
        fine = np.fft.irfft(np.fft.rfft(window) * up, _WINDOW * OVERSAMPLING)
        shaped = np.empty_like(fine)
        for channel, into in zip(fine, shaped, strict=True):
            shape_averaged(
                table.integral, table.curve, table.first, table.step, channel[-1], channel, into
            )
        spectrum = np.fft.rfft(shaped)[:, : bins.size] * down
        yield np.fft.irfft(spectrum, _WINDOW)[:, _MARGIN : _MARGIN + count].copy()
