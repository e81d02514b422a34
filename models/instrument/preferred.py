"""Preferred values of resistors and capacitors, IEC 60063."""

import numpy as np

from presolder.models.errors import InputError
from presolder.models.typing import Array

# Up to E24 the standard's values are not what rounding powers of ten would
# give (3.3 for 3.2, for example), so they are listed; E12 and E6 thin them out.
_E24 = np.array(
    [1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
     3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1]
)  # fmt: skip
SERIES = ("E6", "E12", "E24", "E48", "E96")


def preferred_decade(series: str) -> Array:
    """The values of one decade.

    Parameters
    ----------
    series : {"E6", "E12", "E24", "E48", "E96"}
        Name of the series.

    Returns
    -------
    ndarray
        Rising from 1.0 to below 10.

    Raises
    ------
    InputError
        If there is no such series here.

    Notes
    -----
    IEC 60063:2015. E48 and E96 are powers of 10^(1/48) and 10^(1/96) rounded
    to three figures.
    """
    if series not in SERIES:
        raise InputError(f"series {series!r} is unknown; one of {', '.join(SERIES)}")
    count = int(series[1:])
    if count <= 24:
        return _E24[:: 24 // count].copy()
    return np.asarray(np.round(10.0 ** (np.arange(count) / count), 2), dtype=np.float64)


def preferred_values(series: str, smallest: float, largest: float) -> Array:
    """All values of a series between two bounds, both included.

    Parameters
    ----------
    series : str
        As for `preferred_decade`.
    smallest, largest : float
        Bounds, above zero.

    Raises
    ------
    InputError
        If there is no such series here.
    """
    decade = preferred_decade(series)
    exponents = np.arange(np.floor(np.log10(smallest)), np.floor(np.log10(largest)) + 1)
    # Read as people write them: 1.1 times 100 is not 110 to the last bit.
    values = np.array([float(f"{value:g}e{e:.0f}") for e in exponents for value in decade])
    slack = 1e-9
    inside = (values >= smallest * (1 - slack)) & (values <= largest * (1 + slack))
    return np.asarray(values[inside], dtype=np.float64)


def nearest_preferred(value: float, series: str = "E24") -> float:
    """The value of a series nearest to this one, in ratio."""
    around = preferred_values(series, value / 2, value * 2)
    return float(around[np.argmin(np.abs(np.log(around / value)))])
