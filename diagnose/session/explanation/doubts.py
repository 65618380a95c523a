"""Doubts worth a note: readings that clash, are odd, or told nothing.

Leaves whether all facts together fit to `fit`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.measurement.readings import ReadingKind
from diagnose.session.answer import LIKELIER_THAN_NOT
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.repeated_readings import disagree
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.explanation.unexplained import Unexplained
from diagnose.session.explanation.untelling_readings import Silence
from diagnose.session.explanation.weight_of_evidence import moved_belief, without_fact
from diagnose.session.facts import Fact, ReadingFact, RepairFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.words.wording import observation_words
from diagnose.units import Unit, format_quantity

# How far above all that any one fault gives a reading is doubted. [V] Own choice: what
# a meter and the tolerances of another car may add.
ABOVE_ALL_VOLTS = 1.0

# Below this chance that the car gets into its state, a reading is doubted. [1] Own
# choice: one in ten.
UNLIKELY_STATE = 0.1

# How far on the wrong side of ground a reading makes one ask about the leads. [V] Own
# choice: beyond what grounds differ by in a running car.
SWAPPED_VOLTS = 0.5

# What is shown within this of a reading is what was told. [V] Own choice.
AS_TOLD_VOLTS = 1.0

# How much better the leads the other way round have to fit. [1] Own choice.
BETTER_SWAPPED = 5.0

# From this chance of one cause on, a reading that confirms it is no waste of an answer.
# [1] Own choice.
NEARLY_SURE = 0.95

# What moves less of the belief than this told next to nothing. [1] Own choice: one that
# rules out a suspect of some per cent was worth taking.
LEAST_MOVED = 0.01


class Doubts:
    """Finds what is odd about readings of one car.

    Parameters
    ----------
    model : Model
    weigher : Weigher
        How likely the car gets into a state.
    silence : Silence
        What of the circuit keeps a reading from telling.
    unexplained : Unexplained
        Readings that nothing explains.
    """

    def __init__(
        self,
        model: Model,
        weigher: Weigher,
        silence: Silence,
        unexplained: Unexplained,
    ) -> None:
        self._model = model
        self._weigher = weigher
        self._silence = silence
        self._unexplained = unexplained

    def notes(
        self,
        moment: Moment,
        disagreeing: ReadingFact | None,
        unexplained: Sequence[Noted],
    ) -> tuple[str, ...]:
        """Return doubts: readings that clash, that nothing explains, that told nothing.

        Parameters
        ----------
        moment : Moment
        disagreeing : ReadingFact or None
            The worst misfit among the readings.
        unexplained : Sequence[Noted]
            The readings that nothing explains.

        Returns
        -------
        tuple[str, ...]
            A sentence or two each.
        """
        notes = _clashes(moment.facts, self._model)
        conclusion = moment.conclusion
        notes += self._unanswerable(moment)
        notes += [self._unexplained.words(one) for one in unexplained]
        latest = conclusion.observations[-1] if conclusion.observations else None
        if latest is None or latest.epoch < len(conclusion.repairs):
            return tuple(notes)
        fact = latest.observation
        if isinstance(fact, ReadingFact):
            without = without_fact(conclusion.beliefs.weights, conclusion.weighed[-1])
            without /= without.sum()
            notes += self._unlikely_state(fact, conclusion, without)
            small = self._unexplained.too_small(fact)
            if small:
                notes.append(small)
            elif fact != disagreeing and latest not in unexplained:
                notes += self._told_nothing(fact, conclusion)
            notes += self._above_all(fact)
            notes += self._swapped(fact, conclusion, without)
        return tuple(notes)

    def _unanswerable(self, moment: Moment) -> list[str]:
        """Say where the latest answer weighs nothing: the car can't give it."""
        fact = moment.facts[-1] if moment.facts else None
        told = [noted.observation for noted in moment.conclusion.observations]
        if not isinstance(fact, SymptomFact) or fact in told:
            return []
        question = self._model.asked(fact.symptom).question
        return [
            f"{question} As the car was told to be, it can't answer that: the answer "
            "is kept and weighs nothing."
        ]

    def _unlikely_state(
        self, fact: ReadingFact, conclusion: Conclusion, without: FloatArray
    ) -> list[str]:
        """Say where the car should not have got into the state of a reading."""
        name = fact.reading.state
        reach = self._weigher.reach_chance(conclusion.hypotheses, name)
        # with a fault that comes and goes the car gets there while it is away
        either = np.maximum(reach[conclusion.shown_by], reach[conclusion.away])
        if float((either * without).sum()) >= UNLIKELY_STATE:
            return []
        car = self._model.car
        return [
            f"{observation_words(fact, car)}: but from what was told before, the car "
            f"should not get as far as {car.state(name).label}. Take one of the two "
            "back if it is wrong."
        ]

    def _told_nothing(self, fact: ReadingFact, conclusion: Conclusion) -> list[str]:
        """Say where the latest reading moved hardly any belief, and why."""
        # after a repair it proves what is believed by then
        healthy = conclusion.beliefs.set_probabilities()[0]
        is_proof = conclusion.repairs and healthy > LIKELIER_THAN_NOT
        if (
            is_proof
            or self._is_nearly_sure(conclusion)
            or moved_belief(conclusion) >= LEAST_MOVED
        ):
            return []
        dead = self._silence.without_current(fact.reading)
        why = f" There {dead}, so a bad joint does not show." if dead else ""
        return [
            f"{observation_words(fact, self._model.car)} tells next to nothing: nearly "
            f"all causes still in question would show it.{why}"
        ]

    def _above_all(self, fact: ReadingFact) -> list[str]:
        """Say where a reading is more than any one fault gives."""
        most = self._most_volts(fact)
        if abs(fact.value) <= most + ABOVE_ALL_VOLTS:
            return []
        return [
            f"{observation_words(fact, self._model.car)} is more than this car gives "
            f"there with any one fault ({format_quantity(most, Unit.VOLTS)}): look "
            "again at the number and at the range of the meter."
        ]

    def _swapped(
        self, fact: ReadingFact, conclusion: Conclusion, without: FloatArray
    ) -> list[str]:
        """Ask whether the leads are swapped, where a reading fits the other way."""
        car = self._model.car
        away_from_ground = -fact.value if car.is_positive_ground else fact.value
        is_dc = fact.reading.kind is ReadingKind.DC_VOLTS
        if not is_dc or away_from_ground >= -SWAPPED_VOLTS:
            return []
        predicted = self._model.compiled.readings.predicted(
            conclusion.hypotheses, fact.reading
        )[conclusion.shown_by]
        as_told, swapped = (
            float((without * (np.abs(predicted - value) < AS_TOLD_VOLTS)).sum())
            for value in (fact.value, -fact.value)
        )
        if swapped <= BETTER_SWAPPED * as_told:
            return []
        words = observation_words(fact, car)
        return [f"{words}: are the leads swapped? With them the other way it fits."]

    def _most_volts(self, fact: ReadingFact) -> float:
        """Return the most volts at a place in a state with any one fault. [V].

        Infinite for what is no DC volts.
        """
        if fact.reading.kind is not ReadingKind.DC_VOLTS:
            return math.inf
        compiled = self._model.compiled
        shown = np.abs(compiled.readings.predicted(compiled.singles, fact.reading))
        return float(shown.max())

    def _is_nearly_sure(self, conclusion: Conclusion) -> bool:
        """Return whether one cause is all but certain, alone or with others."""
        n_causes = len(self._model.compiled.causes)
        causes = conclusion.beliefs.cause_probabilities(n_causes)
        return bool(causes.max() >= NEARLY_SURE)


def _clashes(standing: Sequence[Fact], model: Model) -> list[str]:
    """Return notes on readings of one point and state that differ beyond the meter."""
    notes = []
    seen: dict[object, ReadingFact] = {}
    for fact in standing:
        if not isinstance(fact, ReadingFact):
            if isinstance(fact, RepairFact):
                seen.clear()
            continue
        before = seen.get(fact.reading)
        seen[fact.reading] = fact
        if before is not None and disagree(before, fact, model):
            notes.append(
                f"{observation_words(before, model.car)} and "
                f"{observation_words(fact, model.car)} differ by more than the meter: "
                "a joint that comes and goes? Wiggle it while you watch."
            )
    return notes
