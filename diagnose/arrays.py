"""The kinds of array that numbers are kept in.

Shapes and units stand with whoever owns an array.
"""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
StoredArray = npt.NDArray[np.float32]
"""Predictions that are kept: microvolts of 12 V, in half the memory."""
HalfArray = npt.NDArray[np.float16]
"""Resistances seen from a point, known to a thousandth: a test lamp needs no more."""
CountArray = npt.NDArray[np.int32]
"""Whole numbers whose sums are the same in any order."""
StepArray = npt.NDArray[np.int8]
"""Small numbers: thousands of points keep one for each branch."""
