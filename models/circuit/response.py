"""The analogue transfer function: what the circuit does to a steady sine."""

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.circuit.assembly import Descriptor
from presolder.models.typing import ComplexArray

# Bounds the memory of one batched solve: 20,000 matrices of 12 x 12 complex
# numbers are 46 MB.
_BATCH = 20_000


def transfer(descriptor: Descriptor, frequency_hz: ArrayLike, dial: ArrayLike) -> ComplexArray:
    """Transfer function from the pickup's EMF to the output.

    Parameters
    ----------
    descriptor : Descriptor
        The circuit.
    frequency_hz : array_like, shape (f,)
        Frequencies above zero.
    dial : array_like, shape (d,)
        Dial positions 0-10.

    Returns
    -------
    ndarray of complex, shape (d, f)
        Volts out per volt of EMF.

    Notes
    -----
    Solves (sE - A) z = B at s = j 2 pi f for every pair, with LAPACK.
    """
    s = 2j * np.pi * np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    systems = descriptor.system(dial)
    response = np.empty((systems.shape[0], s.size), dtype=np.complex128)
    per_batch = max(1, _BATCH // s.size)
    for first in range(0, systems.shape[0], per_batch):
        some = systems[first : first + per_batch]
        pencil = s[:, None, None] * descriptor.mass - some[:, None]
        unknowns = np.linalg.solve(pencil, descriptor.drive[:, None])
        response[first : first + per_batch] = unknowns[..., descriptor.output, 0]
    return response
