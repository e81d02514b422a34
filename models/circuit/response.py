"""The analogue transfer function: what the circuit does to a steady sine."""

from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.circuit.assembly import Descriptor
from presolder.models.circuit.wave import wave_weights
from presolder.models.typing import ComplexArray

# Bounds the memory of one batched solve: 4,000 matrices of 20 x 20 complex
# numbers are 26 MB.
_BATCH = 4_000


def transfer(
    descriptor: Descriptor,
    frequency_hz: ArrayLike,
    dial: ArrayLike,
    *,
    from_string: bool = False,
) -> ComplexArray:
    """Transfer function from the pickup's EMF to the output.

    Parameters
    ----------
    descriptor : Descriptor
        The circuit.
    frequency_hz : array_like, shape (f,)
        Frequencies above zero.
    dial : array_like, shape (d,)
        Dial positions 0-10.
    from_string : bool
        From the wave on a string at the bridge instead, which each pickup
        takes up at its place; otherwise all have the same EMF.

    Returns
    -------
    ndarray of complex, shape (d, f)
        Volts out per volt of EMF.

    Notes
    -----
    Solves (sE - A) z = B at s = j 2 pi f for every pair, with LAPACK.
    """
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    s = 2j * np.pi * frequency
    if from_string:
        drive = (descriptor.drive @ wave_weights(descriptor.wave_seconds, frequency)).T
    else:
        drive = np.broadcast_to(descriptor.common_drive, (s.size, descriptor.size))
    systems = descriptor.system(dial)
    response = np.empty((systems.shape[0], s.size), dtype=np.complex128)
    many = min(s.size, _BATCH)
    few = max(1, _BATCH // many)
    for first, start in product(range(0, systems.shape[0], few), range(0, s.size, many)):
        here = np.s_[first : first + few, start : start + many]
        pencil = s[here[1], None, None] * descriptor.mass - systems[here[0], None]
        unknowns = np.linalg.solve(pencil, drive[here[1], :, None])
        response[here] = unknowns[..., descriptor.output, 0]
    return response
