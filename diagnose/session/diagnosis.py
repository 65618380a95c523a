"""The diagnosis: facts in, ranking and next step out. No screen, no disk, no clock.

All three faces go through it. A fact that makes no sense is refused and leaves
everything as it was.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from functools import partial
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.car import (
    Car,
)
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.errors import ImpossibleEvidenceError, ReadingError
from diagnose.faults.history import check_history
from diagnose.inference.prior.several_faults import more_than_two
from diagnose.measurement.lamp_points import battery_posts, unfit_for_lamp
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import Reading, ReadingKind, fuse_ohms
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.measurement.symptoms import Complaint
from diagnose.measurement.where_to_measure import (
    clamp_parts,
    meaningless_ohms,
    ripple_readings,
)
from diagnose.session.answer import (
    Advice,
    Answer,
    Fit,
    ProposedStep,
    RankedCause,
    Verdict,
)
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.explanation.ranking import Explainer
from diagnose.session.explanation.untelling_readings import Silence, ohms_mean_nothing
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    PrestartFact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SymptomFact,
    TakesFact,
    UndoFact,
    standing_facts,
)
from diagnose.session.first_start_guide import Guided, PrestartGuide
from diagnose.session.ready_car import Model
from diagnose.session.steps.likely_facts import likely_facts
from diagnose.session.steps.ranked_steps import (
    LEAST_SAVING,
    Adviser,
    Priced,
    whereabouts,
)
from diagnose.session.wording import observation_words, repair_cautions, step_words
from diagnose.units import check_minutes, check_range, format_minutes

SHOWN_STEPS = 4
EVERY = 100_000
SHOWN_LINES = 40
EXPLAINED_LINES = 8
LEAST_SHOWN = 0.002
POOR_FIT = 0.01
FINAL_WORDS = frozenset({Verdict.NOTHING_FITS, Verdict.STOP})
PROVEN = 0.8
LIKELIER_THAN_NOT = 0.5
LEAST_BITS = 0.005
# Derived: what is shown as .0 bit tells nothing.
SURE = 0.995
# Own choice: beyond this a person would reach for the spanner.
SURE_DESPITE_MISFIT = 0.9
OUTSIDE = 0.8
# Measured on games with faults not used to choose it: 143 of 160 faults outside the
# model were recognised, after two wrong repairs in the mean; 15 of 1,000 games with a
# known cause came to it.
SURELY_OUTSIDE = 0.98
# Own choice: where one cause explains all that was read, it is mended first; a repair
# that fails then tells more than another reading.
DOUBTFUL = 0.03
# Own choice: a reading likelier than this to have been a slip, or an answer wrong, may
# be worth repeating; one reading in fifty is, before anything is known of it.
USELESS_REPAIRS = 5
# Own choice: after so many different ones a person should no longer mend what is not
# likely. It stopped at least 1 of 140 games with a known cause.

MOST_FUSE_LOADS = 6.0
# Rule: at six times its rating a fuse opens within a second (ISO 8820-3).
LIVE_KINDS = frozenset(set(ReadingKind) - {ReadingKind.OHMS, ReadingKind.LOOK})


@dataclass(frozen=True, slots=True, kw_only=True)
class Vocabulary:
    """The words this diagnosis understands, for completion and help.

    Parameters
    ----------
    states, symptoms, causes, complaints : Mapping[str, str]
        Name to the words for it.
    contexts : Mapping[str, tuple[str, tuple[str, ...]]]
        Name to its question and answers.
    parts : tuple[str, ...]
        What a clamp can go round.
    limits : Mapping[str, str]
        What an owner may lack, name to the words for it.
    places : tuple[str, ...]
        Where on the car things are.
    tests : Mapping[str, str]
        Tests that bring a fault which comes and goes, name to question.
    reference : str
        The node the black lead is on when none is named.
    look_state : str
        The state a look at a fuse is noted under.
    """

    nodes: tuple[str, ...]
    states: Mapping[str, str]
    symptoms: Mapping[str, str]
    causes: Mapping[str, str]
    complaints: Mapping[str, str]
    contexts: Mapping[str, tuple[str, tuple[str, ...]]]
    parts: tuple[str, ...]
    fuses: tuple[str, ...]
    reference: str
    look_state: str
    limits: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    places: tuple[str, ...] = ()
    tests: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def asked(self) -> Mapping[str, str]:
        """What is answered by yes or no: symptoms, and tests that bring a fault."""
        return {**self.symptoms, **self.tests}

    def targets(self, verb: str) -> Mapping[str, str]:
        """Return where a test can be done, each with what is asked there."""
        before = f"{verb}-"
        return {
            name.removeprefix(before): question
            for name, question in self.tests.items()
            if name.startswith(before)
        }


class Diagnosis:
    """One diagnosis on one car.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._reasoner = Reasoner(model)
        self._adviser = Adviser(model, self._reasoner)
        self._silence = Silence(model, self._reasoner, self._adviser)
        self._explainer = Explainer(model, self._reasoner, self._adviser, self._silence)
        self._guide = PrestartGuide(model, self._adviser)
        self._facts: tuple[Fact, ...] = ()
        self._conclusion = self._reasoner.conclude(())
        self._answer = self._answered((), self._conclusion)
        self._is_complete = True
        self.vocabulary = _vocabulary(model)
        self.safety_note = model.knowledge.safety_note

    @property
    def answer(self) -> Answer:
        """Everything known after the latest fact."""
        return self._answer

    def candidates(self) -> Sequence[Priced]:
        """Return every step that could be taken now, the program's choice first."""
        standing = standing_facts(self._facts)
        conclusion = self._standing_conclusion()
        return self._adviser.ranked(
            conclusion,
            excluded=self._taken(standing, conclusion),
            here=whereabouts(_latest(standing), self._model),
            most=EVERY,
        )

    def more_than_two_probability(self) -> float:
        """Return a bound on the chance of three faults or more, if there is any.

        Before anything but the history was told. Sets of three are looked at where the
        facts ask for them, others are not.
        """
        answers = {
            fact.context: fact.answer
            for fact in standing_facts(self._facts)
            if isinstance(fact, ContextFact)
        }
        return more_than_two(self._model.compiled.priors, answers)

    def live_shares(self, readings: Sequence[Reading]) -> FloatArray:
        """Return how likely volts are more than half the supply, (n_readings,)."""
        return self._adviser.live_shares(readings, self._standing_conclusion())

    @property
    def facts(self) -> tuple[Fact, ...]:
        """All facts told, those taken back included."""
        return self._facts

    def look_ahead(self, is_over: Callable[[], bool]) -> None:
        """Complete the answer, then solve what those to the likeliest next facts need.

        May run in a thread of its own, as
        long as nothing else is asked of the diagnosis meanwhile.

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
        standing = standing_facts(self._facts)
        conclusion = self._standing_conclusion()
        values_of = partial(self._adviser.likely_values, conclusion=conclusion)

        def goes_on() -> bool:
            return not is_over()

        for fact in likely_facts(self._answer, values_of):
            if is_over():
                return
            # what the model can't explain needs nothing solved
            with contextlib.suppress(ImpossibleEvidenceError):
                self._reasoner.conclude((*standing, fact), solves=goes_on)

    def complete(self, is_over: Callable[[], bool] = lambda: False) -> None:
        """Solve what the latest answer did without, and work it out anew.

        Parameters
        ----------
        is_over : Callable
            Whether it should leave off; the answer then stays as it is.
        """
        if self._is_complete or is_over():
            return
        standing = standing_facts(self._facts)
        # the rows of the conclusion before it are written over
        self._conclusion = self._reasoner.conclude(
            standing, solves=lambda: not is_over()
        )
        self._is_complete = self._conclusion.is_complete
        if self._is_complete:
            self._answer = self._answered(standing, self._conclusion, explained=0)

    def tell(self, fact: Fact, *, at_once: bool = False) -> Answer:
        """Take a fact in and return what follows.

        Parameters
        ----------
        at_once : bool
            Answer from what is solved already: single causes, and what was looked
            ahead at or asked for before. `complete` does the rest, while the person
            reads and is at the car. What each fact tells of a cause is left to `why`.

        Raises
        ------
        ReadingError
            If the fact names something the car does not have, or a value that can't be.
        ImpossibleEvidenceError
            If no cause can give the facts together. In both cases nothing is changed.
        """
        self._check(fact)
        facts = (*self._facts, fact)
        standing = standing_facts(facts)
        explained = 0 if at_once else EXPLAINED_LINES
        found = self._at_once(standing) if at_once else None
        if found is None:
            conclusion = self._reasoner.conclude(standing)
            found = (
                conclusion,
                self._answered(standing, conclusion, explained=explained),
            )
        conclusion, answer = found
        self._facts, self._conclusion, self._answer = facts, conclusion, answer
        self._is_complete = conclusion.is_complete
        return answer

    def _at_once(self, standing: Sequence[Fact]) -> tuple[Conclusion, Answer] | None:
        """Return a conclusion from what is solved, or None where it takes more.

        That nothing fits, or that all is hopeless, is only said when all was looked at.
        """
        try:
            conclusion = self._reasoner.conclude(standing, solves=lambda: False)
        except ImpossibleEvidenceError:
            return None
        answer = self._answered(standing, conclusion, explained=0)
        if not conclusion.is_complete and answer.advice.verdict in FINAL_WORDS:
            return None
        return conclusion, answer

    def why(self, cause: str) -> RankedCause:
        """Return a cause with every fact for and against it, and what would settle it.

        Raises
        ------
        ReadingError
            If the car has no such cause.
        """
        self._known(cause, self.vocabulary.causes, "cause")
        conclusion, standing = self._standing_conclusion(), standing_facts(self._facts)
        line = self._explainer.cause(cause, conclusion)
        settled_by = ""
        if conclusion.observations:
            number = next(
                n
                for n, one in enumerate(self._model.compiled.causes)
                if one.name == cause
            )
            settled_by = self._adviser.settling(
                number,
                conclusion,
                excluded=self._taken(standing, conclusion),
                here=whereabouts(_latest(standing), self._model),
            )
        return replace(line, settled_by=settled_by)

    def expect(self, step: Step) -> ProposedStep:
        """Return any step with what it would show and tell, proposed or not.

        Raises
        ------
        ReadingError
            If it names something the car does not have.
        """
        standing = standing_facts(self._facts)
        here = whereabouts(_latest(standing), self._model)
        if isinstance(step, SymptomCheck):
            self._known(step.symptom, self.vocabulary.asked, "symptom")
            return self._adviser.asked(step, self._standing_conclusion(), here)
        self._check_place(step)
        conclusion = self._standing_conclusion()
        asked = self._adviser.asked(step, conclusion, here)
        silence = self._silence.why(step, conclusion)
        return replace(asked, reason=silence) if silence else asked

    def _standing_conclusion(self) -> Conclusion:
        """Return the conclusion, drawn anew if the car's rows were written since.

        A refused fact, and another diagnosis on the same car, write over them.
        """
        standing = standing_facts(self._facts)
        if self._model.compiled.bank.written_for != standing:
            self._conclusion = self._reasoner.conclude(standing)
        return self._conclusion

    def _answered(
        self,
        standing: Sequence[Fact],
        conclusion: Conclusion,
        *,
        explained: int = EXPLAINED_LINES,
    ) -> Answer:
        facts = tuple(_fact_words(fact, self._model) for fact in standing)
        open_contexts = {
            context.name: context.question
            for context in self._model.knowledge.contexts
            if not any(
                isinstance(f, ContextFact) and f.context == context.name
                for f in standing
            )
        }
        self._adviser.price_for(standing)
        here = whereabouts(_latest(standing), self._model)
        guided = self._guide.guided(standing, conclusion, here)
        if guided is not None:
            return _guided_answer(guided, facts, open_contexts)
        if not conclusion.observations:
            empty = _empty_answer(facts, open_contexts)
            return replace(empty, notes=_meaningless(standing, self._model.car))
        causes = self._explainer.ranking(
            conclusion,
            most=SHOWN_LINES,
            least=LEAST_SHOWN,
            explained=explained,
        )
        fit = self._explainer.fit(conclusion)
        priced = self._adviser.ranked(
            conclusion, excluded=self._taken(standing, conclusion), here=here
        )
        steps, advice = self._advice(standing, conclusion, priced, causes, fit)
        return Answer(
            facts=facts,
            causes=causes,
            next_steps=steps,
            advice=advice,
            fit=fit,
            sound_probability=float(conclusion.beliefs.set_probabilities()[0]),
            left_out_probability=conclusion.left_out_probability,
            notes=(
                *self._guide.notes(standing),
                *_meaningless(standing, self._model.car),
                *self._explainer.notes(standing, conclusion),
            ),
            contexts_open=open_contexts,
        )

    def _advice(
        self,
        standing: Sequence[Fact],
        conclusion: Conclusion,
        priced: Sequence[Priced],
        causes: Sequence[RankedCause],
        fit: Fit,
    ) -> tuple[tuple[ProposedStep, ...], Advice]:
        repaired = [f.cause for f in standing if isinstance(f, RepairFact)]
        if repaired and _complaints(standing):
            proof = self._proof(standing, conclusion, repaired[-1])
            if proof is not None:
                return proof
        useful = [p for p in priced if p.saves_minutes > p.minutes + LEAST_SAVING]
        steps = tuple(
            self._adviser.proposed(p, conclusion, reason=_reason(p))
            for p in (useful or [p for p in priced if p.bits > LEAST_BITS])[
                :SHOWN_STEPS
            ]
        )
        doubt = self._doubt(standing, conclusion, causes, fit)
        if doubt is not None:
            return (*doubt[0], *steps), doubt[1]
        is_sure = bool(causes) and causes[0].probability >= SURE
        if useful and not is_sure:
            net = useful[0].saves_minutes - useful[0].minutes
            says = f"Take this reading: it saves about {net:.0f} min."
            return steps, Advice(verdict=Verdict.OPEN, says=says, cautions=())
        if causes and causes[0].probability > 0.02:
            return steps, self._repair_advice(causes[0])
        says = (
            "Nothing here is likely, and no reading is worth its time: stop and let a "
            "workshop look at it."
        )
        return steps, Advice(verdict=Verdict.STOP, says=says, cautions=())

    def _doubt(
        self,
        standing: Sequence[Fact],
        conclusion: Conclusion,
        causes: Sequence[RankedCause],
        fit: Fit,
    ) -> tuple[tuple[ProposedStep, ...], Advice] | None:
        """Return what to do where nothing fits, or None where something does."""
        best = causes[0].probability if causes else 0.0
        limit = OUTSIDE if best < SURE_DESPITE_MISFIT else SURELY_OUTSIDE
        is_outside = fit.outside_probability >= limit
        if fit.tail_probability < POOR_FIT or is_outside:
            doubted = self._doubted(standing, conclusion)
            if doubted is not None:
                says = f"Nothing fits well. Repeat this first: {fit.disagrees}."
                return (doubted,), Advice(
                    verdict=Verdict.NOTHING_FITS, says=says, cautions=doubted.cautions
                )
        says = ""
        if is_outside:
            says = (
                "No cause known here explains all that was told and mended "
                f"({fit.outside_probability:.0%} that it is something else): the car "
                "may be wired otherwise than its file says. Compare the two where "
                f"you measured, or let a workshop look. {fit.check}"
            )
        elif fit.tail_probability < POOR_FIT and best < SURE_DESPITE_MISFIT:
            says = f"Nothing fits, not even on a second look. {fit.check}"
        elif _n_different(standing) >= USELESS_REPAIRS and best < LIKELIER_THAN_NOT:
            says = (
                f"{_n_different(standing)} repairs have not cured it, and no cause is "
                "likely: stop mending on a guess. Compare the wiring with the car "
                "file, or let a workshop look."
            )
        if not says:
            return None
        return (), Advice(verdict=Verdict.STOP, says=says.rstrip(), cautions=())

    def _doubted(
        self, standing: Sequence[Fact], conclusion: Conclusion
    ) -> ProposedStep | None:
        """Return the reading that disagrees most, to be repeated once."""
        fact = self._explainer.disagreeing(conclusion)
        if fact is None:
            return None
        reading = fact.reading
        taken = [
            f for f in standing if isinstance(f, ReadingFact) and f.reading == reading
        ]
        if len(taken) > 1:
            return None
        here = whereabouts(_latest(standing), self._model)
        return self._adviser.asked(
            reading,
            conclusion,
            here,
            reason="disagrees with everything else: repeat it",
        )

    def _repair_advice(self, best: RankedCause) -> Advice:
        cause = next(c for c in self._model.compiled.causes if c.name == best.name)
        cautions = repair_cautions(cause, self._model.car, self._model.knowledge)
        repair = best.repair.rstrip(".")
        says = f"Mend it now: {repair}. Another reading costs more than it saves."
        if best.probability < LIKELIER_THAN_NOT:
            says = (
                "No reading left is worth its time. The likeliest of several causes "
                f"({best.probability:.0%}): {repair}."
            )
        return Advice(
            verdict=Verdict.REPAIR, says=says, cautions=cautions, cause=best.name
        )

    def _proof(
        self, standing: Sequence[Fact], conclusion: Conclusion, cause: str
    ) -> tuple[tuple[ProposedStep, ...], Advice] | None:
        """Return the proving steps after a repair, or None once they failed."""
        known = self._model.knowledge.complaints
        told = [known[name] for name in _complaints(standing)]
        repairs = [i for i, f in enumerate(standing) if isinstance(f, RepairFact)]
        # of several complaints one may be gone before another's cause is mended
        since = standing[repairs[0 if len(told) > 1 else -1] + 1 :]
        standing_still = [c for c in told if not _is_cured(c, since)]
        healthy = float(conclusion.beliefs.set_probabilities()[0])
        if not standing_still:
            return (), self._fixed(healthy, len(told))
        wanted, cured = self._likeliest_cured(standing_still, conclusion)
        later = standing[repairs[-1] + 1 :]
        tests = [
            fact
            for fact in later
            if isinstance(fact, SymptomFact) and fact.symptom == wanted.retest
        ]
        if len(tests) > 1 or (tests and cured < PROVEN):
            return None
        here = whereabouts(_latest(standing), self._model)
        retest = self._adviser.asked(
            SymptomCheck(symptom=wanted.retest),
            conclusion,
            here,
            reason="the complaint itself has to be gone",
        )
        if tests:
            says = (
                "The readings say it is mended, the complaint says not: test it again."
            )
        elif any(isinstance(f, (ReadingFact, SymptomFact)) for f in later):
            if cured < LIKELIER_THAN_NOT:
                return None
            says = (
                "The reading is what a sound car shows. Now test the complaint itself."
            )
        else:
            proof = self._adviser.proving(cause, conclusion, here)
            steps = (retest,) if proof is None else (proof, retest)
            says = (
                "Prove the repair: take this reading, then test the complaint itself."
            )
            return steps, Advice(
                verdict=Verdict.PROVE, says=says, cautions=steps[0].cautions
            )
        return (retest,), Advice(
            verdict=Verdict.PROVE, says=says, cautions=retest.cautions
        )

    def _likeliest_cured(
        self, complaints: Sequence[Complaint], conclusion: Conclusion
    ) -> tuple[Complaint, float]:
        """Return the complaint likeliest to be gone, and how likely it is.

        With one complaint that is how likely the car is sound; of several, one may be
        gone while another's cause is still there.
        """
        healthy = float(conclusion.beliefs.set_probabilities()[0])
        if len(complaints) == 1:
            return complaints[0], healthy
        weights = conclusion.beliefs.weights
        chances = []
        for complaint in complaints:
            every = np.arange(len(weights))
            chance = self._reasoner.yes_chance(conclusion, complaint.retest, every)
            seen = float((chance * weights).sum())
            chances.append(seen if complaint.cured_answer else 1.0 - seen)
        best = chances.index(max(chances))
        return complaints[best], chances[best]

    def _taken(
        self, standing: Sequence[Fact], conclusion: Conclusion
    ) -> frozenset[Step]:
        """Return the steps already taken since the latest repair, or skipped.

        A reading that may well have been a slip, and a question that may well have been
        answered wrongly, is open again, once.
        """
        taken = {fact.step for fact in standing if isinstance(fact, SkipFact)}
        seen: set[Step] = set()
        for number, noted in enumerate(conclusion.observations):
            observation = noted.observation
            if noted.epoch < len(conclusion.repairs):
                continue
            step = observation.step
            if (
                step in seen
                or self._reasoner.mistake_chance(conclusion, number) < DOUBTFUL
            ):
                taken.add(step)
            seen.add(step)
        return frozenset(taken)

    def _fixed(self, healthy: float, n_complaints: int) -> Advice:
        says = (
            "The complaint is gone: repaired and proven."
            if n_complaints == 1
            else "The complaints are gone: repaired and proven."
        )
        if healthy < PROVEN:
            says += " Something else may still be wrong; see the causes."
        return Advice(verdict=Verdict.FIXED, says=says, cautions=())

    def _check(self, fact: Fact) -> None:
        """Refuse a fact about something the car does not have."""
        words = self.vocabulary
        match fact:
            case ContextFact():
                answers = {fact.context: fact.answer}
                check_history(answers, self._model.knowledge.contexts)
            case ComplaintFact():
                self._known(fact.complaint, words.complaints, "complaint")
            case SymptomFact():
                self._known(fact.symptom, words.asked, "symptom")
            case RepairFact():
                self._known(fact.cause, words.causes, "cause")
            case ReadingFact():
                self._check_place(fact.reading)
                _check_value(fact, self._model.car)
            case LimitFact():
                self._known(fact.limit, words.limits, "limit")
            case TakesFact():
                known = {**dict.fromkeys(words.places, ""), **words.states}
                known.update(words.causes)
                self._known(fact.subject, known, "place, state or cause")
                check_minutes(fact.minutes)
            case SkipFact() | PrestartFact() | UndoFact():
                pass

    def _check_place(self, reading: Reading) -> None:
        words = self.vocabulary
        self._known(reading.state, words.states, "state")
        if reading.kind in (ReadingKind.LOOK, ReadingKind.FUSE):
            self._known(reading.red, dict.fromkeys(words.fuses, ""), "fuse")
        elif reading.kind is ReadingKind.AMPS:
            self._known(reading.red, dict.fromkeys(words.parts, ""), "part")
        else:
            for node in (reading.red, reading.black):
                self._known(node, dict.fromkeys(words.nodes, ""), "test point")
        if reading.kind is ReadingKind.AC_VOLTS:
            self._check_ripple(reading)
        if reading.kind is ReadingKind.LAMP:
            self._check_lamp(reading)
        is_isolated = not self._model.car.state(reading.state).is_battery_connected
        if reading.kind is ReadingKind.OHMS and not is_isolated:
            raise ReadingError(
                "ohms in a live circuit tell nothing: the battery drives the meter and "
                "may ruin it; disconnect the battery first (state isolated)"
            )
        if is_isolated and reading.kind in LIVE_KINDS:
            raise ReadingError(
                "with the battery disconnected there are no volts and no amps to read; "
                "take them in another state, or read ohms"
            )

    def _check_lamp(self, reading: Reading) -> None:
        """Refuse a test lamp that would hurt something, or that hangs on no post."""
        car = self._model.car
        posts, leads = battery_posts(car), {reading.red, reading.black}
        if not leads & posts or len(leads) < 2:
            raise ReadingError(
                "a test lamp is understood with its clip on a post of the battery: "
                f"{' or '.join(sorted(posts))}"
            )
        unfit = sorted(leads & unfit_for_lamp(car))
        if unfit:
            raise ReadingError(
                f"no test lamp at {unfit[0]}: it can hurt a controller or set off an "
                "airbag; read volts there with the meter, where the manual allows it"
            )

    def _check_ripple(self, reading: Reading) -> None:
        known = ripple_readings(self._model.car)
        leads = {reading.red, reading.black}
        if not any(
            one.state == reading.state and {one.red, one.black} == leads
            for one in known
        ):
            raise ReadingError(
                "AC volts are understood across the battery's two posts only, with the "
                "engine running"
            )

    def _known(self, name: str, known: Mapping[str, object], what: str) -> None:
        if name in known:
            return
        near = get_close_matches(name, known, n=1)
        hint = f'; nearest: "{near[0]}"' if near else ""
        raise ReadingError(f'this car has no {what} "{name}"{hint}')


def _check_value(fact: ReadingFact, car: Car) -> None:
    """Refuse a value that the kind of reading can't have."""
    reading, unit = fact.reading, fact.reading.kind.unit
    if reading.kind is ReadingKind.LAMP:
        if fact.value not in GRADES.values():
            raise ReadingError(f"a test lamp is {', '.join(GRADES)}; nothing else")
    elif unit is not None:
        check_range(fact.value, unit)
    if reading.kind is ReadingKind.FUSE:
        fuse = car.part(reading.red)
        amps = abs(fact.value) / fuse_ohms(fuse)
        rating = fuse.values["rating_amps"].distribution.nominal
        if amps > MOST_FUSE_LOADS * rating:
            raise ReadingError(
                f"{1e3 * fact.value:.3g} mV along {reading.red} would be {amps:.0f} A, "
                f"and no fuse of {rating:g} A carries that; if it is blown, type: "
                f"look {reading.red} blown"
            )


def _meaningless(standing: Sequence[Fact], car: Car) -> tuple[str, ...]:
    """Return what to say of a reading just told that weighs nothing."""
    latest = _latest(standing)
    if not isinstance(latest, ReadingFact):
        return ()
    electronic = meaningless_ohms(latest.reading, car)
    return (ohms_mean_nothing(electronic),) if electronic else ()


def _latest(standing: Sequence[Fact]) -> ReadingFact | SymptomFact | None:
    for fact in reversed(standing):
        if isinstance(fact, (ReadingFact, SymptomFact)):
            return fact
    return None


def _complaints(standing: Sequence[Fact]) -> tuple[str, ...]:
    """Return the complaints told, each once, the latest first."""
    told = [fact.complaint for fact in standing if isinstance(fact, ComplaintFact)]
    return tuple(dict.fromkeys(reversed(told)))


def _is_cured(complaint: Complaint, later: Sequence[Fact]) -> bool:
    """Return whether a complaint was gone when it was last tested."""
    tests = [
        fact.is_present is complaint.cured_answer
        for fact in later
        if isinstance(fact, SymptomFact) and fact.symptom == complaint.retest
    ]
    return bool(tests) and tests[-1]


def _n_different(standing: Sequence[Fact]) -> int:
    """Return how many causes were mended; one mended again is no new guess."""
    return len({fact.cause for fact in standing if isinstance(fact, RepairFact)})


def _reason(priced: Priced) -> str:
    net = priced.saves_minutes - priced.minutes
    if net <= 0.0:
        return f"tells {priced.bits:.1f} bit, but costs more minutes than it saves"
    return f"saves {net:.0f} min on average; tells {priced.bits:.1f} bit"


def _fact_words(fact: Fact, model: Model) -> str:
    match fact:
        case ReadingFact() | SymptomFact():
            return observation_words(fact, model.car)
        case ContextFact():
            return f"{fact.context}: {fact.answer.replace('_', ' ')}"
        case ComplaintFact():
            return f"complaint: {model.knowledge.complaints[fact.complaint].says}"
        case RepairFact():
            return f"repaired: {fact.cause}"
        case SkipFact():
            return f"skipped: {step_words(fact.step, model.car)}"
        case PrestartFact():
            return "the readings before the first start"
        case LimitFact():
            says = model.knowledge.effort.limits[fact.limit].says
            return (
                f"without {fact.limit}: {says}"
                if fact.is_lacking
                else (f"with {fact.limit}")
            )
        case TakesFact():
            return f"{fact.subject} takes {format_minutes(fact.minutes)}"
        case UndoFact():
            return "taken back"


def _empty_answer(facts: tuple[str, ...], open_contexts: Mapping[str, str]) -> Answer:
    says = "Say what is wrong: choose a complaint, or name a symptom."
    advice = Advice(verdict=Verdict.OPEN, says=says, cautions=())
    return _guided_answer(Guided(steps=(), advice=advice), facts, open_contexts)


def _guided_answer(
    guided: Guided, facts: tuple[str, ...], open_contexts: Mapping[str, str]
) -> Answer:
    """Return an answer before anything is suspected."""
    return Answer(
        facts=facts,
        causes=(),
        next_steps=guided.steps,
        advice=guided.advice,
        fit=Fit(tail_probability=1.0, disagrees="", check=""),
        sound_probability=0.0,
        left_out_probability=0.0,
        notes=(),
        contexts_open=open_contexts,
    )


def _vocabulary(model: Model) -> Vocabulary:
    car, knowledge, compiled = model.car, model.knowledge, model.compiled
    symptoms = {n: knowledge.symptoms[n].question for n in compiled.symptom_names}
    return Vocabulary(
        nodes=car.nodes,
        states={state.name: state.label for state in car.states},
        symptoms=symptoms,
        causes={cause.name: cause.says for cause in compiled.causes},
        complaints={
            complaint.name: complaint.says
            for complaint in knowledge.complaints.values()
            if complaint.retest in symptoms
        },
        contexts={c.name: (c.question, tuple(c.states)) for c in knowledge.contexts},
        parts=clamp_parts(car),
        fuses=tuple(p.name for p in car.parts if p.kind in PROTECTIVE_KINDS),
        reference=car.reference,
        look_state=car.states[0].name,
        limits={limit.name: limit.says for limit in knowledge.effort.limits.values()},
        places=tuple(car.places),
        tests={
            name: test.symptom.question for name, test in model.provocations.items()
        },
    )
