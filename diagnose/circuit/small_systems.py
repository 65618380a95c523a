"""Many small linear systems at once.

LAPACK spends more time starting than solving a 2 x 2 system, so small ones are
eliminated across the whole batch. No pivoting is needed for the matrices of
`linearised`: each leading minor is the determinant of a network with some of the
changes made, over that of the base, and that is positive. It may be small, though, and
then digits are lost: the answer says where they suffice.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray

LEAST_PIVOT = 1e-4
# Derived: a pivot this much smaller than what it was formed from has lost 4 of 16
# digits.


def solve_many(
    matrices: FloatArray, right: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Return the solutions of many systems, and which of them to trust.

    Parameters
    ----------
    matrices : FloatArray
        Shape (n, n, n_systems), with positive leading minors; written over.
    right : FloatArray
        Shape (n, n_right, n_systems); written over.

    Returns
    -------
    solution : FloatArray
        Shape (n, n_right, n_systems).
    is_sound : BoolArray
        Shape (n_systems,).

    Examples
    --------
    >>> matrix = np.array([[2.0, 0.0], [1.0, 4.0]])[:, :, None]
    >>> solution, is_sound = solve_many(matrix, np.array([2.0, 5.0])[:, None, None])
    >>> solution[:, 0, 0], is_sound
    (array([1., 1.]), array([ True]))
    """
    size, left = len(matrices), matrices
    diagonal = np.arange(size)
    scale = np.maximum(np.abs(left[diagonal, diagonal]), 1.0)
    # a system without digits to spare may well divide by zero; it is not sound then
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for k in range(size):
            for row in range(k + 1, size):
                factor = left[row, k] / left[k, k]
                left[row, k + 1 :] -= factor * left[k, k + 1 :]
                right[row] -= factor * right[k]
        for k in reversed(range(size)):
            for column in range(k + 1, size):
                right[k] -= left[k, column] * right[column]
            right[k] /= left[k, k]
    pivots = left[diagonal, diagonal]
    return right, np.asarray((pivots > LEAST_PIVOT * scale).all(axis=0))
