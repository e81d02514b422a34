"""The curves command's job: the analogue transfer function as CSV rows."""

import csv
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from presolder.models.circuit import describe
from presolder.models.network import Design
from presolder.models.response import decibels, transfer
from presolder.models.rig import Rig

COLUMNS = ("design", "dial", "frequency_hz", "gain_db", "phase_deg")


def write_curves(
    file: TextIO,
    rig: Rig,
    designs: tuple[Design, ...],
    dials: NDArray[np.float64],
    frequency_hz: NDArray[np.float64],
) -> None:
    """Write one row per design, dial and frequency.

    Parameters
    ----------
    file : text file
        Where to write.
    rig : Rig
        The instrument and what it feeds.
    designs : tuple of Design
        Bypass networks.
    dials : ndarray, shape (d,)
        Dial positions.
    frequency_hz : ndarray, shape (f,)
        Frequencies.

    Notes
    -----
    Gain is from the pickup's EMF to the output, ``-inf`` where the output is
    exactly silent (dial 0); phase is in -180 to 180 degrees.
    """
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(COLUMNS)
    for design in designs:
        response = transfer(describe(rig, design.network), frequency_hz, dials)
        gain_db, phase_deg = decibels(response), np.angle(response, deg=True)
        for i, dial in enumerate(dials):
            for j, frequency in enumerate(frequency_hz):
                writer.writerow(
                    (
                        design.name,
                        f"{dial:g}",
                        f"{frequency:.10g}",
                        f"{gain_db[i, j]:.6f}",
                        f"{phase_deg[i, j]:.6f}",
                    )
                )
