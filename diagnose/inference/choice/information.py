"""How much information a reading is expected to give about what to mend.

Works on joints (`joints`). Leaves minutes to `reading_worth`.
"""

from __future__ import annotations

from collections.abc import Sequence

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


class SharedInformation:
    """What steps tell of one another, all beside one of them at once.

    Parameters
    ----------
    chances : Sequence[FloatArray]
        Chance of each outcome of a step under each particle, shape (n_outcomes,
        n_particles) each; each particle sums to 1. At least one step. [1]
    share : FloatArray
        Of the particles, shape (n_particles,); sums to 1. [1]

    Notes
    -----
    The mutual information of the outcomes of two steps over that of the second with an
    independent repeat of itself. What the meter errs by is in neither.

    Examples
    --------
    >>> blown = np.array([[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 1.0, 1.0]])
    >>> live = np.array([[1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0]])
    >>> SharedInformation([blown, live], np.full(4, 0.25)).told_by(0).round(2).tolist()
    [1.0, 0.31]
    """

    def __init__(self, chances: Sequence[FloatArray], share: FloatArray) -> None:
        self._chances = chances
        sizes = [len(one) for one in chances]
        self._starts = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int64)
        every = np.concatenate(chances)
        self._weighed = (every * share).T
        self._unsure = self._summed(_surprise(every @ share))
        # each with an independent repeat of itself
        twice = [
            _surprise(one @ self._weighed[:, start : start + len(one)]).sum()
            for one, start in zip(chances, self._starts.tolist(), strict=True)
        ]
        self._own = 2.0 * self._unsure - np.array(twice)

    def told_by(self, first: int) -> FloatArray:
        """Return how much of what each step tells one of them has told already.

        Parameters
        ----------
        first : int
            Which.

        Returns
        -------
        FloatArray
            1 where that tells as much of a step as the step taken twice tells of
            itself, 0 where it tells nothing; 1 where the step tells nothing either,
            shape (n_steps,). [1]
        """
        both = _surprise(self._chances[first] @ self._weighed).sum(axis=0)
        shared = self._unsure[first] + self._unsure - self._summed(both)
        tells = self._own > LEAST_OWN_BITS
        result = np.ones(len(self._own))
        result[tells] = np.minimum(shared[tells] / self._own[tells], 1.0)
        return result

    def _summed(self, values: FloatArray) -> FloatArray:
        """Return the sums over the outcomes of each step, shape (n_steps,)."""
        return np.asarray(np.add.reduceat(values, self._starts))


def _surprise(probabilities: FloatArray) -> FloatArray:
    """Return what each outcome adds to the entropy, same shape. [bit]."""
    safe = np.where(probabilities > 0.0, probabilities, 1.0)
    return np.asarray(-safe * np.log2(safe))


def _entropy(probabilities: FloatArray) -> FloatArray:
    return over_groups(_surprise(probabilities))
