"""Decibels, both ways: of amplitudes and of powers."""

from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.typing import Array


def decibels(ratio: ArrayLike) -> Array:
    """20 log10 of a magnitude; minus infinity for zero, without a warning.

    Parameters
    ----------
    ratio : array_like
        Amplitudes, real or complex, any shape.

    Returns
    -------
    ndarray
        Same shape.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.abs(np.asarray(ratio))), dtype=np.float64)


def power_decibels(ratio: ArrayLike) -> Array:
    """10 log10 of a power; as `decibels`."""
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(np.asarray(ratio)), dtype=np.float64)


def amplitude(level_db: float) -> float:
    """The amplitude of a level in dB: 10^(level / 20)."""
    return float(10.0 ** (level_db / 20.0))


@overload
def power(level_db: float) -> float: ...
@overload
def power(level_db: Array) -> Array: ...
def power(level_db: float | Array) -> float | Array:
    """The power of a level in dB: 10^(level / 10)."""
    return 10.0 ** (level_db / 10.0)
