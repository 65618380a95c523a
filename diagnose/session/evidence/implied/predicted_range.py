"""The range that most of some weighted predictions lie in.

By hand, because `numpy.quantile` with weights gives the same and takes two to five
times as long for the hundred ranges an answer shows; a test compares the two.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray

# The ends of what a reading is expected to show. [1] Own choice: nine in ten lie
# between them.
TAILS = (0.05, 0.95)


def middle_range(values: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Return the middle 90 % of weighted values.

    Parameters
    ----------
    values : FloatArray
        Any shape, in the unit of a reading; over-range ohms are infinite.
    weights : FloatArray
        Of the same shape; all count alike where they sum to nothing. [1]

    Returns
    -------
    tuple[float, float]
        Two of the values, the lower first.

    Examples
    --------
    >>> middle_range(np.array([1.0, 2.0, 3.0]), np.array([0.01, 0.98, 0.01]))
    (2.0, 2.0)
    """
    order = np.argsort(values, axis=None)
    flat = values.ravel()[order]
    share = np.cumsum(weights.ravel()[order])
    if share[-1] <= 0.0:
        share = np.arange(1.0, len(flat) + 1.0)
    share = share / share[-1]
    low, high = np.searchsorted(share, TAILS)
    return float(flat[low]), float(flat[min(high, len(flat) - 1)])


def sound_range(values: FloatArray) -> tuple[float, float]:
    """Return the middle nine in ten of what sound cars show: the band called good.

    Parameters
    ----------
    values : FloatArray
        Of every draw, in the unit of a reading, shape (n_draws,).

    Returns
    -------
    tuple[float, float]
        Two of the values, the lower first.

    Examples
    --------
    >>> sound_range(np.arange(40.0))
    (2.0, 37.0)
    """
    ordered = np.sort(values)
    margin = len(ordered) // 20
    return float(ordered[margin]), float(ordered[-1 - margin])
