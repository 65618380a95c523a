"""Many small linear systems at once.

LAPACK spends more time starting than solving a 2 x 2 system, so small ones are eliminated
across the whole batch. No pivoting is needed for the matrices of `compensation`: each
leading minor is the determinant of a network with some of the changes made, and that is
positive.
"""

from __future__ import annotations

import numpy as np

from diagnose.circuit.car import FloatArray

ELIMINATED_SIZE = 10
# Measured: above this LAPACK is quicker.


def solve_many(matrices: FloatArray, right: FloatArray) -> FloatArray:
    """Return the solutions of many systems.

    Parameters
    ----------
    matrices : FloatArray
        Shape (n_systems, n, n), with positive leading minors.
    right : FloatArray
        Shape (n_systems, n, n_right).

    Examples
    --------
    >>> solve_many(np.array([[[2.0, 0.0], [1.0, 4.0]]]), np.array([[[2.0], [5.0]]]))[0, :, 0]
    array([1., 1.])
    """
    size = matrices.shape[1]
    if size > ELIMINATED_SIZE:
        return np.linalg.solve(matrices, right)
    if size == 1:
        return right / matrices
    left, right = matrices.copy(), right.copy()
    for k in range(size):
        for row in range(k + 1, size):
            factor = left[:, row, k] / left[:, k, k]
            left[:, row, k + 1 :] -= factor[:, None] * left[:, k, k + 1 :]
            right[:, row] -= factor[:, None] * right[:, k]
    for k in reversed(range(size)):
        for column in range(k + 1, size):
            right[:, k] -= left[:, k, column, None] * right[:, column]
        right[:, k] /= left[:, k, k, None]
    return right
