"""What can be looked for now: symptoms, parts to feel, tests, the circuit changed.

Hundreds of looks are thinkable on a car; here are those that may tell something in this
moment, and that this car in this condition has an answer to. Leaves readings to
`candidates`, and what a look is worth to `priced`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.measurement.steps import Step, SubstitutionTest, SymptomCheck
from diagnose.measurement.touch import TOUCH
from diagnose.session.evidence.solving_allowance import Allowance
from diagnose.session.facts import ComplaintFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.outcomes import LEAST_STATE_CHANCE, Outcomes
from diagnose.session.steps.substitution_tests import SubstitutionTests
from diagnose.session.substitution.safety import harm_of

# Of how many leading causes the part is felt. [1] Own choice: each is weighed by
# itself.
MOST_FELT = 8

# Of how many leading causes the part is taken off first. [1] Own choice: more than are
# told apart by it.
MOST_SUSPECTED = 16

# Below this chance of a fault that comes and goes no test for one is looked at, and
# where one is told, none that a fault which lasts reacts to less. [1] Own choice.
LEAST_FLEETING = 0.02


class OpenLooks:
    """Knows what can be looked for on one car, besides readings.

    Parameters
    ----------
    model : Model
    outcomes : Outcomes
        What particles give for a step.
    """

    def __init__(self, model: Model, outcomes: Outcomes) -> None:
        self._model = model
        self._outcomes = outcomes
        self._tests = SubstitutionTests(model)
        self._askable = askable_parts(model)

    def symptoms(
        self, moment: Moment, excluded: frozenset[Step], reached: FloatArray
    ) -> list[str]:
        """Return the symptoms that can be looked for now, and tests that bring faults.

        Parameters
        ----------
        moment : Moment
        excluded : frozenset[Step]
            Steps already taken or skipped.
        reached : FloatArray
            How likely the car gets into each state, shape (n_states,). [1]
        """
        can_be = {
            state.name: chance >= LEAST_STATE_CHANCE
            for state, chance in zip(self._model.car.states, reached, strict=True)
        }
        every = (
            *self._model.compiled.symptom_names,
            *self._telling_tests(moment),
            *self._telling_touches(moment),
            *self._telling_parts(moment),
        )
        return [
            name
            for name in every
            if SymptomCheck(symptom=name) not in excluded
            and can_be[self._model.asked(name).state]
            and self._has_answer(name, moment)
        ]

    def solve_tests(
        self,
        moment: Moment,
        *,
        allowance: Allowance,
        excluded: frozenset[Step] = frozenset(),
    ) -> None:
        """Solve what pricing the tests with the circuit changed takes at a moment.

        Parameters
        ----------
        moment : Moment
        allowance : Allowance
            Asked before each of them.
        excluded : frozenset[Step]
            Steps already taken or skipped.
        """
        found = self._open_tests(moment, excluded)
        solved = frozenset(test for test in found if self._is_solved(test, moment))
        for test in found:
            if allowance.within([test], solved.__contains__) and self._is_safe(test):
                self._outcomes.in_test(test, moment)

    def tests(
        self, moment: Moment, excluded: frozenset[Step], allowance: Allowance | None
    ) -> list[SubstitutionTest]:
        """Return the tests with the circuit changed that are solved, or may be now.

        Parameters
        ----------
        moment : Moment
        excluded : frozenset[Step]
            Steps already taken or skipped.
        allowance : Allowance or None
            Whether what is not solved yet is solved now; None: all is.
        """
        found = self._open_tests(moment, excluded)
        if allowance is None:
            return [test for test in found if self._is_safe(test)]
        self.solve_tests(moment, allowance=allowance, excluded=excluded)
        return [test for test in found if self._is_solved(test, moment)]

    def _is_safe(self, test: SubstitutionTest) -> bool:
        """Return whether a lead, where it is one, does the sound car no harm."""
        effects = self._model.substituted.effects(test.substitution)
        return effects is None or not harm_of(
            test.substitution, effects, self._model.car
        )

    def _is_solved(self, test: SubstitutionTest, moment: Moment) -> bool:
        return self._outcomes.is_test_solved(test, moment)

    def _open_tests(
        self, moment: Moment, excluded: frozenset[Step]
    ) -> list[SubstitutionTest]:
        """Return the tests with the circuit changed that can be made now."""
        conclusion = moment.conclusion
        now = [
            noted
            for noted in conclusion.observations
            if noted.epoch == len(conclusion.repairs)
        ]
        return [
            test
            for test in self._tests.worth_pricing(now, self._suspected(moment))
            if test not in excluded and moment.prices.can_test(test)
        ]

    def _suspected(self, moment: Moment) -> dict[str, float]:
        """Return how likely a fault of each assembly is, of the leading causes. [1]."""
        lines, causes = moment.lines, self._model.compiled.causes
        found: dict[str, float] = {}
        for line in np.argsort(-lines.probabilities)[:MOST_SUSPECTED].tolist():
            assembly = causes[lines.likeliest(line)].part.assembly
            chance = float(lines.probabilities[line])
            found[assembly] = found.get(assembly, 0.0) + chance
        return found

    def _has_answer(self, name: str, moment: Moment) -> bool:
        """Return whether a car in this condition likely answers a question at all."""
        needed = self._model.asked(name).needs
        column = self._model.compiled.symptom_index.get(needed)
        if column is None:
            return True
        particles = moment.believed.particles
        symptoms = moment.conclusion.hypotheses.symptoms
        there = symptoms[particles.row, particles.draw, column]
        return bool(particles.share @ there >= LEAST_STATE_CHANCE)

    def _telling_tests(self, moment: Moment) -> tuple[str, ...]:
        """Return the tests that bring faults, where some such fault is likely."""
        fault = moment.believed.comes_and_goes
        share = moment.believed.particles.share
        likely = np.zeros(len(self._model.compiled.presence.numbers), dtype=np.bool_)
        if float(share[fault >= 0].sum()) >= LEAST_FLEETING:
            likely[fault[fault >= 0]] = True
        # a bad joint that lasts is told to come and go as well, and reacts
        lasting = self._leading_causes(moment) if moment.is_told_to_come_and_go else {}
        return tuple(
            name
            for name, test in self._model.provocations.items()
            if (likely & (test.share_there > 0.0)).any()
            or _reacting(test.lasting, lasting) >= LEAST_FLEETING
        )

    def _leading_causes(self, moment: Moment) -> dict[int, float]:
        """Return how likely each of the leading causes is, by its number. [1]."""
        lines = moment.lines
        leading = np.argsort(-lines.probabilities)[:MOST_SUSPECTED].tolist()
        return {
            lines.likeliest(line): float(lines.probabilities[line]) for line in leading
        }

    def _telling_touches(self, moment: Moment) -> tuple[str, ...]:
        """Return the parts to feel: those of the leading causes, and what they heat."""
        lines, causes = moment.lines, self._model.compiled.causes
        leading = np.argsort(-lines.probabilities)[:MOST_FELT].tolist()
        parts = {causes[lines.likeliest(line)].part.assembly for line in leading}
        names = (f"{TOUCH}-{part}" for part in sorted(parts))
        return tuple(name for name in names if name in self._model.touches)

    def _telling_parts(self, moment: Moment) -> tuple[str, ...]:
        """Return whether other parts work, where a part is complained of by its own.

        One lamp dead while its sister works, or a group dead together, says which half
        of the wiring to look at. A listed complaint has the listed questions.
        """
        complaints = self._model.knowledge.complaints
        of_facts = [
            complaints[fact.complaint]
            for fact in moment.facts
            if isinstance(fact, ComplaintFact)
        ]
        told = {one.part for one in of_facts if one.part and not one.stands_for}
        if not told:
            return ()
        return tuple(name for part, name in self._askable.items() if part not in told)


def _reacting(lasting: Mapping[int, float], suspected: Mapping[int, float]) -> float:
    """Return how likely a fault that lasts is there and reacts to a test. [1]."""
    return sum(chance * suspected.get(cause, 0.0) for cause, chance in lasting.items())


def askable_parts(model: Model) -> Mapping[str, str]:
    """Return parts that may be asked after, each with the symptom that it works.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.

    Returns
    -------
    Mapping[str, str]
        Those that work with the engine off and that no listed symptom asks after.
    """
    listed = {c.part for c in model.knowledge.complaints.values() if c.stands_for}
    return {
        symptom.part: name
        for name, symptom in model.knowledge.symptoms.items()
        if symptom.part
        and symptom.part not in listed
        and name.endswith("-works")
        and not model.car.state(symptom.state).is_engine_turning
    }
