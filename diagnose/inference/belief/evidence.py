"""Likelihoods: how well each hypothesis explains a fact, draw by draw.

Readings stay continuous: bin edges throw away what a meter can tell, and serve planning
only. Knows how a predicted value, its spread and slips make a likelihood, and how a
report errs. Leaves the spread to `reading_spread` and slips to `slips`.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.belief.reading_spread import (
    Spread,
    closed_deviation,
    normal_density,
)
from diagnose.inference.belief.slips import Slips
from diagnose.measurement.probe_lamp import GRADES, answer_chance
from diagnose.measurement.symptoms import Symptom

# How often a meter shows a number where it should show OL, or OL where it should show a
# number. [1] Own choice: one reading in a hundred.
MISREAD_OL_PROBABILITY = 0.01

# How often a slip with the ohms function shows OL. [1] Own choice: of two points taken
# at random about half have no path between them.
SLIPPED_OL_PROBABILITY = 0.5

# How often a blown fuse is looked at and called sound. [1] Own choice: one in a
# hundred, a hairline crack or a break under the cap.
MISSED_BLOWN_PROBABILITY = 0.01

# How often a sound fuse is looked at and called blown. [1] Own choice: one in a
# thousand. No lead is put on a wrong point, and a gap that is seen is there.
IMAGINED_BLOWN_PROBABILITY = 0.001

# How likely a reading in an operating state is where the car can't get into the state.
# [1] Own choice: one in a hundred, that of a wrong state.
STATE_FLOOR = 0.01

_below = np.vectorize(NormalDist().cdf, otypes=[np.float64])


def reading_likelihood(
    value: float,
    predicted: FloatArray,
    *,
    spread: Spread,
    slips: Slips,
    stray: FloatArray | float = 0.0,
    slip_density: FloatArray | float | None = None,
    stands_for: int = 1,
    is_ladder: bool = False,
) -> FloatArray:
    """Return the likelihood of a value that a meter showed.

    Parameters
    ----------
    value : float
        Shown; inf for OL. [the function's unit]
    predicted : FloatArray
        Shape (n_sets, n_draws); inf where the meter would show OL. [that unit]
    spread : Spread
        How far a reading may lie from what is predicted.
    slips : Slips
        How often it is a slip.
    stray : FloatArray or float
        A further standard deviation, same shape and unit.
    slip_density : FloatArray or float or None
        Density of the value after a slip, same shape; even over the span when None.
        [1 over that unit]
    stands_for : int
        How many draws each that was solved stands for. [1]
    is_ladder : bool
        The sets are severities of one fault.

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws). [1 over that unit; a probability for OL]

    Notes
    -----
    (1 - s) N(value; predicted, sigma) + s d, sigma from the meter, the model and the
    spacing of the draws, d the density after a slip.
    """
    slipped = spread.slip_density(value) if slip_density is None else slip_density
    is_over = np.isinf(predicted)
    if np.isinf(value):
        hit = np.where(is_over, 1.0 - MISREAD_OL_PROBABILITY, MISREAD_OL_PROBABILITY)
        return slips.mixed(hit, SLIPPED_OL_PROBABILITY)
    finite = np.where(is_over, 0.0, predicted)
    closed = closed_deviation(
        finite, spread, stands_for=stands_for, is_ladder=is_ladder
    )
    sigma = np.hypot(closed, stray)
    density = normal_density((value - finite) / sigma, sigma)
    density = np.where(is_over, MISREAD_OL_PROBABILITY / spread.span, density)
    return slips.mixed(density, slipped)


def tail_of(
    value: float,
    predicted: FloatArray,
    share: FloatArray,
    *,
    spread: Spread,
    stray: FloatArray | float = 0.0,
) -> float:
    """Return the two-sided chance of a value at least as far from the predictions.

    Parameters
    ----------
    value : float
        Shown; inf for OL. [the function's unit]
    predicted : FloatArray
        Of one fault set, shape (n_draws,); inf where the meter would show OL. [that
        unit]
    share : FloatArray
        Weight of each draw, shape (n_draws,); sums to 1. [1]
    spread : Spread
        How far a reading may lie from what is predicted.
    stray : FloatArray or float
        A further standard deviation, same shape and unit.

    Returns
    -------
    float
        Chance, without slips; for OL the share of the draws that show it. [1]
    """
    is_over = np.isinf(predicted)
    if np.isinf(value):
        return float(share[is_over].sum())
    finite = np.where(is_over, 0.0, predicted)[None, :]
    sigma = np.hypot(closed_deviation(finite, spread)[0], stray)
    tails = 2.0 * _below(-np.abs(value - finite[0]) / sigma)
    return float((np.where(is_over, 0.0, tails) * share).sum())


def lamp_likelihood(value: float, grade: FloatArray, *, slips: Slips) -> FloatArray:
    """Return the likelihood of what a person says of a test lamp.

    Parameters
    ----------
    value : float
        One of `GRADES`. [1]
    grade : FloatArray
        Predicted on average, see `lamp_grade`; shape (n_sets, n_draws). [1]
    slips : Slips
        How often it is a slip.

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws). [1]

    Notes
    -----
    (1 - s) P(answer; grade) + s / 3: a slip gives any answer.
    """
    return slips.mixed(answer_chance(value, grade), 1.0 / len(GRADES))


def look_likelihood(is_blown: bool, predicted: FloatArray) -> FloatArray:
    """Return the likelihood of what a look at a fuse showed.

    Eyes are believed: a fuse that is seen blown is blown.

    Parameters
    ----------
    is_blown : bool
        What was seen.
    predicted : FloatArray
        Chance that it is blown, shape (n_sets, n_draws). [1]

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws). [1]
    """
    missed, imagined = MISSED_BLOWN_PROBABILITY, IMAGINED_BLOWN_PROBABILITY
    blown = predicted * (1.0 - missed) + (1.0 - predicted) * imagined
    return blown if is_blown else 1.0 - blown


def symptom_likelihood(
    symptom: Symptom, is_present: bool, chance: FloatArray, *, times: int = 1
) -> FloatArray:
    """Return the likelihood of a yes or no, report errors included.

    Parameters
    ----------
    symptom : Symptom
        With how often it is missed, and how often imagined.
    is_present : bool
        What was answered.
    chance : FloatArray
        Chance that the symptom is really there, shape (n_sets, n_draws). [1]
    times : int
        How often the same was answered: each time may be a mistake by itself. [1]

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws). [1]

    Examples
    --------
    By hand, .5 x .98^2 + .5 x .01^2:

    >>> from diagnose.measurement.symptoms import Group, Join
    >>> seen = Symptom(
    ...     name="lamp-shines",
    ...     question="Does the lamp shine?",
    ...     state="lit",
    ...     when=Group(join=Join.ALL, members=()),
    ...     minutes=0.5,
    ...     missed_probability=0.02,
    ...     imagined_probability=0.01,
    ... )
    >>> round(float(symptom_likelihood(seen, True, np.array(0.5), times=2)), 5)
    0.48025
    """
    missed, imagined = symptom.missed_probability, symptom.imagined_probability
    there, away = (1.0 - missed, imagined) if is_present else (missed, 1.0 - imagined)
    return np.asarray(chance * there**times + (1.0 - chance) * away**times)
