"""A clipping stage on paper: its static curve, its knee, and the filters round it.

A stage is: pre-emphasis (first-order high-pass), a memoryless curve, and a
first-order low-pass. Its input resistance and capacitance load the guitar.
"""

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.cubic import monotone_cubic
from presolder.models.decibels import amplitude
from presolder.models.errors import InputError
from presolder.models.instrument.dirt import Curve, Dirt, DirtKind
from presolder.models.typing import Array, ComplexArray

_KNEE_DB = 1.0
# A pair of small silicon signal diodes behind a few kilohms; typical, from memory.
DIODE_SOURCE_OHMS = 4.7e3
DIODE_SATURATION_AMPERES = 2.5e-9
DIODE_SLOPE_VOLTS = 1.75 * 0.02585  # ideality times thermal voltage at 300 K
# Where on its tanh a lopsided curve starts.
LOPSIDED_BIAS = 0.35


def static_curve(kind: DirtKind | Curve, volts: ArrayLike) -> Array:
    """Output of the clipping curve for an input held still.

    Parameters
    ----------
    kind : str or Curve
        The stage's kind.
    volts : array_like
        Input, any shape.

    Returns
    -------
    ndarray of float
        Same shape, with a small-signal gain of 1 at zero.

    Notes
    -----
    ``smooth``: tanh v. ``lopsided``, ``lopsided-10k``: (tanh(v + b) - tanh b) / (1 -
    tanh^2 b). ``diodes``: the v that solves Shockley's equation for both diodes
    and the resistor, v_in = v + 2 R I_s sinh(v / (n V_T)), by Newton's method;
    scaled by its gain at zero, which is 1 to within R over the diodes' leakage.
    One's own: a cubic without overshoot through its points, level beyond them.

    Raises
    ------
    InputError
        If a curve of one's own is level at 0.
    """
    x = np.asarray(volts, dtype=np.float64)
    match kind:
        case "smooth":
            return np.asarray(np.tanh(x), dtype=np.float64)
        case "lopsided" | "lopsided-10k":
            rest = np.tanh(LOPSIDED_BIAS)
            return np.asarray(
                (np.tanh(x + LOPSIDED_BIAS) - rest) / (1.0 - rest**2), dtype=np.float64
            )
        case "diodes":
            return diode_volts(x) * (1.0 + diode_pair()[0] / DIODE_SLOPE_VOLTS)
        case Curve():
            return _through_points(kind, x)


def _through_points(curve: Curve, volts: Array) -> Array:
    given, out = np.array(curve.points, dtype=np.float64).T
    small = 1e-6 * min(-given[0], given[-1])
    low, rest, high = monotone_cubic(given, out, np.array([-small, 0.0, small]))
    slope = (high - low) / (2.0 * small)
    if not slope > 0:
        raise InputError(f"{curve.name}: is level at 0 V, and lets nothing through")
    within = np.clip(volts, given[0], given[-1])
    shaped = monotone_cubic(given, out, within.ravel()).reshape(within.shape)
    return np.asarray((shaped - rest) / slope, dtype=np.float64)


def diode_pair() -> tuple[float, float]:
    """Volts by which both diodes' saturation current moves their resistor, and their slope."""
    return 2.0 * DIODE_SOURCE_OHMS * DIODE_SATURATION_AMPERES, DIODE_SLOPE_VOLTS


def diode_volts(volts: ArrayLike) -> Array:
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
    scale, slope_volts = diode_pair()
    # From above, where the function is convex, Newton's method cannot overshoot.
    across = np.minimum(size, slope_volts * np.arcsinh(size / scale))
    for _ in range(50):
        excess = across + scale * np.sinh(across / slope_volts) - size
        slope = 1.0 + scale / slope_volts * np.cosh(across / slope_volts)
        change = excess / slope
        across = across - change
        if np.all(np.abs(change) <= 1e-15 * (1.0 + across)):
            break
    return np.asarray(np.copysign(across, source), dtype=np.float64)


def knee_volts(kind: DirtKind | Curve) -> float:
    """Input at which the curve falls 1 dB below a straight line, on its earlier side.

    Raises
    ------
    InputError
        If it falls so far nowhere between 1 mV and 10 V.
    """
    size = np.geomspace(1e-3, 10.0, 40_001)
    with np.errstate(divide="ignore"):
        fall_db = np.minimum(
            *(
                20.0 * np.log10(np.abs(static_curve(kind, side * size)) / size)
                for side in (1.0, -1.0)
            )
        )
    if not -fall_db[-1] > _KNEE_DB > -fall_db[0]:
        raise InputError(f"{kind}: does not begin to bend between 1 mV and 10 V")
    return float(np.interp(_KNEE_DB, np.maximum.accumulate(-fall_db), size))


def driven_volts(dirt: Dirt) -> float:
    """Peak at the curve of the loudest second at dial 10: the drive, counted from the knee."""
    return float(knee_volts(dirt.kind) * amplitude(dirt.drive_db))


def first_order_gain(dirt: Dirt, frequency_hz: ArrayLike) -> tuple[ComplexArray, ComplexArray]:
    """Analogue response of the high-pass before and the low-pass after the curve."""
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    before = np.asarray(1j * frequency / (dirt.pre_hz + 1j * frequency), dtype=np.complex128)
    after = np.asarray(dirt.post_hz / (dirt.post_hz + 1j * frequency), dtype=np.complex128)
    return before, after
