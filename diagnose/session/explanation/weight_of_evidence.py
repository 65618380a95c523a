"""What each fact weighs for a line of causes, the other facts given.

A likelihood is hardly ever zero (a slip is always possible), so a fact can be divided
out of the beliefs again. Facts from before a repair are not weighed: they tell of
another car. Leaves the words to `ranking`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.session.evidence.conclusion import Conclusion

# Likelihoods below this count as this. [1] Own choice: three hundred decibans are as
# good as a proof, and no logarithm is taken of nothing.
LEAST_LIKELIHOOD = 1e-30

# Sums of weights below this count as this, so that nothing is divided by nothing. [1]
LEAST_WEIGHT = 1e-300


def decibans(with_cause: float, without_cause: float) -> float:
    """Return the weight of evidence for a cause.

    Parameters
    ----------
    with_cause, without_cause : float
        Likelihood of the fact if the cause is present, and if it is not. [1]

    Returns
    -------
    float
        Positive where the fact speaks for the cause. [dB]

    References
    ----------
    I. J. Good, Probability and the Weighing of Evidence, 1950.

    Examples
    --------
    >>> round(decibans(0.2, 0.02), 6)
    10.0
    """
    odds_factor = max(with_cause, LEAST_LIKELIHOOD) / max(
        without_cause, LEAST_LIKELIHOOD
    )
    return float(10.0 * np.log10(odds_factor))


def without_fact(weights: FloatArray, likelihood: FloatArray) -> FloatArray:
    """Return weights with one fact left out; what the fact ruled out stays out.

    Parameters
    ----------
    weights : FloatArray
        With the fact, shape (n_rows, n_draws). [1]
    likelihood : FloatArray
        Of the fact, of the same shape. [1]

    Returns
    -------
    FloatArray
        Of the same shape; it does not sum to 1. [1]
    """
    nothing = np.zeros_like(weights)
    return np.divide(weights, likelihood, out=nothing, where=likelihood > 0.0)


def rows_without_each(conclusion: Conclusion) -> list[FloatArray]:
    """Return the weight of each row with each observation left out.

    Parameters
    ----------
    conclusion : Conclusion

    Returns
    -------
    list[FloatArray]
        One for each observation, shape (n_sets,), or (0,) for one from before the
        latest repair. They do not sum to 1: with the observation they are what is
        believed. [1]
    """
    weights = conclusion.beliefs.weights
    return [
        without_fact(weights, one).sum(axis=1)
        if noted.epoch == len(conclusion.repairs)
        else np.zeros(0)
        for noted, one in zip(conclusion.observations, conclusion.weighed, strict=True)
    ]


def weights_for(
    conclusion: Conclusion, rows: IntArray, without: Sequence[FloatArray]
) -> list[float]:
    """Return what each fact weighs for the fault sets in some rows.

    Parameters
    ----------
    conclusion : Conclusion
    rows : IntArray
        Those with a cause of a line.
    without : Sequence[FloatArray]
        As `rows_without_each` gives it.

    Returns
    -------
    list[float]
        One for each fact; zero for those from before the latest repair. [dB]
    """
    if not without:
        return []
    now = conclusion.beliefs.set_probabilities()
    believed, rest = float(now[rows].sum()), float(now.sum())
    result = []
    for weights in without:
        if not len(weights):
            result.append(0.0)
            continue
        before = float(weights[rows].sum())
        with_cause = believed / max(before, LEAST_WEIGHT)
        others_before = float(weights.sum()) - before
        without_cause = (rest - believed) / max(others_before, LEAST_WEIGHT)
        result.append(decibans(with_cause, without_cause))
    return result


def moved_belief(conclusion: Conclusion) -> float:
    """Return the share of belief that the latest observation moved.

    Parameters
    ----------
    conclusion : Conclusion
        With at least one observation, since the latest repair.

    Returns
    -------
    float
        0 where nothing moved, 1 where all did.
    """
    now = conclusion.beliefs.weights
    before = without_fact(now, conclusion.weighed[-1])
    shift = now.sum(axis=1) - before.sum(axis=1) / before.sum()
    return 0.5 * float(np.abs(shift).sum())
