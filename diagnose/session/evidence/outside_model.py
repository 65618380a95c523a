"""Conflict: whether some cause outside the model explains the facts better.

Each fact by itself may be common, and all of them together still be nearly impossible:
no one cause brings them about, or repairs that should have cured did not. Leaves which
fact disagrees to `explaining`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import ReadingKind
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.observations import SAYS_AGAIN, Noted, repeat_density
from diagnose.session.facts import ReadingFact, SymptomFact
from diagnose.session.ready_car import Model

OUTSIDE_PRIOR = 0.05
# Own choice, not measured: one complaint in twenty has a cause that the car file and
# the knowledge together do not hold.
FREE_SHARE = 0.15
# Own choice: how often what the model doesn't hold makes a fact anything at all.
SOUND_SHARE = 0.5
# Own choice: how often the car is otherwise sound, and not like one with a known cause.


def outside_probability(conclusion: Conclusion, model: Model) -> float:
    """Return how likely it is that no cause of the model is behind the facts.

    Notes
    -----
    Two explanations are weighed. With a cause of the model, the facts after the
    complaint are as likely as the beliefs had them, failed repairs included. With none,
    the car shows what a sound one or one with some known cause would, but each fact may
    also be anything at all, and no repair cures. Independent of the order of the facts
    between repairs.
    """
    others: list[tuple[FloatArray, float]] = []
    told = conclusion.prior.copy()
    for noted, likelihood in zip(
        conclusion.observations, conclusion.likelihoods, strict=True
    ):
        if noted.is_complaint:
            told *= likelihood
        else:
            others.append((likelihood, _any_value(noted, model)))
    share = float(told.sum())
    if not share > 0.0 or not others:
        return OUTSIDE_PRIOR
    within = conclusion.beliefs.log_evidence - np.log(share / conclusion.prior.sum())
    weights = (1.0 - SOUND_SHARE) * told / share
    weights[0] += SOUND_SHARE / weights.shape[1]
    conflict = _log_outside(weights, others) - within
    odds = OUTSIDE_PRIOR / (1.0 - OUTSIDE_PRIOR) * np.exp(np.clip(conflict, -50, 50))
    return float(odds / (1.0 + odds))


def oddest_reading(conclusion: Conclusion, model: Model) -> ReadingFact | None:
    """Return the reading likeliest to be what no known cause gives, if one is likely.

    It may stand before a repair, where no fact is a misfit by itself any more.
    """
    total = np.zeros(conclusion.prior.shape)
    readings = []
    for noted, likelihood in zip(
        conclusion.observations, conclusion.likelihoods, strict=True
    ):
        anything = FREE_SHARE * _any_value(noted, model)
        either = (1.0 - FREE_SHARE) * likelihood + anything
        total += np.log(either)
        if isinstance(noted.observation, ReadingFact):
            readings.append((noted.observation, anything / either))
    if not readings:
        return None
    weights = conclusion.prior * np.exp(total - total.max())
    weights /= max(float(weights.sum()), 1e-300)
    chances = [float((weights * is_free).sum()) for _, is_free in readings]
    best = int(np.argmax(chances))
    return readings[best][0] if chances[best] > 0.5 else None


def _log_outside(weights: FloatArray, facts: list[tuple[FloatArray, float]]) -> float:
    """Return the log likelihood of facts each of which may be anything.

    Parameters
    ----------
    weights : FloatArray
        What the car is like apart from that, shape (n_sets, n_draws); sums to 1.
    facts : list[tuple[FloatArray, float]]
        Likelihood under each set and draw, and the density of any value.
    """
    rows = weights.any(axis=1)
    left, total = weights[rows], 0.0
    for likelihood, anything in facts:
        left = left * ((1.0 - FREE_SHARE) * likelihood[rows] + FREE_SHARE * anything)
        now = float(left.sum())
        left /= now
        total += float(np.log(now))
    return total


def _any_value(noted: Noted, model: Model) -> float:
    """Return the density of a fact that may be anything, once for all its readings."""
    observation = noted.observation
    if isinstance(observation, SymptomFact):
        return 0.5 * SAYS_AGAIN ** (noted.times - 1)
    again = repeat_density(observation, model) ** (noted.times - 1)
    return again * _any_reading(observation, model)


def _any_reading(observation: ReadingFact, model: Model) -> float:
    if observation.reading.kind is ReadingKind.LOOK or np.isinf(observation.value):
        return 0.5
    if observation.reading.kind is ReadingKind.LAMP:
        return 1.0 / len(GRADES)
    spread = spread_of(
        observation.reading.kind,
        model.knowledge.meter,
        system_volts=model.car.system_volts,
    )
    return spread.slip_density(observation.value)
