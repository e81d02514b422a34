"""A soft-clipping stage after the control chain: kinds, static curves, and setting its drive.

A stage is: pre-emphasis (first-order high-pass), a memoryless curve, and a
first-order low-pass. Its input resistance and capacitance load the guitar.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from presolder.models.rig import Dirt, DirtKind, Rig
from presolder.models.sections import through_sections

_KNEE_DB = 1.0
# A pair of small silicon signal diodes behind a few kilohms; typical, from memory.
DIODE_SOURCE_OHMS = 4.7e3
DIODE_SATURATION_AMPERES = 2.5e-9
DIODE_SLOPE_VOLTS = 1.75 * 0.02585  # ideality times thermal voltage at 300 K
_BIAS = 0.35


def driven_rig(rig: Rig, dirt: Dirt) -> Rig:
    """The rig with the stage's input in place of its own.

    The take was made into the rig's own input, which is kept for un-loading it.
    """
    take = rig.take
    if take.captured == "jack":
        take = replace(
            take,
            input_ohms=rig.load.resistance_ohms if take.input_ohms is None else take.input_ohms,
            input_farads=(
                rig.load.capacitance_farads if take.input_farads is None else take.input_farads
            ),
        )
    return replace(rig, load=dirt.load, take=take)


def static_curve(kind: DirtKind, volts: ArrayLike) -> NDArray[np.float64]:
    """Output of the clipping curve for an input held still.

    Parameters
    ----------
    kind : str
        The stage's kind.
    volts : array_like
        Input, any shape.

    Returns
    -------
    ndarray of float
        Same shape, with a small-signal gain of 1 at zero.

    Notes
    -----
    ``smooth``: tanh v. ``lopsided``, ``fuzz``: (tanh(v + b) - tanh b) / (1 -
    tanh^2 b). ``diodes``: the v that solves Shockley's equation for both diodes
    and the resistor, v_in = v + 2 R I_s sinh(v / (n V_T)), by Newton's method;
    scaled by its gain at zero, which is 1 to within R over the diodes' leakage.
    """
    x = np.asarray(volts, dtype=np.float64)
    match kind:
        case "smooth":
            return np.tanh(x)
        case "lopsided" | "fuzz":
            return np.asarray(
                (np.tanh(x + _BIAS) - np.tanh(_BIAS)) / (1.0 - np.tanh(_BIAS) ** 2),
                dtype=np.float64,
            )
        case "diodes":
            return diode_volts(x) * (1.0 + 2.0 * _diode_ohm_amperes() / DIODE_SLOPE_VOLTS)


def _diode_ohm_amperes() -> float:
    return DIODE_SOURCE_OHMS * DIODE_SATURATION_AMPERES


def diode_volts(volts: ArrayLike) -> NDArray[np.float64]:
    """Voltage across an antiparallel diode pair behind its source resistor.

    Parameters
    ----------
    volts : array_like
        Source voltage, any shape.

    Returns
    -------
    ndarray of float
        Same shape.
    """
    source = np.asarray(volts, dtype=np.float64)
    size = np.abs(source)
    scale = 2.0 * _diode_ohm_amperes()
    # From above, where the function is convex, Newton's method cannot overshoot.
    across = np.minimum(size, DIODE_SLOPE_VOLTS * np.arcsinh(size / scale))
    for _ in range(50):
        excess = across + scale * np.sinh(across / DIODE_SLOPE_VOLTS) - size
        slope = 1.0 + scale / DIODE_SLOPE_VOLTS * np.cosh(across / DIODE_SLOPE_VOLTS)
        change = excess / slope
        across = across - change
        if np.all(np.abs(change) <= 1e-15 * (1.0 + across)):
            break
    return np.asarray(np.copysign(across, source), dtype=np.float64)


def knee_volts(kind: DirtKind) -> float:
    """Input at which the curve falls 1 dB below a straight line, on its earlier side."""
    size = np.geomspace(1e-3, 10.0, 40_001)
    fall_db = np.minimum(
        *(20.0 * np.log10(np.abs(static_curve(kind, side * size)) / size) for side in (1.0, -1.0))
    )
    return float(np.interp(_KNEE_DB, -fall_db, size))


def driven_volts(dirt: Dirt) -> float:
    """Peak at the curve of the loudest second at dial 10: the drive, counted from the knee."""
    return float(knee_volts(dirt.kind) * 10.0 ** (dirt.drive_db / 20.0))


def pre_emphasis(dirt: Dirt, sample_rate_hz: float) -> NDArray[np.float64]:
    """The high-pass as one second-order section, by the bilinear transform.

    Its corner lies so low that the transform's warping does not matter.
    """
    k = np.tan(np.pi * dirt.pre_hz / sample_rate_hz)
    section = np.array([[1.0, -1.0, 0.0, 1.0 + k, k - 1.0, 0.0]]) / (1.0 + k)
    return np.asarray(section, dtype=np.float64)


def first_order_gain(
    dirt: Dirt, frequency_hz: ArrayLike
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Analogue response of the high-pass before and the low-pass after the curve."""
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    before = np.asarray(1j * frequency / (dirt.pre_hz + 1j * frequency), dtype=np.complex128)
    after = np.asarray(dirt.post_hz / (dirt.post_hz + 1j * frequency), dtype=np.complex128)
    return before, after


@dataclass(frozen=True)
class LoudestSecond:
    """Peak and RMS of the loudest second of a signal."""

    peak: float
    rms: float


def loudest_second(
    blocks: Iterable[NDArray[np.float64]], sample_rate_hz: float, sections: NDArray[np.float64]
) -> LoudestSecond:
    """Find the second with the highest RMS, after filtering.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (channels, n)
        The signal.
    sample_rate_hz : float
        Sample rate.
    sections : ndarray, shape (k, 6)
        Second-order sections to filter with first.

    Returns
    -------
    LoudestSecond
        Of the louder channel; of the whole signal if it is under a second.
    """
    hop = round(0.1 * sample_rate_hz)
    signal = np.concatenate(list(through_sections(blocks, sections)), axis=1)
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
