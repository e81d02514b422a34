"""The types of arrays, named once."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]
