"""How honest probabilities are: what was claimed against what came true."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray

# The bounds of the probabilities that claims are gathered by. [1] Own choice: finer
# near 1, where a person stops measuring and mends.
CALIBRATION_EDGES = (0.0, 0.1, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0)


# The least probability that a logarithm is taken of. [1] Own choice: no claim is worse
# than one in a million.
LEAST_PROBABILITY = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket:
    """Claims of about one probability, and how often they held.

    Parameters
    ----------
    low, high : float
        Bounds of the claimed probability. [1]
    count : int
        How many claims there are. [1]
    claimed : float
        Their mean. [1]
    held : float
        The share of them that held. [1]
    """

    low: float
    high: float
    count: int
    claimed: float
    held: float


def calibration(claims: FloatArray, held: FloatArray) -> tuple[Bucket, ...]:
    """Return how often claims of about the same probability held.

    Parameters
    ----------
    claims : FloatArray
        Probabilities, shape (n_claims,). [1]
    held : FloatArray
        1 where the claim held, else 0; shape (n_claims,). [1]
    """
    buckets = []
    for low, high in itertools.pairwise(CALIBRATION_EDGES):
        inside = (claims >= low) & ((claims < high) | (high == CALIBRATION_EDGES[-1]))
        if inside.any():
            buckets.append(
                Bucket(
                    low=low,
                    high=high,
                    count=int(inside.sum()),
                    claimed=float(claims[inside].mean()),
                    held=float(held[inside].mean()),
                )
            )
    return tuple(buckets)


def expected_calibration_error(buckets: Sequence[Bucket]) -> float:
    """Return the mean distance of claim and outcome, weighted by the number of claims.

    Examples
    --------
    >>> bucket = Bucket(low=0.5, high=0.7, count=10, claimed=0.6, held=0.5)
    >>> round(expected_calibration_error([bucket]), 3)
    0.1
    """
    total = sum(bucket.count for bucket in buckets)
    return sum(b.count * abs(b.claimed - b.held) for b in buckets) / max(total, 1)


def brier_score(claims: FloatArray, held: FloatArray) -> float:
    """Return the mean squared distance of claims and outcomes.

    Examples
    --------
    Computed by hand for five claims:

    >>> claims = np.array([0.9, 0.8, 0.7, 0.3, 0.6])
    >>> round(brier_score(claims, np.array([1.0, 1.0, 0.0, 0.0, 1.0])), 3)
    0.158
    """
    return float(np.mean((claims - held) ** 2))


def log_loss(claims: FloatArray, held: FloatArray) -> float:
    """Return the mean of -ln of the probability given to what came true. [nat].

    Examples
    --------
    >>> claims = np.array([0.9, 0.8, 0.7, 0.3, 0.6])
    >>> round(log_loss(claims, np.array([1.0, 1.0, 0.0, 0.0, 1.0])), 6)
    0.479995
    """
    safe = np.clip(claims, LEAST_PROBABILITY, 1.0 - LEAST_PROBABILITY)
    return float(-np.mean(held * np.log(safe) + (1.0 - held) * np.log(1.0 - safe)))
