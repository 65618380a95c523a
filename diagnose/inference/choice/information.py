"""How much information a reading is expected to give about what to mend.

Works on joints (`joints`). Leaves minutes to `reading_worth`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.choice.joints import over_groups


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


def _entropy(probabilities: FloatArray) -> FloatArray:
    safe = np.where(probabilities > 0.0, probabilities, 1.0)
    return -over_groups(safe * np.log2(safe))
