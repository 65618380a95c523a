"""What a batch of games amounts to: how often right, how fast, how honest.

Leaves the playing to `playing` and the printing to the command line.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.trial.playing import Game

CALIBRATION_EDGES = (0.0, 0.1, 0.3, 0.5, 0.7, 0.85, 0.95, 1.0)
LEAST_PROBABILITY = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Bucket:
    """Claims of about one probability, and how often they held.

    Parameters
    ----------
    low, high : float
        Bounds of the claimed probability.
    claimed, held : float
        Mean claim and share that held.
    """

    low: float
    high: float
    count: int
    claimed: float
    held: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """One group of games.

    Parameters
    ----------
    first_right, first_three, all_in_three : float
        Share of games in which, when the first repair is advised, a hidden cause is
        named first, one is in the first three lines, all are in the first three lines.
    readings, minutes : float
        Means to the end of the diagnosis; minutes include repairs. [1], [min]
    wrong_repairs : float
        Mean number of repairs of sound parts.
    """

    name: str
    games: int
    first_right: float
    first_three: float
    all_in_three: float
    readings: float
    minutes: float
    wrong_repairs: float
    fixed: float


def score(name: str, games: Sequence[Game]) -> Score:
    """Return the figures of a group of games.

    Raises
    ------
    ValueError
        If there are none.
    """
    if not games:
        raise ValueError(f"no games in {name}")
    return Score(
        name=name,
        games=len(games),
        first_right=float(np.mean([game.first_rank == 1 for game in games])),
        first_three=float(np.mean([0 < game.first_rank <= 3 for game in games])),
        all_in_three=float(np.mean([0 < game.last_rank <= 3 for game in games])),
        readings=float(np.mean([game.readings for game in games])),
        minutes=float(np.mean([game.minutes for game in games])),
        wrong_repairs=float(np.mean([game.wrong_repairs for game in games])),
        fixed=float(np.mean([game.is_fixed for game in games])),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakSpot:
    """Games that have something in common, and how many of them went wrong.

    Parameters
    ----------
    name : str
        What they have in common.
    games, failed : int
    """

    name: str
    games: int
    failed: int


def is_failed(game: Game) -> bool:
    """Return whether no hidden cause was named first, or the car was not mended."""
    return game.first_rank != 1 or not game.is_fixed


def weak_spots(
    games: Sequence[Game], names: Callable[[Game], Collection[str]]
) -> tuple[WeakSpot, ...]:
    """Return where games fail, most failures first.

    Parameters
    ----------
    names : Callable
        What a game is counted under; it may be several names.
    """
    played: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    for game in games:
        found = set(names(game))
        played.update(found)
        if is_failed(game):
            failed.update(found)
    spots = [
        WeakSpot(name=name, games=played[name], failed=count)
        for name, count in failed.items()
    ]
    return tuple(sorted(spots, key=lambda s: (-s.failed, -s.failed / s.games, s.name)))


def calibration(claims: FloatArray, held: FloatArray) -> tuple[Bucket, ...]:
    """Return how often claims of each size held.

    Parameters
    ----------
    claims : FloatArray
        Probabilities, shape (n_claims,).
    held : FloatArray
        1 where the claim held, shape (n_claims,).
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
