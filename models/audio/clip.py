"""Running audio through a clipping stage without audible aliasing.

The curve runs at eight times the audio rate on a band-limited interpolation, and
is averaged round each of those samples by second-order antiderivative
antialiasing (Parker, Zavalishin and Le Bivic, DAFx-16: the triangular kernel).
The droop of that average is undone, and the low-pass applied as an analogue
one, in the spectrum on the way back down: the stage adds no latency. A curve
that is not odd makes direct voltage, which is blocked as a real stage's output
capacitor would.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from presolder.models.audio.drive import first_order_high_pass, pre_emphasis
from presolder.models.audio.emf import BAND_LIMIT_REACH, band_limit
from presolder.models.audio.overlap import windowed
from presolder.models.audio.sections import through_sections
from presolder.models.audio.static_curves import first_order_gain, knee_volts, static_curve
from presolder.models.core import shape_averaged
from presolder.models.decibels import amplitude
from presolder.models.instrument.dirt import Dirt
from presolder.models.typing import Array, ComplexArray

OVERSAMPLING = 8
WINDOW = 1 << 13
# The table reaches this far past the peak of the loudest second.
_TABLE_REACH_DB = 18.0
_NODES_PER_KNEE = 100
# From here on tanh is level to the last bit, and so is what lies past a table's end.
_LEVEL_VOLTS = 20.0
# Half a knee; see `shape_averaged`.
_SHORT_NODES = 50
# Well below the lowest string.
DC_BLOCK_HZ = 10.0


@dataclass(frozen=True, eq=False)
class CurveTable:
    """A static curve, its antiderivative and that one's on evenly spaced nodes, shape (3, k)."""

    first: float
    step: float
    curves: Array

    @property
    def short(self) -> float:
        """Lines shorter than this are integrated; see `shape_averaged`."""
        return _SHORT_NODES * self.step


def tabulate(dirt: Dirt) -> CurveTable:
    """Tabulate a stage's curve as far as its drive needs.

    Parameters
    ----------
    dirt : Dirt
        The stage.

    Returns
    -------
    CurveTable
        The antiderivatives are zero at zero, where rounding matters most.
    """
    knee = knee_volts(dirt.kind)
    reach = knee * amplitude(dirt.drive_db + _TABLE_REACH_DB)
    if dirt.kind != "diodes":
        reach = min(reach, _LEVEL_VOLTS)
    half = int(np.ceil(reach / knee * _NODES_PER_KNEE))
    step = knee / _NODES_PER_KNEE
    nodes = np.arange(-half, half + 1) * step
    curve = static_curve(dirt.kind, nodes)
    slope = np.gradient(curve, step)
    once = _summed(curve, slope, step)
    twice = _summed(once, curve, step)
    return CurveTable(-half * step, step, np.array([curve, once, twice]))


def _summed(values: Array, slopes: Array, step: float) -> Array:
    """The antiderivative of values with these slopes, zero at the middle node.

    Trapezoids with the Euler-Maclaurin end correction: exact for cubics.
    """
    pieces = 0.5 * step * (values[1:] + values[:-1]) + step**2 / 12.0 * (slopes[:-1] - slopes[1:])
    integral = np.concatenate([[0.0], np.cumsum(pieces)])
    return np.asarray(integral - integral[values.size // 2], dtype=np.float64)


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

    Returns
    -------
    iterator of ndarray, shape (channels, n)
        Sample-aligned; as many samples in all. Independent of block lengths.
    """
    table = tabulate(dirt)
    up, down = up_response(sample_rate_hz), down_response(dirt, sample_rate_hz)
    emphasis = pre_emphasis(dirt, sample_rate_hz)
    emphasis[:, :3] *= volts_per_unit
    emphasised = through_sections(blocks, emphasis)
    shaped = _shaped(emphasised, table, up, down)
    return through_sections(shaped, first_order_high_pass(DC_BLOCK_HZ, sample_rate_hz))


def _bins(sample_rate_hz: float) -> Array:
    return np.linspace(0.0, 0.5 * sample_rate_hz, WINDOW // 2 + 1)


def up_response(sample_rate_hz: float) -> Array:
    """What makes the fine samples, at the bins of a window of `WINDOW`."""
    return band_limit(_bins(sample_rate_hz), sample_rate_hz) * OVERSAMPLING


def down_response(dirt: Dirt, sample_rate_hz: float) -> ComplexArray:
    """What makes samples of them again, with the low-pass after the curve and its level."""
    bins = _bins(sample_rate_hz)
    # What the average does to a signal too small to clip: a sixth, two thirds and a sixth of
    # three fine samples.
    turn = 2.0 * np.pi * bins / (sample_rate_hz * OVERSAMPLING)
    average = (2.0 + np.cos(turn)) / 3.0
    down = band_limit(bins, sample_rate_hz) * first_order_gain(dirt, bins)[1]
    return np.asarray(amplitude(dirt.level_db) * down / (average * OVERSAMPLING))


def _shaped(
    blocks: Iterable[Array], table: CurveTable, up: Array, down: ComplexArray
) -> Iterator[Array]:
    """Through the curve: to the fine rate and back, window by window."""
    bins = WINDOW // 2 + 1
    for window, count in windowed(blocks, WINDOW, BAND_LIMIT_REACH, BAND_LIMIT_REACH):
        fine = np.fft.irfft(np.fft.rfft(window) * up, WINDOW * OVERSAMPLING)
        shaped = np.empty_like(fine)
        for channel, into in zip(fine, shaped, strict=True):
            shape_averaged(table.curves, table.first, table.step, table.short, channel, into)
        spectrum = np.fft.rfft(shaped)[:, :bins] * down
        yield np.fft.irfft(spectrum, WINDOW)[:, BAND_LIMIT_REACH : BAND_LIMIT_REACH + count].copy()
