"""Types of the flat records that the tick path works on."""

from array import array
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

IntRecord: TypeAlias = "array[int]"
# An array where compiled, a plain list where not: indexing is all that is ever done to it.
FloatRecord: TypeAlias = NDArray[np.float64]
