"""Explanations: the ranking with its evidence, the fit, and doubts worth a note."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.measurement.readings import ReadingKind
from diagnose.session.answer import Fit, RankedCause, Weight
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.observations import (
    Noted,
    Observation,
    disagree,
)
from diagnose.session.evidence.outside_model import oddest_reading, outside_probability
from diagnose.session.explanation.origins import Origins
from diagnose.session.explanation.untelling_readings import Silence
from diagnose.session.facts import Fact, ReadingFact, RepairFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.ranked_steps import Adviser, weighted_range
from diagnose.session.wording import observation_words, range_words
from diagnose.units import Unit, format_quantity

SHOWN_WEIGHTS = 4
MOST_WITH_ORIGINS = 8
ABOVE_ALL_VOLTS = 1.0
# Own choice: what a meter and the tolerances of another car may add.
UNLIKELY_STATE = 0.1
SWAPPED_VOLTS = 0.5
LEAST_DECIBANS = 0.5
NEARLY_SURE = 0.95
# Chosen: a reading that confirms what is so likely is no waste of an answer.
LEAST_MOVED = 0.03
# Own choice: what moves less of the belief than this told next to nothing.
MISFIT = 0.003
# Derived: three standard deviations of a normal reading.


def decibans(with_cause: float, without_cause: float) -> float:
    """Return the weight of evidence for a cause. [dB].

    Parameters
    ----------
    with_cause, without_cause : float
        Likelihood of the fact if the cause is present, and if it is not.

    References
    ----------
    I. J. Good, Probability and the Weighing of Evidence, 1950.

    Examples
    --------
    >>> round(decibans(0.2, 0.02), 6)
    10.0
    """
    return float(10.0 * np.log10(max(with_cause, 1e-30) / max(without_cause, 1e-30)))


class Explainer:
    """Puts conclusions into words and weights.

    Parameters
    ----------
    model : Model
    reasoner : Reasoner
    adviser : Adviser
    silence : Silence
    """

    def __init__(
        self, model: Model, reasoner: Reasoner, adviser: Adviser, silence: Silence
    ) -> None:
        self._model = model
        self._reasoner = reasoner
        self._adviser = adviser
        self._silence = silence
        self._origins = Origins(model, adviser)

    def ranking(
        self, conclusion: Conclusion, *, most: int, least: float, explained: int
    ) -> tuple[RankedCause, ...]:
        """Return the lines of the ranking, most probable first.

        Parameters
        ----------
        most, least : int, float
            How many lines at most, and the least probability of a line.
        explained : int
            How many of them come with their evidence.
        """
        probabilities = self._adviser.line_probabilities(conclusion)
        order = np.argsort(-probabilities, kind="stable")[:most].tolist()
        without = self._without(conclusion) if explained else []
        return tuple(
            self._line(
                line,
                float(probabilities[line]),
                conclusion,
                without if place < explained else [],
                has_origins=place < MOST_WITH_ORIGINS,
            )
            for place, line in enumerate(order)
            if probabilities[line] >= least
        )

    def cause(self, name: str, conclusion: Conclusion) -> RankedCause:
        """Return the line a cause is on, with every fact for and against it."""
        index = next(
            i for i, c in enumerate(self._model.compiled.causes) if c.name == name
        )
        line = next(k for k, line in enumerate(self._model.lines) if index in line)
        probability = float(self._adviser.line_probabilities(conclusion)[line])
        without = self._without(conclusion)
        return self._line(line, probability, conclusion, without, shown=None)

    def _without(self, conclusion: Conclusion) -> list[FloatArray]:
        """Return the weight of each row with each observation left out, (n_sets,) each.

        They do not sum to 1: with the observation they are what is believed. A
        likelihood is hardly ever zero (a slip is always possible), so it can be divided
        out; only observations since the latest repair are explained.
        """
        weights = conclusion.beliefs.weights
        return [
            _left_out(weights, one).sum(axis=1)
            if noted.epoch == len(conclusion.repairs)
            else np.zeros(0)
            for noted, one in zip(
                conclusion.observations, conclusion.likelihoods, strict=True
            )
        ]

    def _line(
        self,
        line: int,
        probability: float,
        conclusion: Conclusion,
        without: Sequence[FloatArray],
        *,
        shown: int | None = SHOWN_WEIGHTS,
        has_origins: bool = True,
    ) -> RankedCause:
        compiled = self._model.compiled
        members = self._model.lines[line]
        rows = self._adviser.line_rows(conclusion, line)
        weights = _weights(conclusion, rows, without)
        order = sorted(range(len(without)), key=lambda number: -abs(weights[number]))
        if shown is not None:
            order = [n for n in order if abs(weights[n]) > LEAST_DECIBANS][:shown]
        cause = compiled.causes[self._adviser.likeliest(conclusion, line)]
        return RankedCause(
            name=cause.name,
            members=tuple(compiled.causes[member].name for member in members),
            says=cause.says,
            probability=probability,
            repair=cause.repair,
            repair_minutes=self._adviser.repair_minutes(line),
            evidence=tuple(
                Weight(
                    fact=self._noted_words(conclusion.observations[number]),
                    decibans=weights[number],
                    expected=self._expected_words(rows, conclusion, number),
                )
                for number in order
            ),
            origins=self._origins.of(line, conclusion) if has_origins else (),
        )

    def _noted_words(self, noted: Noted) -> str:
        """Return an observation in words, with how often it was taken."""
        observation = noted.observation
        if isinstance(observation, SymptomFact):
            question = self._model.asked(observation.symptom).question
            often = f"{_often(noted.times)}: " if noted.times > 1 else ""
            return f"{often}{question} {'yes' if observation.is_present else 'no'}"
        words = observation_words(observation, self._model.car)
        return words if noted.times == 1 else f"{words} ({_often(noted.times)})"

    def _expected_words(
        self, rows: IntArray, conclusion: Conclusion, number: int
    ) -> str:
        """Return what rows would show of an observation that is left out."""
        epoch, observation, is_complaint, _ = conclusion.observations[number]
        if epoch < len(conclusion.repairs):
            return "before the repair"
        share = _left_out(
            conclusion.beliefs.weights[rows], conclusion.likelihoods[number][rows]
        )
        if isinstance(observation, SymptomFact):
            chance = self._reasoner.expected.yes_chance(
                conclusion, observation.symptom, rows, is_complaint=is_complaint
            )
            mean = float((chance * share).sum() / max(share.sum(), 1e-300))
            return f"yes in {round(100 * mean)} of 100"
        predicted = self._model.compiled.predicted(
            conclusion.hypotheses,
            observation.reading,
            rows=conclusion.shown_by[rows],
        )
        low, high = weighted_range(predicted, share)
        words = range_words(low, high, observation.reading.kind)
        is_fleeting = bool((rows >= conclusion.first_fleeting).all())
        return f"{words} while it is there" if is_fleeting else words

    def fit(self, conclusion: Conclusion) -> Fit:
        """Return how well the best explanation accounts for the facts.

        Notes
        -----
        A fact is a misfit when the best fault set would hardly ever give it without a
        slip or a wrong report. The chance of as many misfits follows from the chance
        of a slip or a wrong report in each fact (a sum of unequal coin tosses). What
        no single fact shows, all of them and the failed repairs may: see `conflict`.
        """
        best = self._best_set(conclusion)
        numbers = [
            number
            for number, noted in enumerate(conclusion.observations)
            if noted.epoch == len(conclusion.repairs)
        ]
        if not numbers:
            return Fit(tail_probability=1.0, disagrees="", check="")
        weights = conclusion.beliefs.weights[best]
        share = weights / max(float(weights.sum()), 1e-300)
        surprise = np.array(
            [self._surprise(conclusion, number, best, share) for number in numbers]
        )
        errors = np.array([self._error_chance(conclusion, n) for n in numbers])
        misfits = int((surprise < MISFIT).sum())
        outside = outside_probability(conclusion, self._model)
        if misfits == 0:
            odd = oddest_reading(conclusion, self._model) if outside > 0.5 else None
            return Fit(
                tail_probability=1.0,
                disagrees=observation_words(odd, self._model.car) if odd else "",
                check=self._check_words(odd) if odd else "",
                outside_probability=outside,
            )
        observation = conclusion.observations[
            numbers[int(surprise.argmin())]
        ].observation
        return Fit(
            tail_probability=chance_of_at_least(misfits, errors),
            disagrees=observation_words(observation, self._model.car),
            check=self._check_words(observation),
            outside_probability=outside,
        )

    def _best_set(self, conclusion: Conclusion) -> int:
        """Return the likeliest fault set; a car with a complaint isn't sound yet."""
        chances = conclusion.beliefs.set_probabilities().copy()
        if not conclusion.repairs:
            chances[0] = 0.0
        return int(chances.argmax())

    def disagreeing(self, conclusion: Conclusion) -> ReadingFact | None:
        """Return the worst misfit among the readings since the latest repair."""
        best = self._best_set(conclusion)
        weights = conclusion.beliefs.weights[best]
        share = weights / max(float(weights.sum()), 1e-300)
        worst: tuple[float, ReadingFact] | None = None
        for number, (epoch, observation, _, _) in enumerate(conclusion.observations):
            if epoch < len(conclusion.repairs) or isinstance(observation, SymptomFact):
                continue
            surprise = self._surprise(conclusion, number, best, share)
            if surprise < MISFIT and (worst is None or surprise < worst[0]):
                worst = (surprise, observation)
        return worst[1] if worst else None

    def _error_chance(self, conclusion: Conclusion, number: int) -> float:
        """Return the chance that a fact misfits although the explanation is right."""
        _, observation, is_complaint, times = conclusion.observations[number]
        if not isinstance(observation, SymptomFact):
            return self._model.knowledge.meter.slip_probability + MISFIT
        symptom = self._reasoner.weigher.symptom_of(
            observation, is_complaint=is_complaint
        )
        wrong = max(symptom.missed_probability, symptom.imagined_probability)
        return wrong**times + MISFIT

    def _surprise(
        self, conclusion: Conclusion, number: int, best: int, share: FloatArray
    ) -> float:
        """Return the chance of a fact at least as odd as this one, errors left out."""
        _, observation, is_complaint, _ = conclusion.observations[number]
        if isinstance(observation, SymptomFact):
            only = np.array([best])
            chance = self._reasoner.expected.yes_chance(
                conclusion, observation.symptom, only, is_complaint=is_complaint
            )
            yes = float((chance[0] * share).sum())
            return yes if observation.is_present else 1.0 - yes
        if best >= conclusion.first_fleeting:
            fault = int(conclusion.comes_and_goes[best])
            there = self._reasoner.expected.presence_chance(observation, fault)
            chance_there = float((there * share).sum())
            shown, away = int(conclusion.shown_by[best]), int(conclusion.away[best])
            return chance_there * self._tail(conclusion, observation, shown, share) + (
                1.0 - chance_there
            ) * self._tail(conclusion, observation, away, share)
        return self._tail(conclusion, observation, best, share)

    def _tail(
        self,
        conclusion: Conclusion,
        observation: ReadingFact,
        row: int,
        share: FloatArray,
    ) -> float:
        """Return the chance of a reading at least as far off, as a row shows it."""
        compiled, reading = self._model.compiled, observation.reading
        only = np.array([row])
        predicted = compiled.predicted(conclusion.hypotheses, reading, rows=only)[0]
        stray = self._reasoner.weigher.scatter.stray(
            conclusion.hypotheses, reading, rows=only
        )[0]
        return self._reasoner.weigher.tail_probability(
            observation, predicted, share, stray=stray
        )

    def _check_words(self, observation: Observation) -> str:
        car = self._model.car
        if isinstance(observation, SymptomFact):
            return f"Look again: {observation.symptom}."
        leads = observation.reading.red, observation.reading.black
        names = set(leads) - {car.reference, ""}
        wires = [
            part
            for part in car.parts
            if part.kind == "wire" and names & set(part.terminals.values())
        ]
        if not wires:
            return f"Then check {observation.reading.red} in the car file."
        lines = ", ".join(
            f"{part.name}{f' (line {part.line})' if part.line else ''}"
            for part in wires[:3]
        )
        return f"Then check that the car file is right about {lines}."

    def _is_nearly_sure(self, conclusion: Conclusion) -> bool:
        """Return whether one cause is all but certain, alone or with others."""
        n_causes = len(self._model.compiled.causes)
        causes = conclusion.beliefs.cause_probabilities(n_causes)
        return bool(causes.max() >= NEARLY_SURE)

    def _doubts(self, fact: ReadingFact, conclusion: Conclusion) -> list[str]:
        """Return what is odd about the latest reading."""
        car, words = self._model.car, observation_words(fact, self._model.car)
        without = _left_out(conclusion.beliefs.weights, conclusion.likelihoods[-1])
        without /= without.sum()
        notes = []
        state = car.state(fact.reading.state)
        reach = self._reasoner.weigher.reach_chance(
            conclusion.hypotheses, fact.reading.state
        )
        if float((reach[conclusion.shown_by] * without).sum()) < UNLIKELY_STATE:
            notes.append(
                f"{words}: but from what was told before, the car should not get as "
                f"far as {state.label}. Take one of the two back if it is wrong."
            )
        # after a repair it proves what is believed by then
        is_proof = (
            conclusion.repairs and conclusion.beliefs.set_probabilities()[0] > 0.5
        )
        if (
            not is_proof
            and not self._is_nearly_sure(conclusion)
            and _moved(conclusion) < LEAST_MOVED
            and fact != self.disagreeing(conclusion)
        ):
            notes.append(
                f"{words} tells next to nothing: nearly all causes still in question "
                f"would show it.{self._sentence(fact)}"
            )
        most = self._most_volts(fact)
        if abs(fact.value) > most + ABOVE_ALL_VOLTS:
            notes.append(
                f"{words} is more than this car gives there with any one fault "
                f"({format_quantity(most, Unit.VOLTS)}): look again at the number and "
                "at the range of the meter."
            )
        away_from_ground = -fact.value if car.is_positive_ground else fact.value
        is_dc = fact.reading.kind is ReadingKind.DC_VOLTS
        if is_dc and away_from_ground < -SWAPPED_VOLTS:
            predicted = self._model.compiled.predicted(
                conclusion.hypotheses, fact.reading
            )[conclusion.shown_by]
            as_told = float((without * (np.abs(predicted - fact.value) < 1.0)).sum())
            swapped = float((without * (np.abs(predicted + fact.value) < 1.0)).sum())
            if swapped > 5.0 * as_told:
                notes.append(
                    f"{words}: are the leads swapped? With them the other way it fits."
                )
        return notes

    def _most_volts(self, fact: ReadingFact) -> float:
        """Return the most volts at a place in a state with any one fault. [V].

        Infinite for what is no DC volts.
        """
        if fact.reading.kind is not ReadingKind.DC_VOLTS:
            return math.inf
        compiled = self._model.compiled
        shown = np.abs(compiled.predicted(compiled.singles, fact.reading))
        return float(shown.max())

    def _sentence(self, fact: ReadingFact) -> str:
        """Return why the circuit keeps a reading from telling, as a sentence."""
        dead = self._silence.without_current(fact.reading)
        return f" There {dead}, so a bad joint does not show." if dead else ""

    def notes(
        self, standing: Sequence[Fact], conclusion: Conclusion
    ) -> tuple[str, ...]:
        """Return doubts: readings that clash, a latest reading that told nothing."""
        notes = list(_clashes(standing, self._model))
        latest = conclusion.observations[-1] if conclusion.observations else None
        if latest is None or latest.epoch < len(conclusion.repairs):
            return tuple(notes)
        if isinstance(latest.observation, ReadingFact):
            notes += self._doubts(latest.observation, conclusion)
        return tuple(notes)


def _often(times: int) -> str:
    return "twice" if times == 2 else f"{times} times"


def _left_out(weights: FloatArray, likelihood: FloatArray) -> FloatArray:
    """Return weights without one fact; what the fact ruled out stays out."""
    nothing = np.zeros_like(weights)
    return np.divide(weights, likelihood, out=nothing, where=likelihood > 0.0)


def _moved(conclusion: Conclusion) -> float:
    """Return the share of belief that the latest observation moved."""
    now = conclusion.beliefs.weights
    before = _left_out(now, conclusion.likelihoods[-1])
    shift = now.sum(axis=1) - before.sum(axis=1) / before.sum()
    return 0.5 * float(np.abs(shift).sum())


def chance_of_at_least(count: int, chances: FloatArray) -> float:
    """Return the probability that at least `count` of independent events happen.

    Examples
    --------
    >>> round(chance_of_at_least(1, np.array([0.02, 0.03])), 4)
    0.0494
    """
    distribution = np.ones(1)
    for chance in chances.tolist():
        distribution = np.convolve(distribution, [1.0 - chance, chance])
    return float(distribution[count:].sum())


def _weights(
    conclusion: Conclusion, rows: IntArray, without: Sequence[FloatArray]
) -> list[float]:
    """Return the decibans of each fact for the sets in some rows, other facts given.

    Zero for facts from before a repair, which `without` leaves empty.
    """
    now = conclusion.beliefs.set_probabilities()
    believed, rest = float(now[rows].sum()), float(now.sum())
    result = []
    for weights in without:
        if not len(weights):
            result.append(0.0)
            continue
        before = float(weights[rows].sum())
        with_cause = _ratio(believed, before)
        without_cause = _ratio(rest - believed, float(weights.sum()) - before)
        result.append(decibans(with_cause, without_cause))
    return result


def _ratio(joint: float, weight: float) -> float:
    return joint / max(weight, 1e-300)


def _clashes(standing: Sequence[Fact], model: Model) -> tuple[str, ...]:
    """Return notes on readings of one point and state that differ beyond the meter."""
    notes = []
    seen: dict[object, ReadingFact] = {}
    for fact in standing:
        if not isinstance(fact, ReadingFact):
            if isinstance(fact, RepairFact):
                seen.clear()
            continue
        key = fact.reading
        before = seen.get(key)
        seen[key] = fact
        if before is not None and disagree(before, fact, model):
            notes.append(
                f"{observation_words(before, model.car)} and "
                f"{observation_words(fact, model.car)} differ by more than the meter: "
                "a joint that comes and goes? Wiggle it while you watch."
            )
    return tuple(notes)
