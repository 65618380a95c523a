"""The diagnosis: facts in, ranking and next step out. No screen, no disk, no clock.

Keeps what was told and where that leaves things, and nothing else: a fact is checked,
then `answering` works out what all of them amount to. All three faces go through it. A
fact that makes no sense is refused and leaves everything as it was.

At a screen a fact is answered at once, from single causes and what is solved already;
what that answer did without is solved next, then what the likely next facts need, while
the person is at the car, and it has stopped before a line is heard. That nothing fits,
or that it is hopeless, is said only when everything was solved.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from diagnose.arrays import FloatArray
from diagnose.circuit.car import Car
from diagnose.errors import ImpossibleEvidenceError
from diagnose.inference.prior.several_faults import more_than_two
from diagnose.measurement.readings import Reading
from diagnose.measurement.steps import Step
from diagnose.session.advice.advice import FINAL_VERDICTS
from diagnose.session.advice.doubtful_readings import Doubt, DoubtfulReadings
from diagnose.session.answer import (
    Answer,
    ProposedStep,
    RankedCause,
)
from diagnose.session.answering import Answering
from diagnose.session.closing import cure_of
from diagnose.session.evidence.solving_allowance import Allowance, nothing_is_solved
from diagnose.session.fact_checks import FactChecks
from diagnose.session.facts import (
    ContextFact,
    Fact,
    ReadingFact,
    SymptomFact,
    standing_facts,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.likely_facts import likely_facts
from diagnose.session.steps.moment import Moment, unchanged_symptom
from diagnose.session.steps.priced import Priced
from diagnose.session.words.vocabulary import vocabulary_of

# More steps than any car has: every one is to be priced.
EVERY_STEP = 100_000

# How many lines of the ranking come with what each fact weighs for them. Own choice:
# what a page shows.
EXPLAINED_LINES = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Considered:
    """Where a diagnosis stands with some facts; one record, so never half of it.

    Parameters
    ----------
    facts : tuple[Fact, ...]
        All told, those taken back included.
    moment : Moment
        What the standing ones amount to.
    answer : Answer
        Everything known.
    is_complete : bool
        False where the moment did without what is not solved yet.
    """

    facts: tuple[Fact, ...]
    moment: Moment
    answer: Answer
    is_complete: bool


class Diagnosis:
    """One diagnosis on one car.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self.vocabulary = vocabulary_of(model)
        self.safety_note = model.knowledge.safety_note
        self._checks = FactChecks(model, self.vocabulary)
        self._answering = Answering(model)
        self._reasoner = self._answering.reasoner
        self._moments = self._answering.moments
        self._doubtful = DoubtfulReadings(model)
        moment = self._moments.at((), self._reasoner.conclude(()))
        answer = self._answering.answered(moment, explained=EXPLAINED_LINES)
        # complete or not is the answer: asking about it may solve more for the moment
        self._now = Considered(facts=(), moment=moment, answer=answer, is_complete=True)

    @property
    def answer(self) -> Answer:
        """Everything known after the latest fact."""
        return self._now.answer

    @property
    def car(self) -> Car:
        """The car that is diagnosed."""
        return self._model.car

    @property
    def facts(self) -> tuple[Fact, ...]:
        """All facts told, those taken back included."""
        return self._now.facts

    def tell(self, fact: Fact, *, at_once: bool = False) -> Answer:
        """Take a fact in and return what follows.

        Parameters
        ----------
        fact : Fact
        at_once : bool
            Answer from what is solved already: single causes, and what was looked
            ahead at or asked for before. `complete` does the rest, while the person
            reads and is at the car. What each fact tells of a cause is left to `why`.

        Returns
        -------
        Answer

        Raises
        ------
        ReadingError
            If the fact names something the car does not have, or a value that can't be.
        ImpossibleEvidenceError
            If no cause can give the facts together. In both cases nothing is changed.
        """
        self.take(self.consider([fact], at_once=at_once))
        return self.answer

    def consider(self, told: Sequence[Fact], *, at_once: bool = False) -> Considered:
        """Return where the diagnosis would stand with more facts, and take none in.

        Parameters
        ----------
        told : Sequence[Fact]
            In the order they are told.
        at_once : bool
            As for `tell`.

        Returns
        -------
        Considered
            For `take`.

        Raises
        ------
        ReadingError, ImpossibleEvidenceError
            As `tell` does, for the first fact that is refused.
        """
        found = self._now
        for fact in told:
            self._checks.check(fact)
            found = self._with((*found.facts, fact), at_once=at_once)
        return found

    def recall(self, told: Sequence[Fact], *, at_once: bool = False) -> None:
        """Take in the facts of an earlier evening, and answer once for all of them.

        Parameters
        ----------
        told : Sequence[Fact]
            In the order they were told.
        at_once : bool
            As for `tell`.

        Raises
        ------
        ReadingError, ImpossibleEvidenceError
            If a fact is refused, or all together can't be; none is taken in.
        """
        for fact in told:
            self._checks.check(fact)
        if told:
            facts = (*self._now.facts, *told)
            self.take(self._with(facts, at_once=at_once))

    def take(self, considered: Considered) -> None:
        """Let the diagnosis stand as considered.

        Parameters
        ----------
        considered : Considered
            From `consider`, with nothing taken in since.
        """
        self._now = considered

    def _with(self, facts: tuple[Fact, ...], *, at_once: bool) -> Considered:
        standing = standing_facts(facts)
        found = self._at_once(standing) if at_once else None
        if found is None:
            moment = self._moments.at(standing, self._reasoner.conclude(standing))
            explained = 0 if at_once else EXPLAINED_LINES
            found = moment, self._answering.answered(moment, explained=explained), True
        moment, answer, is_complete = found
        return Considered(
            facts=facts, moment=moment, answer=answer, is_complete=is_complete
        )

    def _at_once(self, standing: Sequence[Fact]) -> tuple[Moment, Answer, bool] | None:
        """Return what follows by what is solved, or None where it takes more."""
        try:
            conclusion = self._reasoner.conclude(standing, solves=nothing_is_solved)
        except ImpossibleEvidenceError:
            return None
        moment = self._moments.at(standing, conclusion)
        allowance = Allowance(nothing_is_solved)
        answer = self._answering.answered(moment, explained=0, allowance=allowance)
        is_complete = conclusion.is_complete and allowance.is_complete
        if not is_complete and answer.advice.verdict in FINAL_VERDICTS:
            return None
        return moment, answer, is_complete

    def complete(self, is_over: Callable[[], bool] = lambda: False) -> None:
        """Solve what the latest answer did without, and work it out anew.

        Parameters
        ----------
        is_over : Callable
            Whether it should leave off; the answer then stays as it is.
        """
        now = self._now
        if now.is_complete or is_over():
            return
        standing = standing_facts(now.facts)
        # the rows of the conclusion before it are written over
        conclusion = self._reasoner.conclude(standing, solves=lambda: not is_over())
        moment = self._moments.at(standing, conclusion)
        answer, is_complete = now.answer, conclusion.is_complete
        if is_complete:
            allowance = Allowance(lambda: not is_over())
            found = self._answering.answered(moment, explained=0, allowance=allowance)
            is_complete = allowance.is_complete
            answer = found if is_complete else answer
        self._now = replace(now, moment=moment, answer=answer, is_complete=is_complete)

    def look_ahead(self, is_over: Callable[[], bool]) -> None:
        """Complete the answer, then solve what those to the likeliest next facts need.

        May run in a thread of its own, as long as nothing else is asked of the
        diagnosis meanwhile.

        Parameters
        ----------
        is_over : Callable
            Whether it should leave off; asked between one piece of work and the next.
        """
        if not is_over():
            self._model.compiled.predictor.solver().prepare()
        self.complete(is_over)
        if is_over():
            return
        standing, moment = standing_facts(self._now.facts), self._standing_moment()
        allowance = Allowance(lambda: not is_over())
        for fact in likely_facts(self._now.answer, self._likely_values(moment)):
            if is_over():
                return
            facts = (*standing, fact)
            # what the model can't explain needs nothing solved
            with contextlib.suppress(ImpossibleEvidenceError):
                conclusion = self._reasoner.conclude(facts, solves=allowance.asked)
                moment = self._moments.at(facts, conclusion)
                self._answering.steps.looks.solve_tests(moment, allowance=allowance)

    def _likely_values(self, moment: Moment) -> Sequence[float]:
        """Return values that the first step proposed may well show."""
        for step in self._now.answer.next_steps[:1]:
            if isinstance(step.step, Reading):
                return self._answering.outcomes.likely_values(step.step, moment)
        return ()

    def why(self, cause: str) -> RankedCause:
        """Return a cause with every fact for and against it, and what would settle it.

        Parameters
        ----------
        cause : str
            Its name.

        Returns
        -------
        RankedCause

        Raises
        ------
        ReadingError
            If the car has no such cause.
        """
        self._checks.check_cause(cause)
        moment, settled_by = self._standing_moment(), ""
        if moment.conclusion.observations:
            taken = self._answering.taken(moment)
            settled_by = self._answering.proof_steps.settling(
                cause, moment, excluded=taken
            )
        return self._answering.explainer.cause(cause, moment, settled_by=settled_by)

    def unchanged(self) -> SymptomFact | None:
        """Return what the car does as long as nothing has changed.

        Returns
        -------
        SymptomFact or None
            That by which the complaint told last is tested, as it is not cured; without
            a complaint the symptom told last. None where neither was told.
        """
        return unchanged_symptom(standing_facts(self._now.facts), self._model)

    def expect(self, step: Step) -> ProposedStep:
        """Return any step with what it would show and tell, proposed or not.

        Parameters
        ----------
        step : Step

        Returns
        -------
        ProposedStep

        Raises
        ------
        ReadingError
            If it names something the car does not have.
        """
        self._checks.check_step(step)
        moment = self._standing_moment()
        reason = "asked for"
        if isinstance(step, Reading):
            reason = self._answering.explainer.why_untelling(step, moment) or reason
        return self._answering.proposals.asked(step, moment, reason=reason)

    def is_closed(self) -> bool:
        """Return whether the complaint is gone, tested after the last repair."""
        complaints = self._model.knowledge.complaints
        return cure_of(standing_facts(self._now.facts), complaints) is not None

    def words_of(self, fact: Fact) -> str:
        """Return one line for a fact, as `Answer.facts` would have it."""
        return self._answering.words_of(fact)

    def doubt(self, fact: ReadingFact) -> Doubt | None:
        """Return why a reading is asked about before it is told; None where it is not.

        Raises what `tell` raises.
        """
        self._checks.check(fact)
        return self._doubtful.doubt(fact, self._standing_moment())

    def candidates(self) -> Sequence[Priced]:
        """Return every step that could be taken now, the program's choice first."""
        moment = self._standing_moment()
        return self._answering.steps.ranked(
            moment,
            excluded=self._answering.taken(moment),
            most=EVERY_STEP,
        )

    def live_shares(self, readings: Sequence[Reading]) -> FloatArray:
        """Return how likely volts are more than half the supply.

        Parameters
        ----------
        readings : Sequence[Reading]
            Of DC volts; at least one.

        Returns
        -------
        FloatArray
            Shape (n_readings,). [1]
        """
        return self._answering.outcomes.live_shares(readings, self._standing_moment())

    def more_than_two_probability(self) -> float:
        """Return a bound on the chance of three faults or more, if there is any.

        Before anything but the history was told. Sets of three are looked at where the
        facts ask for them, others are not.

        Returns
        -------
        float
            [1]
        """
        answers = {
            fact.context: fact.answer
            for fact in standing_facts(self._now.facts)
            if isinstance(fact, ContextFact)
        }
        return more_than_two(self._model.compiled.priors, answers)

    def _standing_moment(self) -> Moment:
        """Return the moment, concluded anew if the car's rows were written since.

        A refused fact, and another diagnosis on the same car, write over them.
        """
        standing = standing_facts(self._now.facts)
        if self._model.compiled.bank.written_for != standing:
            conclusion = self._reasoner.conclude(standing)
            moment = self._moments.at(standing, conclusion)
            self._now = replace(self._now, moment=moment)
        return self._now.moment
