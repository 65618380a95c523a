"""What facts amount to, stage by stage: conclusion, explanation, steps, advice.

Knows which stage needs which, and the order of things. Keeps nothing of a diagnosis:
the same moment gives the same answer. Leaves facts and their order to `diagnosis`.
"""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.measurement.steps import Step
from diagnose.session.advice.advice import Adviser
from diagnose.session.advice.first_start_guide import PrestartGuide
from diagnose.session.advice.open_steps import same_steps, taken_steps
from diagnose.session.answer import Advised, Answer, Fit
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.solving_allowance import Allowance
from diagnose.session.explanation.explainer import Explainer
from diagnose.session.explanation.telling_history import telling_questions
from diagnose.session.explanation.untelling_readings import meaningless_notes
from diagnose.session.facts import ContextFact, Fact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment, Moments
from diagnose.session.steps.outcomes import Outcomes
from diagnose.session.steps.priced import Pricing
from diagnose.session.steps.proposing.function_checks import nothing_told
from diagnose.session.steps.proposing.proof_steps import ProofSteps
from diagnose.session.steps.proposing.proposals import Proposals
from diagnose.session.steps.proposing.ranked_steps import RankedSteps
from diagnose.session.words.wording import fact_words


class Answering:
    """Works out answers on one car.

    Parameters
    ----------
    model : Model

    Attributes
    ----------
    reasoner : Reasoner
        Concludes from facts.
    moments : Moments
        Puts a conclusion together with where the person stands.
    outcomes, steps, proposals, proof_steps
        What steps would show, which pay, how they are taken, which prove a repair.
    explainer : Explainer
        Ranks causes and says what speaks for them.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self.reasoner = Reasoner(model)
        self.moments = Moments(model)
        self.outcomes = Outcomes(model, self.reasoner.expected)
        pricing = Pricing(model, self.outcomes)
        self.steps = RankedSteps(model, self.outcomes, pricing)
        self.proposals = Proposals(model, self.reasoner.expected, pricing)
        self.proof_steps = ProofSteps(model, self.outcomes, self.proposals)
        self.explainer = Explainer(model, self.reasoner, pricing)
        self._adviser = Adviser(
            model,
            self.reasoner.expected,
            self.proposals,
            self.proof_steps,
            self.steps,
            pricing,
        )
        self._same_steps = same_steps(model)
        self._guide = PrestartGuide(model, self.proposals)

    def answered(
        self, moment: Moment, *, explained: int, allowance: Allowance | None = None
    ) -> Answer:
        """Return everything known at a moment.

        Parameters
        ----------
        moment : Moment
        explained : int
            How many lines of the ranking come with what each fact weighs for them. [1]
        allowance : Allowance or None
            Whether tests with the circuit changed may be solved; None: all are.

        Returns
        -------
        Answer
        """
        guided = self._guide.advised(moment)
        if guided is not None:
            return self._unsuspecting(moment, guided)
        if not moment.conclusion.observations:
            taken = self.taken(moment)
            told = nothing_told(self._model, self.proposals, moment, excluded=taken)
            return self._unsuspecting(moment, told)
        explanation = self.explainer.explained(moment, explained=explained)
        taken = self.taken(moment)
        priced = self.steps.ranked(moment, excluded=taken, allowance=allowance)
        advised = self._adviser.advised(moment, priced, explanation, taken=taken)
        conclusion = moment.conclusion
        return Answer(
            facts=self._words(moment),
            causes=explanation.causes,
            next_steps=advised.steps,
            advice=advised.advice,
            fit=explanation.fit,
            sound_probability=float(moment.lines.set_probabilities[0]),
            left_out_probability=conclusion.left_out_probability,
            notes=(
                *self._guide.notes(moment),
                *meaningless_notes(moment, self._model.car),
                *explanation.notes,
            ),
            contexts_open=self._open_contexts(moment),
        )

    def _unsuspecting(self, moment: Moment, advised: Advised) -> Answer:
        """Return an answer before anything is suspected."""
        return Answer(
            facts=self._words(moment),
            causes=(),
            next_steps=advised.steps,
            advice=advised.advice,
            fit=Fit(tail_probability=1.0, disagrees="", check=""),
            sound_probability=0.0,
            left_out_probability=0.0,
            notes=meaningless_notes(moment, self._model.car),
            contexts_open=self._open_contexts(moment),
        )

    def taken(self, moment: Moment) -> frozenset[Step]:
        """Return the steps that are done with."""
        return taken_steps(moment, self.reasoner.mistakes, self._same_steps)

    def _words(self, moment: Moment) -> tuple[str, ...]:
        return tuple(self.words_of(fact) for fact in moment.facts)

    def words_of(self, fact: Fact) -> str:
        """Return one line for a fact, as `Answer.facts` would have it."""
        return fact_words(fact, self._model.car, self._model.knowledge)

    def _open_contexts(self, moment: Moment) -> Mapping[str, str]:
        """Return the questions about the history that would tell something."""
        facts = (fact for fact in moment.facts if isinstance(fact, ContextFact))
        return telling_questions(
            moment.conclusion,
            self._model.compiled,
            self._model.knowledge.contexts,
            {fact.context: fact.answer for fact in facts},
        )
