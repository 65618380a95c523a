"""From standing facts to beliefs: what the facts amount to, by Bayes' rule.

Brings together what was seen, the fault sets worth looking at, how likely what was seen
is under each, and repairs. Pure in the facts: the same facts in any order between
repairs give the same beliefs, once all that they call for is solved. Leaves likelihoods
to `row_likelihoods`, the search to `several_faults` and solving to `solved_sets`.

Decision that binds it: a repair done again fails rarely. Else two bad repairs of one
part would prove that the fault is outside the model.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from diagnose.faults.causes import FaultSet
from diagnose.faults.signatures import mended_along
from diagnose.inference.belief.beliefs import Beliefs, RepairStep
from diagnose.inference.compiled.bank import SOUND_ROW
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.search.found_sets import Combined
from diagnose.session.evidence.conclusion import Conclusion, believing
from diagnose.session.evidence.implied.expected_answers import ExpectedAnswers
from diagnose.session.evidence.implied.mistakes import Mistakes
from diagnose.session.evidence.implied.predicted_range import sound_range
from diagnose.session.evidence.observations import observations_of
from diagnose.session.evidence.row_likelihoods import RowLikelihoods
from diagnose.session.evidence.seen import Noted, shown
from diagnose.session.evidence.several_faults.case_priors import CasePriors
from diagnose.session.evidence.several_faults.fitted_severities import FittedSeverities
from diagnose.session.evidence.several_faults.pair_search import FactsTold, Searcher
from diagnose.session.evidence.several_faults.seen_facts import SeenFacts, SinglesTold
from diagnose.session.evidence.several_faults.severity_ladders import Ladders
from diagnose.session.evidence.shared_errors import SharedErrors
from diagnose.session.evidence.solved_sets import SolvedSets
from diagnose.session.evidence.solving_allowance import Allowance, everything_is_solved
from diagnose.session.evidence.sound_draws import draw_shares
from diagnose.session.evidence.staying import staying
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import ContextFact, Fact, ReadingFact
from diagnose.session.ready_car import Model

# The least belief in a pair that a third cause is looked for beside. [1] Derived: one
# less likely gains no third cause that counts.
LEAST_EXTENDED = 0.05

# The chance that a repair cures when it is done a second time. [1] From memory: checked
# and done again it fails one time in thirty.
SECOND_CURE = 0.97


class Reasoner:
    """Draws conclusions from facts about one car.

    What was solved for one conclusion is kept for the next.

    Parameters
    ----------
    model : Model
        The car, made ready for diagnosis.

    Attributes
    ----------
    weigher : Weigher
        How likely one observation is under each fault set.
    expected : ExpectedAnswers
        What a person is expected to see next under a conclusion.
    mistakes : Mistakes
        How likely each fact of a conclusion is a mistake.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._compiled: Compiled = model.compiled
        self.weigher = Weigher(model)
        self.expected = ExpectedAnswers(model, self.weigher)
        self.mistakes = Mistakes(self.weigher, self.expected)
        seen = SeenFacts(model, self.weigher)
        ladders = Ladders(self._compiled, self.weigher)
        self._solved = SolvedSets(self._compiled, ladders)
        self._likelihoods = RowLikelihoods(self._compiled, self.weigher)
        self._searcher = Searcher(model, seen, ladders)
        self._severities = FittedSeverities(
            self._compiled, ladders, seen, mark=self._likelihoods.mark_written
        )
        self._shared_errors = SharedErrors(model)
        self._latest_priors: CasePriors | None = None

    def conclude(
        self,
        facts: Sequence[Fact],
        *,
        solves: Callable[[], bool] = everything_is_solved,
    ) -> Conclusion:
        """Return what standing facts amount to.

        Parameters
        ----------
        facts : Sequence[Fact]
            Those that were told and not taken back, in order.
        solves : Callable
            Whether fault sets that facts call for are solved where they are missing;
            asked before each piece of work.

        Returns
        -------
        Conclusion
            Not complete where something was missing and could not be solved.

        Raises
        ------
        ImpossibleEvidenceError
            If no fault set can give the facts, not even with a slip of the meter.
        """
        bank = self._compiled.bank
        bank.written_for = None
        seen, repaired = observations_of(facts, self._model)
        observations = self._shared_errors.counted(seen)
        answers = {f.context: f.answer for f in facts if isinstance(f, ContextFact)}
        priors, repairs = self._priors(answers), repair_steps(repaired, self._model)
        allowance = Allowance(solves)
        facts_told = self._facts_told(observations, priors, repairs, allowance)
        drawn = partial(
            self._concluded,
            observations,
            answers,
            repairs,
            sharp=facts_told.told.sharp_shares(),
            allowance=allowance,
        )
        combined = self._combined(facts_told, priors, repairs, allowance, drawn)
        conclusion = drawn(combined)
        triples = self._triples(conclusion, facts_told, priors)
        triples = self._allowed(triples, allowance)
        if triples.sets:
            combined = combined.and_also(triples.sets)
            conclusion = drawn(combined)
        left_out = combined.left_out_probability + triples.left_out_probability
        bank.written_for = tuple(facts)
        return replace(
            conclusion,
            left_out_probability=min(left_out, 1.0),
            is_complete=allowance.is_complete,
        )

    def _concluded(
        self,
        observations: tuple[Noted, ...],
        answers: Mapping[str, str],
        repairs: tuple[RepairStep, ...],
        combined: Combined,
        *,
        sharp: Mapping[FaultSet, float],
        allowance: Allowance,
    ) -> Conclusion:
        """Return what facts and repairs amount to under single causes and some sets."""
        rows, bank = self._solved.rows(combined.sets), self._compiled.bank
        sets: list[FaultSet] = [()] * rows.n_rows
        for fault_set, row in rows.of.items():
            sets[row] = fault_set
        prior = np.zeros((rows.n_rows, self._compiled.n_draws))
        prior[rows.alone] = self._priors(answers).singles[:, None]
        if combined.sets:
            places = [rows.of[fault_set] for fault_set in combined.sets]
            likely = self._compiled.priors.set_probabilities(combined.sets, answers)
            prior[places] = likely[:, None]
        prior /= self._compiled.n_draws
        hypotheses = replace(bank.all, sets=tuple(sets))
        likelihoods = self._likelihoods.of(observations, hypotheses, rows)
        held = staying(
            observations,
            likelihoods,
            rows,
            epoch=len(repairs),
            presence=self._compiled.presence,
            weigher=self.weigher,
        )
        prior *= draw_shares(observations, likelihoods)
        draft = Conclusion(
            hypotheses=hypotheses,
            beliefs=Beliefs(sets=(), weights=np.empty((0, 0)), log_evidence=0.0),
            observations=observations,
            likelihoods=likelihoods,
            repairs=repairs,
            prior=prior,
            left_out_probability=0.0,
            shown_by=rows.shown_by,
            away=rows.away,
            comes_and_goes=rows.comes_and_goes,
            first_fleeting=len(bank.all.sets),
            together=held.together,
            there_now=held.there_now,
            is_good=tuple(self._is_good(noted) for noted in observations),
        )
        conclusion = believing(draft)
        redrawn = self._severities.redrawn(
            conclusion, combined, rows.of, allowance, sharp=sharp
        )
        return conclusion if redrawn is None else believing(redrawn)

    def _is_good(self, noted: Noted) -> bool:
        """Return whether a reading after a repair lies in the band of the sound car."""
        fact = noted.observation
        if noted.epoch == 0 or not isinstance(fact, ReadingFact):
            return False
        bank = self._compiled.bank.all
        sound = self._compiled.readings.predicted(bank, fact.reading, rows=SOUND_ROW)
        low, high = sound_range(sound[0])
        rounding = 0.5 * fact.rounded_to
        return low - rounding <= shown(fact) <= high + rounding

    def _facts_told(
        self,
        observations: Sequence[Noted],
        priors: CasePriors,
        repairs: Sequence[RepairStep],
        allowance: Allowance,
    ) -> FactsTold:
        """Return what the facts say of single causes."""
        rows = self._solved.rows(())
        weighed = self._likelihoods.of(observations, self._compiled.bank.all, rows)
        told = SinglesTold(weighed, rows.alone)
        return self._searcher.told(observations, told, priors, repairs, allowance)

    def _combined(
        self,
        facts: FactsTold,
        priors: CasePriors,
        repairs: Sequence[RepairStep],
        allowance: Allowance,
        drawn: Callable[[Combined], Conclusion],
    ) -> Combined:
        """Return the sets beyond single causes that facts and repairs call for."""
        mended = Combined()
        if repairs:
            sets = self._searcher.companions(facts, priors, repairs)
            mended = self._allowed(Combined().and_also(sets), allowance)
            draft = drawn(mended)
            reached = draft.beliefs.log_evidence + float(np.log(draft.prior.sum()))
            facts = facts.beside(reached - float(np.log(priors.singles[0])))
        found = self._searcher.pairs(facts, priors, allowance)
        return self._allowed(found.and_also(mended.sets), allowance)

    def _triples(
        self, conclusion: Conclusion, facts: FactsTold, priors: CasePriors
    ) -> Combined:
        """Return the sets of three that facts call for beside the pairs that lead."""
        likely = conclusion.beliefs.set_probabilities()
        row_of: dict[FaultSet, int] = {
            fault_set: row
            for row, fault_set in enumerate(conclusion.hypotheses.sets)
            if len(fault_set) == 2
            and conclusion.prior[row].any()
            and conclusion.comes_and_goes[row] < 0
            and likely[row] > LEAST_EXTENDED
        }
        shares = {fault_set: float(likely[row]) for fault_set, row in row_of.items()}
        told = {
            fault_set: {
                noted: likelihood[row]
                for noted, likelihood in zip(
                    conclusion.observations, conclusion.likelihoods, strict=True
                )
            }
            for fault_set, row in row_of.items()
        }
        return self._searcher.triples(facts, shares, told, priors)

    def _priors(self, answers: Mapping[str, str]) -> CasePriors:
        """Return the priors under some answers, worked out once while they stand."""
        key = tuple(sorted(answers.items()))
        if self._latest_priors is None or self._latest_priors.answers != key:
            self._latest_priors = CasePriors.under(answers, self._compiled)
        return self._latest_priors

    def _allowed(self, found: Combined, allowance: Allowance) -> Combined:
        """Return the found sets that are solved already or may be solved now."""
        there = allowance.within(found.sets, self._solved.is_solved)
        return found if len(there) == len(found.sets) else found.only(frozenset(there))


def repair_steps(names: Sequence[str], model: Model) -> tuple[RepairStep, ...]:
    """Return repairs with what each mends, and its chance to cure.

    Parameters
    ----------
    names : Sequence[str]
        `Cause.name` of what was mended, in order; a repair mends all causes of its
        line, and one done again is taken to be done right.
    model : Model
        The car, made ready for diagnosis.
    """
    causes = model.compiled.causes
    steps: list[RepairStep] = []
    for name in names:
        index = next(i for i, cause in enumerate(causes) if cause.name == name)
        line = frozenset(next(line for line in model.lines if index in line))
        line |= mended_along(causes[index], causes)
        is_again = any(step.causes == line for step in steps)
        cure = causes[index].mode.repair.cure_probability
        steps.append(
            RepairStep(causes=line, cure_probability=SECOND_CURE if is_again else cure)
        )
    return tuple(steps)
