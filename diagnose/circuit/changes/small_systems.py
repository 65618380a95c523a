"""Many small linear systems at once.

LAPACK spends more time starting than solving a 2 x 2 system, so small ones are
eliminated across the whole batch. No pivoting is needed for the matrices of
`base_case`: each leading minor is the determinant of a network with some of the changes
made, over that of the base case, and that is positive. It may be small, though, and
then digits are lost: the answer says where they suffice.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray

# Smallest pivot beside what it was formed from that still leaves digits enough, no
# unit. Derived: such a pivot has lost 4 of 16 digits.
LEAST_PIVOT = 1e-4

# What a pivot of zero or less is taken for, so that its loss is a number, no unit. Own
# choice: far below any pivot that is sound, far above the smallest number there is.
NO_PIVOT = 1e-200


def solve_many(
    matrices: FloatArray, right: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the solutions of many systems, and how far to trust them.

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
    loss : FloatArray
        Digits lost, as a factor to what may be lost; a solution is sound with less than
        1; shape (n_systems,).

    Examples
    --------
    >>> matrix = np.array([[2.0, 0.0], [1.0, 4.0]])[:, :, None]
    >>> solution, loss = solve_many(matrix, np.array([2.0, 5.0])[:, None, None])
    >>> solution[:, 0, 0], loss < 1.0
    (array([1., 1.]), array([ True]))
    """
    size, left = len(matrices), matrices
    diagonal = np.arange(size)
    scale = np.maximum(np.abs(left[diagonal, diagonal]), 1.0)
    # a system without digits to spare may well divide by zero; it is not sound then
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for k in range(size - 1):
            factor = left[k + 1 :, k] / left[k, k]
            left[k + 1 :, k + 1 :] -= factor[:, None] * left[k, k + 1 :]
            right[k + 1 :] -= factor[:, None] * right[k]
        for k in reversed(range(size)):
            right[k] /= left[k, k]
            right[:k] -= left[:k, k, None] * right[k]
    pivots = np.maximum(left[diagonal, diagonal], NO_PIVOT)
    scale *= LEAST_PIVOT
    scale /= pivots
    return right, np.asarray(scale.max(axis=0))
