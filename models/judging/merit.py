"""Figures of merit: what a bypass costs and what it keeps."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.circuit.chain import PICKUP_SIDE
from presolder.models.circuit.equations import chain_equations
from presolder.models.circuit.response import transfer
from presolder.models.decibels import decibels
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import BODY_HZ
from presolder.models.typing import Array, ComplexArray

LOAD_HZ = 1000.0
# Where a knob that is turned down is left; common practice, no source.
DIALS = np.arange(3.0, 10.0)
SHAPE_HZ = np.geomspace(100.0, 6000.0, 120)
_SPIKE_FROM_HZ = 1000.0


@dataclass(frozen=True)
class Merit:
    """Figures of one design on one rig; formulas in ``docs/figures.md``.

    Attributes
    ----------
    taper_shift_db : tuple of float
        Level at 500 Hz against bare, at each dial.
    taper_rms_db, taper_worst_db : float
        RMS and largest size of those.
    tone_rms_db : float
        How far the response's shape strays from that at dial 10.
    spike_db : float
        Largest treble excess over the shape at dial 10; at least 0.
    leftover_db : float
        Level at dial 1 against dial 10, 500 Hz.
    load_ohms : float
        Smallest impedance that the coil feeds at 1 kHz, over the dials.
    """

    taper_shift_db: tuple[float, ...]
    taper_rms_db: float
    taper_worst_db: float
    tone_rms_db: float
    spike_db: float
    leftover_db: float
    load_ohms: float


def a_weighting_power(frequency_hz: ArrayLike) -> Array:
    """Power weight of each frequency: A-weighting of IEC 61672-1, formula (E.6), as a ratio.

    Parameters
    ----------
    frequency_hz : array_like
        Any shape.

    Returns
    -------
    ndarray
        Same shape; 1 at 1 kHz.
    """

    def gain(squared: Array) -> Array:
        low = (squared + 20.598997**2) * (squared + 12194.217**2)
        middle = np.sqrt((squared + 107.65265**2) * (squared + 737.86223**2))
        return np.asarray(12194.217**2 * squared**2 / (low * middle), dtype=np.float64)

    frequency = np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray((gain(frequency**2) / gain(np.array(1e6))) ** 2, dtype=np.float64)


def merit(rig: Rig, network: Network | None, dial: Array = DIALS) -> Merit:
    """Compute every figure of a design.

    Parameters
    ----------
    rig : Rig
        The instrument and what it feeds.
    network : Network or None
        The bypass; None is the bare pot, whose taper shift is zero.
    dial : ndarray, shape (d,)
        Positions that count, above 0.

    Returns
    -------
    Merit
    """
    descriptor = chain_equations(rig, network)
    dials = np.concatenate([[10.0], dial])
    gain_db = decibels(transfer(descriptor, np.concatenate([[BODY_HZ], SHAPE_HZ]), dials))
    bare_db = decibels(transfer(chain_equations(rig, None), BODY_HZ, dial))[:, 0]
    shift_db, stray_db = shift_and_stray(gain_db, bare_db)
    taper_db, tone_db = rms_figures(shift_db, stray_db, SHAPE_HZ)
    ends_db = decibels(transfer(descriptor, BODY_HZ, np.array([1.0, 10.0])))[:, 0]
    return Merit(
        taper_shift_db=tuple(float(shift) for shift in shift_db),
        taper_rms_db=float(taper_db),
        taper_worst_db=float(np.abs(shift_db).max()),
        tone_rms_db=float(tone_db),
        spike_db=max(0.0, float(stray_db[:, SHAPE_HZ >= _SPIKE_FROM_HZ].max())),
        leftover_db=float(ends_db[0] - ends_db[1]),
        load_ohms=float(np.abs(pickup_load(rig, network, LOAD_HZ, dials)).min()),
    )


def shift_and_stray(gain_db: Array, bare_db: Array) -> tuple[Array, Array]:
    """How far level and shape move, for any number of designs at once.

    Parameters
    ----------
    gain_db : ndarray, shape (..., d + 1, f + 1)
        Gain at dial 10 and then each dial; at 500 Hz and then each frequency.
    bare_db : ndarray, shape (d,)
        Gain of the bare pot at 500 Hz.

    Returns
    -------
    shift_db : ndarray, shape (..., d)
        Level at 500 Hz against bare.
    stray_db : ndarray, shape (..., d, f)
        Shape (gain over that at 500 Hz) against the shape at dial 10.
    """
    body_db = gain_db[..., :1]
    shape_db = gain_db[..., 1:] - body_db
    return body_db[..., 1:, 0] - bare_db, shape_db[..., 1:, :] - shape_db[..., :1, :]


def rms_figures(
    shift_db: Array,
    stray_db: Array,
    frequency_hz: Array,
) -> tuple[Array, Array]:
    """Taper RMS and tone RMS, each of shape (...), from `shift_and_stray`.

    Parameters
    ----------
    shift_db : ndarray, shape (..., d)
    stray_db : ndarray, shape (..., d, f)
    frequency_hz : ndarray, shape (f,)
        Frequencies of the strays, evenly spaced on a log scale.
    """
    weight = a_weighting_power(frequency_hz)
    taper = np.sqrt(np.square(shift_db).mean(axis=-1))
    tone = np.sqrt((np.square(stray_db) @ weight).mean(axis=-1) / weight.sum())
    return np.asarray(taper, dtype=np.float64), np.asarray(tone, dtype=np.float64)


def pickup_load(
    rig: Rig, network: Network | None, frequency_hz: float, dial: Array
) -> ComplexArray:
    """Impedance that the coil feeds, its own capacitance included.

    Parameters
    ----------
    rig, network
        As for `merit`.
    frequency_hz : float
        Frequency.
    dial : ndarray, shape (d,)
        Positions.

    Returns
    -------
    ndarray of complex, shape (d,)
        Ohms.

    Notes
    -----
    From the divider V / EMF = Z / (Z + Z_coil), V at the pickup's side of the
    volume pot, other pickups being there but silent.
    """
    silent = (replace(channel, strength=0.0) for channel in rig.channels[1:])
    rig = replace(rig, channels=(rig.first, *silent))
    pickup = rig.first.pickup
    at_pickup = chain_equations(rig, network).at(PICKUP_SIDE)
    ratio = transfer(at_pickup, frequency_hz, dial)[:, 0]
    coil = 2j * np.pi * frequency_hz * pickup.inductance_henries
    if pickup.eddy_ohms is not None:
        coil = 1.0 / (1.0 / coil + 1.0 / pickup.eddy_ohms)
    impedance = (pickup.resistance_ohms + coil) * ratio / (1.0 - ratio)
    return np.asarray(impedance, dtype=np.complex128)
