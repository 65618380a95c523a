"""What a person is expected to see next, under each fault set of a conclusion.

Knows that a fault that comes and goes may be away. Leaves how likely each fault set is
to `concluding`, and the volts of a reading to the compiled car.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import SubstitutionTest
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.seen import Observation
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.evidence.weighing.there import there
from diagnose.session.facts import SymptomFact
from diagnose.session.ready_car import Model


def _told_before(conclusion: Conclusion, name: str) -> bool | None:
    """Return what was told of a symptom of the car as it stands; None if nothing."""
    for noted in reversed(conclusion.observations):
        seen = noted.observation
        if noted.epoch != len(conclusion.repairs):
            break
        if isinstance(seen, SymptomFact) and seen.symptom == name:
            return seen.is_present
    return None


class ExpectedAnswers:
    """How likely the questions of one car are answered with yes.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.
    weigher : Weigher
        Knows the state that something was seen in.
    """

    def __init__(self, model: Model, weigher: Weigher) -> None:
        self._model, self._weigher = model, weigher
        self._compiled: Compiled = model.compiled

    def yes_chance(
        self,
        conclusion: Conclusion,
        name: str,
        rows: IntArray,
        *,
        is_complaint: bool = False,
    ) -> FloatArray:
        """Return the chance that a symptom is there, or that a test brings the fault.

        Parameters
        ----------
        conclusion : Conclusion
            What the facts amount to.
        name : str
            Of the symptom, or of the test.
        rows : IntArray
            Rows of the conclusion, shape (n_rows,).
        is_complaint : bool
            It is what the owner came with.

        Returns
        -------
        FloatArray
            Shape (n_rows, n_draws); reports that are wrong are left out. [1]
        """
        presence, fault = self._compiled.presence, conclusion.comes_and_goes[rows]
        is_fleeting = fault >= 0
        own = fault[is_fleeting]
        test = self._model.told_test(name)
        if test is not None:
            sets = [conclusion.hypotheses.sets[row] for row in rows.tolist()]
            yes = test.lasting_reacts(sets)[:, None]
            result = np.repeat(yes, self._compiled.n_draws, axis=1)
            reacts = test.reaction(presence)
            result[is_fleeting] = reacts[own]
            return result
        held = conclusion.hypotheses
        shown, away = conclusion.shown_by[rows], conclusion.away[rows][is_fleeting]
        result = there(self._model, held, name, rows=shown)
        state = self._model.asked(name).state
        chance = presence.chance(state, is_complaint=is_complaint)[own]
        sound = there(self._model, held, name, rows=away)
        result[is_fleeting] = presence.mixed(result[is_fleeting], sound, chance)
        return result

    def in_test(
        self,
        conclusion: Conclusion,
        test: SubstitutionTest,
        rows: IntArray,
        *,
        is_rough: bool = False,
    ) -> FloatArray:
        """Return what is expected of the look in a test with the circuit changed.

        Parameters
        ----------
        conclusion : Conclusion
            What the facts amount to.
        test : SubstitutionTest
            What is changed, and what is looked at.
        rows : IntArray
            Rows of the conclusion, shape (n_rows,).
        is_rough : bool
            With a handful of draws, to see what the test is worth.

        Returns
        -------
        FloatArray
            What a meter shows while the faults are there; of a symptom the chance that
            it is there, as for `yes_chance`. Shape (n_rows, n_draws).
            [unit of the reading, or 1]
        """
        hypotheses = conclusion.hypotheses
        before = None
        if not isinstance(test.look, Reading):
            before = _told_before(conclusion, test.look.symptom)
        result, _ = self._weigher.shown_in_test(
            hypotheses,
            test,
            rows=conclusion.shown_by[rows],
            before=before,
            is_rough=is_rough,
        )
        fault = conclusion.comes_and_goes[rows]
        is_fleeting = fault >= 0
        if isinstance(test.look, Reading):
            return result
        if not is_fleeting.any():
            return result
        away, _ = self._weigher.shown_in_test(
            hypotheses,
            test,
            rows=conclusion.away[rows][is_fleeting],
            before=before,
            is_rough=is_rough,
        )
        presence = self._compiled.presence
        chance = presence.chance(self._model.asked(test.look.symptom).state)
        result = result.copy()
        result[is_fleeting] = presence.mixed(
            result[is_fleeting], away, chance[fault[is_fleeting]]
        )
        return result

    def is_test_solved(
        self, conclusion: Conclusion, test: SubstitutionTest, rows: IntArray
    ) -> bool:
        """Return whether `in_test` has nothing to solve to see what a test is worth.

        Parameters
        ----------
        conclusion : Conclusion
            What the facts amount to.
        test : SubstitutionTest
            What is changed, and what is looked at.
        rows : IntArray
            Rows of the conclusion, shape (n_rows,).

        Returns
        -------
        bool
        """
        needed = conclusion.shown_by[rows]
        if not isinstance(test.look, Reading):
            away = conclusion.away[rows][conclusion.comes_and_goes[rows] >= 0]
            needed = np.concatenate([needed, away])
        return self._weigher.changed_cars.is_solved(
            conclusion.hypotheses, test, rows=np.unique(needed), is_rough=True
        )

    def presence_chance(self, observation: Observation, fault: int) -> FloatArray:
        """Return the chance that a fault that comes and goes was there at a look.

        Parameters
        ----------
        observation : Observation
            What was seen.
        fault : int
            Its place among such faults.

        Returns
        -------
        FloatArray
            Shape (n_draws,). [1]
        """
        return np.asarray(self._weigher.presence_chance(observation)[fault])
