"""The kinds of array that numbers are kept in, and giving back the memory they took.

Shapes and units stand with whoever owns an array.
"""

import ctypes
import sys

import numpy as np
import numpy.typing as npt

# Quantities that are reckoned with.
FloatArray = npt.NDArray[np.float64]

# Places of things: which branch, which point, which draw.
IntArray = npt.NDArray[np.int64]

# What holds and what does not.
BoolArray = npt.NDArray[np.bool_]

# Predictions that are kept: microvolts of 12 V, in half the memory.
StoredArray = npt.NDArray[np.float32]

# Resistances seen from a point, known to a thousandth: a test lamp needs no more.
HalfArray = npt.NDArray[np.float16]

# Whole numbers whose sums are the same in any order.
CountArray = npt.NDArray[np.int32]

# Small numbers: thousands of points keep one for each branch.
StepArray = npt.NDArray[np.int8]


def give_back() -> None:
    """Have the C library give freed memory back to the system, where it can.

    It keeps what it may need again: of a sedan worked out a third of all (measured).
    """
    if sys.platform == "linux":
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)
