"""Whether something that is no cause of the model explains the facts better.

Each fact by itself may be common, and all of them together still be nearly impossible:
no one cause brings them about, or repairs that should have cured did not. Leaves which
fact disagrees with the best cause to the explanation.

Decision that binds it: a second explanation is weighed by Bayes' rule, in which each
fact may be anything and no repair cures. It counts mild misfits and failed repairs
together, and does not hang on the order of the facts. Without it, a wire on a wrong
terminal had the program advise repairs for a whole evening.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import ReadingKind
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.repeated_readings import SAYS_AGAIN, repeat_density
from diagnose.session.evidence.seen import Noted, seen_of
from diagnose.session.evidence.weighing.reading_slips import EITHER_OF_TWO
from diagnose.session.facts import ReadingFact, SymptomFact
from diagnose.session.ready_car import Model

# How often a complaint has a cause that the car file and the knowledge do not hold. [1]
# Own choice, not measured: one in twenty.
OUTSIDE_PRIOR = 0.05

# How often what the model doesn't hold makes a fact anything at all. [1] Own choice.
FREE_SHARE = 0.15

# How often the car is otherwise sound, and not like one with a known cause. [1] Own
# choice: either way about as often.
SOUND_SHARE = 0.5

# The largest log of a ratio of explanations that an exponential is taken of. [nat] Own
# choice: beyond it the answer is 0 or 1 on any page.
MOST_LOG_ODDS = 50.0

# The least probability from which a reading is called the odd one. [1] Own choice:
# likelier odd than not.
LIKELY = 0.5

# The least total that is divided by. [1] Own choice: near the smallest double.
LEAST_TOTAL = 1e-300


def outside_probability(conclusion: Conclusion, model: Model) -> float:
    """Return how likely it is that no cause of the model is behind the facts.

    Parameters
    ----------
    conclusion : Conclusion
        What the facts amount to with the causes of the model.
    model : Model
        The car, made ready for diagnosis.

    Returns
    -------
    float
        `OUTSIDE_PRIOR` while nothing but the complaint was told. [1]

    Notes
    -----
    Two explanations are weighed. With a cause of the model, the facts after the
    complaint are as likely as the beliefs had them, failed repairs included. With none,
    the car shows what a sound one or one with some known cause would, but each fact may
    also be anything at all, and no repair cures. Readings of one point that disagree
    can't all be what the car shows: all but one of them are slips either way. Where
    nothing was complained of, nothing needs to be wrong. Independent of the order of
    the facts between repairs.
    """
    of_point: dict[object, list[tuple[FloatArray, float]]] = {}
    told = conclusion.prior.copy()
    for noted, likelihood in zip(
        conclusion.observations, conclusion.likelihoods, strict=True
    ):
        if noted.is_complaint:
            told *= likelihood
        else:
            found = likelihood, _any_value(noted, model)
            of_point.setdefault(_point(noted), []).append(found)
    others = [_of_one_point(facts, model) for facts in of_point.values()]
    share = float(told.sum())
    if not share > 0.0 or not others:
        return OUTSIDE_PRIOR
    within = conclusion.beliefs.log_evidence - np.log(share / conclusion.prior.sum())
    weights = (1.0 - SOUND_SHARE) * told / share
    weights[0] += SOUND_SHARE / weights.shape[1]
    conflict = _log_outside(weights, others) - within
    conflict = np.clip(conflict, -MOST_LOG_ODDS, MOST_LOG_ODDS)
    prior = OUTSIDE_PRIOR * _wrong_share(conclusion, told / share)
    odds = prior / (1.0 - prior) * np.exp(conflict)
    return float(odds / (1.0 + odds))


def oddest_reading(conclusion: Conclusion, model: Model) -> ReadingFact | None:
    """Return the reading that most likely shows what no known cause gives.

    It may stand before a repair, where no fact is a misfit by itself any more.

    Parameters
    ----------
    conclusion : Conclusion
        What the facts amount to with the causes of the model.
    model : Model
        The car, made ready for diagnosis.

    Returns
    -------
    ReadingFact or None
        None where none is likelier odd than not.
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
    weights /= max(float(weights.sum()), LEAST_TOTAL)
    chances = [float((weights * is_free).sum()) for _, is_free in readings]
    best = int(np.argmax(chances))
    return readings[best][0] if chances[best] > LIKELY else None


def _point(noted: Noted) -> object:
    """Return what is the same for readings of one point, and for nothing else."""
    told = noted.observation
    return (noted.epoch, told.reading) if isinstance(told, ReadingFact) else id(noted)


def _of_one_point(
    facts: Sequence[tuple[FloatArray, float]], model: Model
) -> tuple[FloatArray, float]:
    """Return readings of one point that disagree as one fact that may be anything.

    Notes
    -----
    The car shows one of n values d, the others are slips of probability s, so that the
    density of all of them is n s^(n - 1) d^n.
    """
    if len(facts) == 1:
        return facts[0]
    likelihood = np.prod([one for one, _ in facts], axis=0)
    slip = model.knowledge.meter.slip_probability
    anything = float(np.prod([density for _, density in facts]))
    return likelihood, len(facts) * slip ** (len(facts) - 1) * anything


def _wrong_share(conclusion: Conclusion, told: FloatArray) -> float:
    """Return the chance that anything is wrong, by what was complained of.

    Parameters
    ----------
    told : FloatArray
        Of each set and draw after the complaint, shape (n_sets, n_draws). [1]
    """
    is_seen = any(
        isinstance(n.observation, SymptomFact) for n in conclusion.observations
    )
    return 1.0 if is_seen else 1.0 - float(told[0].sum())


def _log_outside(weights: FloatArray, facts: list[tuple[FloatArray, float]]) -> float:
    """Return the log likelihood of facts each of which may be anything.

    Parameters
    ----------
    weights : FloatArray
        What the car is like apart from that, shape (n_sets, n_draws); sums to 1.
    facts : list[tuple[FloatArray, float]]
        Likelihood under each set and draw, shape (n_sets, n_draws), and the density of
        any value.
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
    observation = seen_of(noted.observation)
    if isinstance(observation, SymptomFact):
        return EITHER_OF_TWO * SAYS_AGAIN ** (noted.times - 1)
    again = repeat_density(observation, model) ** (noted.times - 1)
    return again * _any_reading(observation, model)


def _any_reading(observation: ReadingFact, model: Model) -> float:
    """Return the density of a value that may be anything the meter can show."""
    if observation.reading.kind is ReadingKind.LOOK or np.isinf(observation.value):
        return EITHER_OF_TWO
    if observation.reading.kind is ReadingKind.LAMP:
        return 1.0 / len(GRADES)
    spread = spread_of(
        observation.reading.kind,
        model.knowledge.meter,
        system_volts=model.car.system_volts,
    )
    return spread.slip_density(observation.value)
