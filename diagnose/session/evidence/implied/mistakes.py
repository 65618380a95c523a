"""How likely a reading was a slip, or an answer wrong, as things are believed now.

By Bayes' rule: the part of the likelihood that a mistake contributes, weighed by the
belief in each fault set and draw. Leaves asking for something again to those who ask.

Decisions that bind it:

- What may well have been a mistake can be asked for again, once: two that agree are no
  mistake, and more often it would be asked without end where a fault comes and goes.
- What shows the same whoever looks again is not asked for again: a fuse, or a test that
  brings a fault.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.measurement.readings import ReadingKind
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.implied.expected_answers import ExpectedAnswers
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import ReadingFact, SubstitutionFact, SymptomFact

# The least belief in a fault set that is asked about a mistake. [1] Derived: a
# thousandth moves the answer by a thousandth.
LEAST_BELIEVED = 1e-3


class Mistakes:
    """How likely each fact of one car is a mistake.

    Parameters
    ----------
    weigher : Weigher
        Knows slips and wrong reports.
    expected : ExpectedAnswers
        Knows how likely a symptom is there.
    """

    def __init__(self, weigher: Weigher, expected: ExpectedAnswers) -> None:
        self._weigher, self._expected = weigher, expected
        # of the latest conclusion: several ask, for hundreds of facts
        self._latest: Conclusion | None = None
        self._chances: dict[int, float] = {}

    def chance(self, conclusion: Conclusion, number: int) -> float:
        """Return how likely an observation was a slip, or a wrong answer.

        Parameters
        ----------
        conclusion : Conclusion
            What the facts amount to.
        number : int
            Place of the observation in it.

        Returns
        -------
        float
            0 for one that was repeated, for the complaint, and for what shows the same
            whoever looks again: a fuse, a test that brings a fault, or one with the
            circuit changed. [1]
        """
        if conclusion is not self._latest:
            self._latest, self._chances = conclusion, {}
        if number not in self._chances:
            self._chances[number] = self._chance(conclusion, number)
        return self._chances[number]

    def _chance(self, conclusion: Conclusion, number: int) -> float:
        """Return what `chance` says, worked out."""
        noted = conclusion.observations[number]
        fact, weights = noted.observation, conclusion.beliefs.weights
        if noted.times > 1 or noted.is_complaint:
            return 0.0
        if isinstance(fact, SubstitutionFact):
            return 0.0
        rows = np.flatnonzero(weights.sum(axis=1) > LEAST_BELIEVED)
        likelihood = conclusion.likelihoods[number][rows]
        if isinstance(fact, SymptomFact):
            if self._weigher.provocation(fact) is not None:
                return 0.0
            there = self._expected.yes_chance(conclusion, fact.symptom, rows)
            share = self._wrong_share(fact, there, likelihood)
        elif fact.reading.kind is ReadingKind.LOOK:
            return 0.0
        else:
            shown_by = conclusion.shown_by[rows]
            share = self._slip_share(conclusion, noted, fact, likelihood, rows=shown_by)
        believed = weights[rows]
        return float((share * believed).sum() / believed.sum())

    def _wrong_share(
        self, fact: SymptomFact, there: FloatArray, likelihood: FloatArray
    ) -> FloatArray:
        """Return how much of the likelihood of an answer is that of a wrong one.

        Parameters
        ----------
        there : FloatArray
            Chance that the symptom is there, shape (n_rows, n_draws). [1]
        likelihood : FloatArray
            Of the rows, same shape. [1]
        """
        symptom = self._weigher.symptom_of(fact, is_complaint=False)
        wrong = (
            (1.0 - there) * symptom.imagined_probability
            if fact.is_present
            else there * symptom.missed_probability
        )
        # what rules a row out leaves nothing that could be wrong
        none = np.zeros_like(likelihood)
        share = np.divide(wrong, likelihood, out=none, where=likelihood > 0.0)
        return np.minimum(share, 1.0)

    def _slip_share(
        self,
        conclusion: Conclusion,
        noted: Noted,
        fact: ReadingFact,
        likelihood: FloatArray,
        *,
        rows: IntArray,
    ) -> FloatArray:
        """Return how much of the likelihood of a reading is that of a slip.

        Parameters
        ----------
        likelihood : FloatArray
            Of the rows, shape (n_rows, n_draws).
        rows : IntArray
            The rows that hold what each set shows, shape (n_rows,).
        """
        hypotheses = conclusion.hypotheses
        density = self._weigher.slips.density(fact, hypotheses, rows)
        wrong = self._weigher.slips.behind(noted).probability * density
        state = fact.reading.state
        wrong = wrong * self._weigher.state_chance(hypotheses, state, rows=rows)
        return np.asarray(np.minimum(wrong / likelihood, 1.0))
