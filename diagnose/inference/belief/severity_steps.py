"""Redrawing: severities that suit the facts, for the causes that lead.

With few draws a precise reading falls between the severities drawn for the true cause,
and the truth is ruled out. Here a cause is solved with several severities for every
tolerance draw, and what it shows in between is interpolated; for each draw one severity
is chosen by its posterior weight, and the row's prior is corrected so that the evidence
is that of all severities together. Leaves which causes lead to `session.evidence`.

A ladder is the solved severities of one cause and the steps between them. A step stands
for what lies half way to its neighbours: the steps together then leave no gap, however
precise the meter.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray, StoredArray
from diagnose.faults.predictions.predicted import Prediction
from diagnose.inference.compiled.hypotheses import Hypotheses

# How many steps a ladder has from one solved severity to the next. [1] Own choice: with
# eight solved ones 29 steps, half as many as there are draws.
STEPS_BETWEEN = 4

# From here on the severer of two solved severities is the nearer. [1] Derived.
HALF_WAY = 0.5

# By how much of a turn the levels of the draws differ. [1] Derived: the golden ratio
# less 1, whose multiples fill the range from 0 to 1 most evenly.
GOLDEN_TURN = 0.618033988749895

# The least likelihood that is divided by. [unit of the likelihood] Own choice: near the
# smallest double.
LEAST_LIKELIHOOD = 1e-300


def n_steps(n_levels: int) -> int:
    """Return how many steps a ladder has, its solved severities included.

    Parameters
    ----------
    n_levels : int
        How many severities are solved, at least two. [1]

    Returns
    -------
    int
        Number of steps. [1]
    """
    return (n_levels - 1) * STEPS_BETWEEN + 1


def step_shares(levels: Sequence[float]) -> FloatArray:
    """Return how much of a severity's probability each step of a ladder stands for.

    Parameters
    ----------
    levels : Sequence[float]
        At which the severity was solved, rising; from them the steps are even. [1]

    Returns
    -------
    FloatArray
        Half way to either neighbour, shape (n_steps,); sums to 1. [1]

    Examples
    --------
    Four steps from .2 to .4, four from .4 to .8:

    >>> shares = step_shares((0.2, 0.4, 0.8))
    >>> (shares / shares[0]).round(6).tolist()
    [1.0, 2.0, 2.0, 2.0, 3.0, 4.0, 4.0, 4.0, 2.0]
    """
    places = np.arange(n_steps(len(levels))) / STEPS_BETWEEN
    reached = np.interp(places, np.arange(len(levels)), levels)
    ends = np.concatenate([reached[:1], reached, reached[-1:]])
    apart = ends[2:] - ends[:-2]
    return np.asarray(apart / apart.sum())


def on_steps(values: FloatArray, switches: BoolArray | None = None) -> FloatArray:
    """Return what every step of a ladder shows.

    Parameters
    ----------
    values : FloatArray
        Under each solved severity, the mildest first;
        shape (n_levels, n_draws); inf where a meter shows OL. [any unit]
    switches : BoolArray or None
        Where something switches from a solved severity to the next: nothing lies
        between then, shape (n_levels - 1, n_draws); nowhere when None.

    Returns
    -------
    FloatArray
        Shape (n_steps, n_draws), the mildest first. [the same unit]

    Examples
    --------
    >>> on_steps(np.array([[1.0], [3.0]]))[:, 0]
    array([1. , 1.5, 2. , 2.5, 3. ])
    >>> on_steps(np.array([[1.0], [3.0]]), np.array([[True]]))[:, 0]
    array([1., 1., 3., 3., 3.])
    """
    low, share = _places(np.arange(n_steps(len(values))), len(values))
    first, second = values[low], values[low + 1]
    is_between = np.isfinite(first) & np.isfinite(second) & (share[:, None] > 0.0)
    if switches is not None:
        is_between &= ~switches[low]
    with np.errstate(invalid="ignore"):
        mixed = first + share[:, None] * (second - first)
    nearest = np.where(share[:, None] < HALF_WAY, first, second)
    return np.where(is_between, mixed, nearest)


def steps_of(grid: Hypotheses, state: str) -> Callable[[FloatArray], FloatArray]:
    """Return `on_steps` of what a ladder shows in a state.

    Parameters
    ----------
    grid : Hypotheses
        One row per solved severity, the mildest first.
    state : str
        Of the car.

    Returns
    -------
    Callable
        From values of the solved severities to those of every step.
    """
    return partial(on_steps, switches=grid.switches.get(state))


def _places(step: IntArray, n_levels: int) -> tuple[IntArray, FloatArray]:
    """Return the solved severity below each step, and how far above it the step is."""
    low = np.minimum(step // STEPS_BETWEEN, n_levels - 2)
    return low, step / STEPS_BETWEEN - low


def chosen_row(grid: Hypotheses, choice: IntArray, states: Sequence[str]) -> Hypotheses:
    """Return a fault set with a severity of its own in every draw.

    Parameters
    ----------
    grid : Hypotheses
        One row per solved severity, the mildest first.
    choice : IntArray
        Step for each draw, shape (n_draws,).
    states : Sequence[str]
        Names of the operating states, in the order predictions have them.

    Returns
    -------
    Hypotheses
        One row, interpolated between the solved severities.
    """
    low, share = _places(choice, len(grid.sets))
    weight, draws = share.astype(np.float32), np.arange(len(choice))
    by_state = np.stack([weight] * len(states))
    for number, state in enumerate(states):
        if state in grid.switches:
            is_switched = grid.switches[state][low, draws]
            # as `on_steps` has it
            by_state[number, is_switched] = weight[is_switched] >= HALF_WAY

    def mixed_by_state(array: npt.NDArray[Any]) -> StoredArray:
        # states, severities, draws and perhaps nodes
        first, second = (
            array[:, rows, draws].astype(np.float32) for rows in (low, low + 1)
        )
        second -= first
        second *= by_state.reshape(*by_state.shape, *[1] * (first.ndim - 2))
        second += first
        return second[:, None]

    def mixed(array: npt.NDArray[Any], axis: int) -> StoredArray:
        rows = np.moveaxis(array, (axis, axis + 1), (0, 1))
        first = rows[low, draws].astype(np.float32, copy=False)
        second = rows[low + 1, draws].astype(np.float32, copy=False)
        second -= first
        second *= weight.reshape(-1, *[1] * (first.ndim - 1))
        second += first
        return np.moveaxis(second[None], (0, 1), (axis, axis + 1))

    held = grid.whole()
    return Hypotheses(
        sets=grid.sets[:1],
        prediction=Prediction(
            volts=mixed_by_state(held.volts),
            source_units=mixed_by_state(held.source_units).astype(np.float16),
            probes=mixed(held.probes, 0),
            is_settled=mixed_by_state(held.is_settled),
        ),
        symptoms=mixed(grid.symptoms, 0),
    )


def step_spread(predicted: FloatArray, switches: BoolArray | None = None) -> FloatArray:
    """Return how far what a step shows may be from what it stands for.

    Parameters
    ----------
    predicted : FloatArray
        On each step of a ladder, shape (n_steps, n_draws); inf where a meter shows OL.
        [any unit]
    switches : BoolArray or None
        As for `on_steps`: across it a step says nothing of the next one.

    Returns
    -------
    FloatArray
        A standard deviation, same shape and unit: half the distance between neighbours,
        so that the steps together leave no gap.

    Examples
    --------
    >>> step_spread(np.array([[1.0], [2.0], [4.0], [np.inf]]))
    array([[0.5 ],
           [0.75],
           [1.  ],
           [0.  ]])
    """
    ends = np.concatenate([predicted[:1], predicted, predicted[-1:]])
    with np.errstate(invalid="ignore"):
        below, above = predicted - ends[:-2], ends[2:] - predicted
    is_below, is_above = np.isfinite(below), np.isfinite(above)
    is_below[0] = is_above[-1] = False
    if switches is not None:
        # before half of the way a step shows the milder severity
        place = np.arange(len(switches)) * STEPS_BETWEEN + STEPS_BETWEEN // 2 - 1
        is_above[place] &= ~switches
        is_below[place + 1] &= ~switches
    total = np.where(is_below, np.abs(below), 0.0)
    total += np.where(is_above, np.abs(above), 0.0)
    count = is_below.astype(np.int64) + is_above
    return np.asarray(0.5 * total / np.maximum(count, 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Redrawn:
    """Chosen severities for one fault set.

    Parameters
    ----------
    choice : IntArray
        Step of the ladder for each draw, shape (n_draws,).
    correction : FloatArray
        Factor on the prior of each draw, shape (n_draws,): mean likelihood over the
        ladder over the likelihood of the chosen one. [1]
    """

    choice: IntArray
    correction: FloatArray


def choose_severities(likelihood: FloatArray, shares: FloatArray) -> Redrawn:
    """Return one severity per tolerance draw, chosen by the facts.

    Parameters
    ----------
    likelihood : FloatArray
        Of all facts together, shape (n_steps, n_draws). [any unit]
    shares : FloatArray
        What each step stands for, shape (n_steps,); sums to 1. [1]

    Returns
    -------
    Redrawn
        The steps, and what makes up for choosing one of them.

    Notes
    -----
    Inverse-transform choice with a fixed ladder of levels, so that the same facts give
    the same choice. Averaged over severities, weight times chosen likelihood is the
    evidence of the whole ladder: sum_r p L, p being the share of a step.
    """
    n_draws = likelihood.shape[1]
    mean = shares @ likelihood
    safe = np.maximum(likelihood, LEAST_LIKELIHOOD)
    weights = shares[:, None] * safe
    share = np.cumsum(weights, axis=0) / weights.sum(axis=0)
    levels = (np.arange(n_draws) * GOLDEN_TURN + 0.5) % 1.0
    choice = (share < levels).sum(axis=0)
    chosen = safe[choice, np.arange(n_draws)]
    return Redrawn(choice=choice, correction=np.asarray(mean / chosen))


def effective_draws(weights: FloatArray) -> FloatArray:
    """Return how many draws carry the weight of each row.

    Parameters
    ----------
    weights : FloatArray
        Of each draw, shape (n_rows, n_draws). [any unit]

    Returns
    -------
    FloatArray
        (sum of weights)^2 over the sum of their squares, shape (n_rows,). [1]

    References
    ----------
    L. Kish, Survey Sampling, Wiley, 1965 (effective sample size).

    Examples
    --------
    >>> effective_draws(np.array([[1.0, 1.0, 0.0, 0.0]]))
    array([2.])
    """
    total = weights.sum(axis=1)
    square = np.maximum((weights**2).sum(axis=1), LEAST_LIKELIHOOD)
    return np.asarray(total**2 / square)
