"""After a repair: prove it, then test the complaint itself.

A fault that was brought on purpose is proven gone by the same test. Of several
complaints the one likeliest to be gone is tested, and the diagnosis goes on
until all are: one repair seldom cures two complaints with two causes. Leaves which
reading proves a repair to `proof_steps`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.measurement.symptoms import Complaint
from diagnose.session.advice.repeated_repairs import RepeatedRepairs
from diagnose.session.answer import (
    LIKELIER_THAN_NOT,
    Advice,
    Advised,
    ProposedStep,
    Verdict,
)
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.evidence.implied.expected_answers import ExpectedAnswers
from diagnose.session.evidence.implied.failed_repairs import PROVING_ODDS
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import COMING_AND_GOING, Moment
from diagnose.session.steps.proposing.proof_steps import ProofSteps
from diagnose.session.steps.proposing.proposals import Proposals

# From here on a repair counts as proven. [1] Own choice: four in five.
PROVEN = 0.8

# From these odds on, what was seen since a repair rules something out: that it failed,
# or that all is well. [1] Derived: proving odds the other way round.
RULED_OUT = 1.0 / PROVING_ODDS

# Said after a reading that tells cured from not cured.
SOUND = "The reading is what a sound car shows. Now test the complaint itself."

# Said after one that does not.
UNTOLD = (
    "What was seen since does not tell mended from not by ten to one: only the "
    "complaint itself can. Test it now."
)

# Said where a test brought the fault before.
BRING_IT_AGAIN = (
    "Prove the repair: do again what brought the fault; it must not come now. Then "
    "test the complaint itself."
)

# Said at the end of a fault that came and went.
TIME_PROVES = (
    "The complaint is gone for now. It came and went, so time has the last word: use "
    "the car as you did when it came back, and go on with this case if it does."
)

# Said where the complaint is gone, but not what the readings speak of.
STILL_WRONG = (
    "But what was measured says that something is still wrong: see the causes, and "
    "test it once more before you rely on it."
)

# Said where the complaint shows at no one look.
USE_IT = (
    " It shows only in use: type leave, use the car for some days as you did when it "
    "came, then resume and answer."
)

# Said where the test of the complaint was skipped.
TEST_LATER = (
    "Only the complaint itself can prove this repair. If it can't be tested now, "
    "leave; resume when it was."
)

# Said where no reading would.
UNPROVABLE = (
    "No reading here tells mended from not by ten to one: only the complaint itself "
    "can prove this repair. Test it now."
)


class RepairProof:
    """Knows how a repair of one car is proven.

    Parameters
    ----------
    model : Model
    expected : ExpectedAnswers
        How likely a complaint is gone.
    proposals : Proposals
        Steps in words.
    proof_steps : ProofSteps
        The reading that tells whether a repair took.
    repeats : RepeatedRepairs
        What was seen since says of a repair.
    """

    def __init__(
        self,
        model: Model,
        expected: ExpectedAnswers,
        proposals: Proposals,
        proof_steps: ProofSteps,
        repeats: RepeatedRepairs,
    ) -> None:
        self._model = model
        self._expected = expected
        self._proposals = proposals
        self._proof_steps = proof_steps
        self._repeats = repeats

    def advised(self, moment: Moment) -> Advised | None:
        """Return how to prove the latest repair.

        Parameters
        ----------
        moment : Moment

        Returns
        -------
        Advised or None
            None where nothing was mended, no complaint was told, or the proof failed.
        """
        facts = moment.facts
        told = self._complaints(facts)
        repairs = [n for n, fact in enumerate(facts) if isinstance(fact, RepairFact)]
        if not repairs or not told:
            return None
        # of several complaints one may be gone before another's cause is mended
        since = facts[repairs[0 if len(told) > 1 else -1] + 1 :]
        still_there = [one for one in told if not _is_cured(one, since)]
        if not still_there:
            healthy = float(moment.conclusion.beliefs.set_probabilities()[0])
            says = _fixed_words(healthy, len(told))
            if self._came_and_went(facts):
                says = TIME_PROVES
            advice = Advice(verdict=Verdict.FIXED, says=says, cautions=())
            return Advised(steps=(), advice=advice)
        wanted, cured = self._likeliest_cured(still_there, moment.conclusion)
        later = facts[repairs[-1] + 1 :]
        if cured < LIKELIER_THAN_NOT and any(_is_cured(one, later) for one in told):
            # one complaint is gone by this repair, another is hardly: go on with that
            return None
        tests = [
            fact
            for fact in later
            if isinstance(fact, SymptomFact) and fact.symptom == wanted.retest
        ]
        if len(tests) > 1 or (tests and cured < PROVEN):
            return None
        if tests:
            says = (
                "The readings say it is mended, the complaint says not: test it again."
            )
            return self._retest(wanted, moment, says)
        latest = facts[repairs[-1]]
        assert isinstance(latest, RepairFact)
        if any(isinstance(fact, ReadingFact | SymptomFact) for fact in later):
            odds = self._repeats.failure_odds(latest.cause, moment)
            is_skipped = SkipFact(step=SymptomCheck(symptom=wanted.retest)) in later
            if odds >= PROVING_ODDS or is_skipped:
                return None
            if len(told) == 1 and self._is_disproven(wanted, moment):
                return None
            says = SOUND if odds < RULED_OUT else UNTOLD
            return self._retest(wanted, moment, says)
        return self._first_proof(latest.cause, wanted, moment)

    def _is_disproven(self, wanted: Complaint, moment: Moment) -> bool:
        """Return whether days of use would only tell that something is still wrong.

        A complaint that shows at a look is looked for all the same: that takes minutes.
        """
        is_in_use = self._model.asked(wanted.retest).shows_in_use
        return is_in_use and self._repeats.sound_odds(moment) <= RULED_OUT

    def _first_proof(self, cause: str, wanted: Complaint, moment: Moment) -> Advised:
        """Return the reading that proves a repair, and the test of the complaint."""
        skipped = frozenset(
            fact.step for fact in moment.facts if isinstance(fact, SkipFact)
        )
        says = "Prove the repair: take this reading, then test the complaint itself."
        proof = self._brought_again(moment, skipped)
        if proof is not None:
            says = BRING_IT_AGAIN
        else:
            proof = self._proof_steps.proving(cause, moment, excluded=skipped)
        if proof is None:
            return self._retest(wanted, moment, UNPROVABLE)
        retest = self._retest(wanted, moment, says)
        advice = Advice(verdict=Verdict.PROVE, says=says, cautions=proof.cautions)
        return Advised(steps=(proof, *retest.steps), advice=advice)

    def _brought_again(
        self, moment: Moment, skipped: frozenset[Step]
    ) -> ProposedStep | None:
        """Return the test that brought the fault before, to be done once more."""
        for fact in reversed(moment.facts):
            if not isinstance(fact, SymptomFact) or fact.step in skipped:
                continue
            if fact.is_present and fact.symptom in self._model.provocations:
                reason = "what brought the fault must not bring it now"
                return self._proposals.asked(fact.step, moment, reason=reason)
        return None

    def _came_and_went(self, facts: Sequence[Fact]) -> bool:
        """Return whether the fault was told, or mended, as one that comes and goes."""
        told = any(
            isinstance(fact, ContextFact) and fact.answer == COMING_AND_GOING
            for fact in facts
        )
        mended = {fact.cause for fact in facts if isinstance(fact, RepairFact)}
        causes = self._model.compiled.causes
        return told or any(c.name in mended and not c.mode.lasts for c in causes)

    def _retest(self, wanted: Complaint, moment: Moment, says: str) -> Advised:
        """Return the test of a complaint."""
        retest = self._proposals.asked(
            SymptomCheck(symptom=wanted.retest),
            moment,
            reason="the complaint itself has to be gone",
        )
        skipped = {one.step for one in moment.facts if isinstance(one, SkipFact)}
        if retest.step in skipped:
            says = TEST_LATER
        elif self._model.asked(wanted.retest).shows_in_use:
            says += USE_IT
        advice = Advice(verdict=Verdict.PROVE, says=says, cautions=retest.cautions)
        return Advised(steps=(retest,), advice=advice)

    def _complaints(self, facts: Sequence[Fact]) -> list[Complaint]:
        """Return the complaints told, each once, the latest first."""
        told = [fact.complaint for fact in facts if isinstance(fact, ComplaintFact)]
        known = self._model.knowledge.complaints
        return [known[name] for name in dict.fromkeys(reversed(told))]

    def _likeliest_cured(
        self, complaints: Sequence[Complaint], conclusion: Conclusion
    ) -> tuple[Complaint, float]:
        """Return the complaint likeliest to be gone, and how likely it is.

        With one complaint that is how likely the car is sound; of several, one may be
        gone while another's cause is still there.
        """
        if len(complaints) == 1:
            return complaints[0], float(conclusion.beliefs.set_probabilities()[0])
        weights = conclusion.beliefs.weights
        every = np.arange(len(weights))
        chances = []
        for complaint in complaints:
            chance = self._expected.yes_chance(conclusion, complaint.retest, every)
            seen = float((chance * weights).sum())
            chances.append(seen if complaint.cured_answer else 1.0 - seen)
        best = chances.index(max(chances))
        return complaints[best], chances[best]


def _is_cured(complaint: Complaint, later: Sequence[Fact]) -> bool:
    """Return whether a complaint was gone when it was last tested."""
    tests = [
        fact.is_present is complaint.cured_answer
        for fact in later
        if isinstance(fact, SymptomFact) and fact.symptom == complaint.retest
    ]
    return bool(tests) and tests[-1]


def _fixed_words(healthy: float, n_complaints: int) -> str:
    gone = "The complaint is gone" if n_complaints == 1 else "The complaints are gone"
    if healthy < LIKELIER_THAN_NOT:
        return f"{gone}. {STILL_WRONG}"
    says = f"{gone}: repaired and proven."
    if healthy < PROVEN:
        says += " Something else may still be wrong; see the causes."
    return says
