"""How much information a reading is expected to give about what to mend.

Works on joints (`joints`). Leaves minutes to `reading_worth`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.choice.joints import over_groups

# A step that tells less than this of its own repeat tells nothing. [bit] Own choice: a
# thousandth, what rounding is off by.
LEAST_OWN_BITS = 0.001


def told_bits(joint: FloatArray) -> FloatArray:
    """Return the expected information about the group, when groups are a part of all.

    Parameters
    ----------
    joint : FloatArray
        Of outcome and group, shape (n_readings, n_bins, n_groups); each reading sums to
        the chance that the groups cover (at most 1), the last group being nothing to
        mend. [1]

    Returns
    -------
    FloatArray
        Shape (n_readings,). [bit]

    Notes
    -----
    H(group) - sum over outcomes of P(outcome) H(group given outcome), with H the
    entropy - sum p log2 p.

    References
    ----------
    C. E. Shannon, A Mathematical Theory of Communication, Bell System Technical Journal
    27, 1948.
    """
    outcome = over_groups(joint)
    happens = outcome > 0.0
    chance = outcome[happens]
    unsure = np.zeros_like(outcome)
    unsure[happens] = chance * _entropy(joint[happens] / chance[:, None])
    return np.asarray(_entropy(joint.sum(axis=1)) - unsure.sum(axis=1))


def mutual_bits(joint: FloatArray) -> FloatArray:
    """Return the mutual information of outcome and group.

    Parameters
    ----------
    joint : FloatArray
        Shape (n_readings, n_bins, n_groups); each reading sums to 1. [1]

    Returns
    -------
    FloatArray
        Shape (n_readings,). [bit]

    Notes
    -----
    H(outcome) + H(group) - H(outcome, group); the same as `told_bits` where the groups
    cover everything, and quicker.

    References
    ----------
    C. E. Shannon, A Mathematical Theory of Communication, Bell System Technical Journal
    27, 1948.
    """
    n_readings = len(joint)
    whole = _entropy(joint.reshape(n_readings, -1))
    return np.asarray(_entropy(joint.sum(axis=1)) + _entropy(joint.sum(axis=2)) - whole)


def shared_share(first: FloatArray, second: FloatArray, share: FloatArray) -> float:
    """Return how much of what a second step tells the first has told already.

    Parameters
    ----------
    first, second : FloatArray
        Chance of each outcome under each particle, shape (n_outcomes, n_particles);
        each particle sums to 1. [1]
    share : FloatArray
        Of the particles, shape (n_particles,); sums to 1. [1]

    Returns
    -------
    float
        1 where the first tells as much of the second as the second taken twice tells of
        itself, 0 where it tells nothing; 1 where the second tells nothing either. [1]

    Notes
    -----
    The mutual information of the two outcomes over that of the second with an
    independent repeat of itself. What the meter errs by is in neither.

    Examples
    --------
    >>> blown = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 1.0, 1.0]])
    >>> live = np.array([[1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0]])
    >>> round(shared_share(blown, live, np.full(4, 0.25)), 2)
    0.31
    >>> round(shared_share(live, live, np.full(4, 0.25)), 2)
    1.0
    """
    weighed = second * share
    both = (first @ weighed.T)[None]
    again = (second @ weighed.T)[None]
    own = float(mutual_bits(again)[0])
    if own <= LEAST_OWN_BITS:
        return 1.0
    return min(float(mutual_bits(both)[0]) / own, 1.0)


def _entropy(probabilities: FloatArray) -> FloatArray:
    safe = np.where(probabilities > 0.0, probabilities, 1.0)
    return -over_groups(safe * np.log2(safe))
