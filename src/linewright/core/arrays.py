"""Types of the arrays that formulas and engines pass round. Frequency is the first axis, draws the next."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complex128]
Integers: TypeAlias = NDArray[np.int64]
