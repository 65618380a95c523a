"""How well the best explanation accounts for the facts, and which fact fits worst.

A misfit is a fact that its own slip or report error explains better; too many of them,
and nothing fits: one slip in ten readings is normal, three are not. What no single fact
shows, all of them and the repairs that failed may: `outside_model` weighs that. Leaves
what to do about it to `advice`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.belief.severity_steps import on_steps, step_spread
from diagnose.session.answer import LIKELIER_THAN_NOT, Fit
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.implied.outside_model import (
    oddest_reading,
    outside_probability,
)
from diagnose.session.evidence.seen import Noted, Observation, seen_of
from diagnose.session.evidence.weighing.compared import Pair
from diagnose.session.facts import ReadingFact, SubstitutionFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.session.words.wording import observation_words, step_words

# A fact less likely than this under the best explanation is a misfit. [1] Derived:
# three standard deviations of a normal reading.
MISFIT = 0.003

# How many wires of the car file are named to be checked. Own choice.
CHECKED_WIRES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """How well the best explanation fits.

    Parameters
    ----------
    fit : Fit
        In words and chances.
    disagreeing : ReadingFact or None
        The worst misfit among the readings since the latest repair; None without one.
    misfits : tuple[ReadingFact, ...]
        All of them, the worst first.
    """

    fit: Fit
    disagreeing: ReadingFact | None
    misfits: tuple[ReadingFact, ...] = ()


class Fitter:
    """Judges how well facts fit on one car.

    Parameters
    ----------
    model : Model
    reasoner : Reasoner
        What an observation says of a row.
    """

    def __init__(self, model: Model, reasoner: Reasoner) -> None:
        self._model = model
        self._reasoner = reasoner

    def fitted(self, conclusion: Conclusion) -> Fitted:
        """Return how well the best explanation accounts for the facts.

        Parameters
        ----------
        conclusion : Conclusion

        Returns
        -------
        Fitted

        Notes
        -----
        A fact is a misfit when the best fault set would hardly ever give it without a
        slip or a wrong report. The chance of as many misfits follows from the chance
        of a slip or a wrong report in each fact (a sum of unequal coin tosses). A
        misfit that was taken again and then fits is settled and not counted. What no
        single fact shows, all of them and the failed repairs may: see
        `outside_probability`.
        """
        surprise = _unsettled(conclusion, self._surprises(conclusion))
        if not surprise:
            fit = Fit(tail_probability=1.0, disagrees="", check="")
            return Fitted(fit=fit, disagreeing=None)
        misfits = _misfits(conclusion, surprise)
        return Fitted(
            fit=self._fit(conclusion, surprise),
            disagreeing=misfits[0] if misfits else None,
            misfits=misfits,
        )

    def _fit(self, conclusion: Conclusion, surprise: Mapping[int, float]) -> Fit:
        """Return the fit, from how odd each observation since the repair is."""
        misfits = sum(one < MISFIT for one in surprise.values())
        outside = outside_probability(conclusion, self._model)
        if misfits == 0:
            is_likely = outside > LIKELIER_THAN_NOT
            odd = oddest_reading(conclusion, self._model) if is_likely else None
            return Fit(
                tail_probability=1.0,
                disagrees=observation_words(odd, self._model.car) if odd else "",
                check=self._check_words(odd) if odd else "",
                outside_probability=outside,
            )
        worst = min(surprise, key=lambda number: surprise[number])
        observation = conclusion.observations[worst].observation
        errors = np.array([self._error_chance(conclusion, n) for n in surprise])
        return Fit(
            tail_probability=chance_of_at_least(misfits, errors),
            disagrees=observation_words(observation, self._model.car),
            check=self._check_words(observation),
            outside_probability=outside,
        )

    def _surprises(self, conclusion: Conclusion) -> dict[int, float]:
        """Return how likely observations at least as odd are, by their number.

        Of those since the latest repair, under the likeliest fault set, errors left
        out; in the order they were told. Answers that differ are no misfit.
        """
        best = _best_set(conclusion)
        weights = conclusion.beliefs.weights[best]
        share = weights / max(float(weights.sum()), 1e-300)
        return {
            number: self._surprise(conclusion, number, best, share)
            for number, noted in enumerate(conclusion.observations)
            if noted.epoch == len(conclusion.repairs) and not noted.against
        }

    def _error_chance(self, conclusion: Conclusion, number: int) -> float:
        """Return the chance that a fact misfits although the explanation is right."""
        _, told, is_complaint, times, *_ = conclusion.observations[number]
        observation = seen_of(told)
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
        noted = conclusion.observations[number]
        _, observation, is_complaint, *_ = noted
        if isinstance(observation, SymptomFact):
            only = np.array([best])
            chance = self._reasoner.expected.yes_chance(
                conclusion, observation.symptom, only, is_complaint=is_complaint
            )
            yes = float((chance[0] * share).sum())
            return yes if observation.is_present else 1.0 - yes
        if isinstance(observation, SubstitutionFact) and isinstance(
            observation.seen, SymptomFact
        ):
            there = self._reasoner.expected.in_test(
                conclusion, observation.step, np.array([best])
            )
            yes = float((there[0] * share).sum())
            return yes if observation.seen.is_present else 1.0 - yes
        if best >= conclusion.first_fleeting:
            fault = int(conclusion.comes_and_goes[best])
            there = self._reasoner.expected.presence_chance(observation, fault)
            chance_there = float((there * share).sum())
            shown, away = int(conclusion.shown_by[best]), int(conclusion.away[best])
            return chance_there * self._tail(conclusion, noted, shown, share) + (
                1.0 - chance_there
            ) * self._tail(conclusion, noted, away, share)
        return self._tail(conclusion, noted, best, share)

    def _tail(
        self,
        conclusion: Conclusion,
        noted: Noted,
        row: int,
        share: FloatArray,
    ) -> float:
        """Return the chance of a reading at least as far off, as a row shows it."""
        observation = noted.observation
        weigher, only = self._reasoner.weigher, np.array([row])
        if isinstance(observation, SubstitutionFact):
            seen = observation.seen
            assert isinstance(seen, ReadingFact)
            values, strays = weigher.shown_in_test(
                conclusion.hypotheses, observation.step, rows=only
            )
            return weigher.readings.tail_probability(
                seen, values[0], share, stray=strays[0]
            )
        assert isinstance(observation, ReadingFact)
        compiled, reading = self._model.compiled, observation.reading
        predicted = compiled.readings.predicted(
            conclusion.hypotheses, reading, rows=only
        )[0]
        stray = weigher.scatter.stray(conclusion.hypotheses, reading, rows=only)[0]
        redrawn = conclusion.redrawn.get(row)
        if redrawn is not None:
            # a severity stands for those half way to the next
            switches = redrawn.grid.switches.get(reading.state)
            solved = compiled.readings.predicted(redrawn.grid, reading)
            spread = step_spread(on_steps(solved, switches), switches)
            each = np.arange(len(redrawn.steps))
            stray = np.hypot(stray, spread[redrawn.steps, each])
        tail = weigher.readings.tail_probability(
            observation, predicted, share, stray=stray, n_shared=noted.n_shared
        )
        if noted.beside is None:
            return tail
        # what stays as far from another as foretold is no misfit
        base = compiled.readings.predicted(
            conclusion.hypotheses, noted.beside.reading, rows=only
        )[0]
        pair = Pair(observation, noted.beside, predicted[None], base[None])
        return max(tail, weigher.readings.compared.tail_probability(pair, share))

    def _check_words(self, observation: Observation) -> str:
        """Return what to look at again: the symptom, or wires of the car file."""
        car = self._model.car
        if isinstance(observation, SubstitutionFact):
            return f"Make that test again: {step_words(observation.step, car)}."
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
            for part in wires[:CHECKED_WIRES]
        )
        return f"Then check that the car file is right about {lines}."


def _best_set(conclusion: Conclusion) -> int:
    """Return the likeliest fault set; a car with a complaint isn't sound yet."""
    chances = conclusion.beliefs.set_probabilities().copy()
    is_told = any(
        isinstance(noted.observation, SymptomFact) for noted in conclusion.observations
    )
    if is_told and not conclusion.repairs:
        chances[0] = 0.0
    return int(chances.argmax())


def _unsettled(
    conclusion: Conclusion, surprise: Mapping[int, float]
) -> dict[int, float]:
    """Return how odd observations are, without slips that a second look set right."""
    readings = {
        number: observation.reading
        for number in surprise
        if isinstance(
            observation := conclusion.observations[number].observation, ReadingFact
        )
    }
    fitting = {one for n, one in readings.items() if surprise[n] >= MISFIT}
    return {
        number: chance
        for number, chance in surprise.items()
        if chance >= MISFIT or readings.get(number) not in fitting
    }


def _misfits(
    conclusion: Conclusion, surprise: Mapping[int, float]
) -> tuple[ReadingFact, ...]:
    """Return the readings that are misfits, the worst first."""
    found: list[tuple[float, ReadingFact]] = []
    for number, chance in surprise.items():
        observation = conclusion.observations[number].observation
        if isinstance(observation, ReadingFact) and chance < MISFIT:
            found.append((chance, observation))
    found.sort(key=lambda one: one[0])
    return tuple(fact for _, fact in found)


def chance_of_at_least(count: int, chances: FloatArray) -> float:
    """Return the probability that at least `count` of independent events happen.

    Parameters
    ----------
    count : int
    chances : FloatArray
        Of each event, shape (n_events,). [1]

    Returns
    -------
    float
        [1]

    Examples
    --------
    >>> round(chance_of_at_least(1, np.array([0.02, 0.03])), 4)
    0.0494
    """
    distribution = np.ones(1)
    for chance in chances.tolist():
        distribution = np.convolve(distribution, [1.0 - chance, chance])
    return float(distribution[count:].sum())
