"""A worked case gone through again: each step told, and what must hold then checked.

Leaves reading the case to `files` and showing it to `terminal`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from diagnose.errors import DiagnoseError, FileProblem, InvalidFileError
from diagnose.files.cases.worked_case import (
    CaseStep,
    Measured,
    Must,
    Repaired,
    Seen,
    Tried,
    WorkedCase,
)
from diagnose.measurement.steps import SymptomCheck
from diagnose.session.answer import Answer, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    ReadingFact,
    RepairFact,
    SubstitutionFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.words.cautions import repair_cautions
from diagnose.trial.truth import cause_indices, is_wrong_repair, line_of, standing
from diagnose.units import format_probability


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that must hold, in words, and whether it does."""

    says: str
    holds: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Doing:
    """How a step is done.

    Parameters
    ----------
    cautions : tuple[str, ...]
        What to read before it.
    instruction : str
        What to do.
    minutes : float
        What it costs. [min]
    """

    cautions: tuple[str, ...]
    instruction: str
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """One step gone through again.

    Parameters
    ----------
    number : int
        Of the step, from 1; 0 is the complaint.
    doing : Doing or None
        None for the complaint.
    fact : Fact
        What was told.
    answer : Answer
        What the program says after it.
    true_causes : frozenset[str]
        Those still present after it.
    asked_instead : str
        What the program asked for when that was not this step; else empty.
    checks : tuple[Check, ...]
        What must hold after it.
    """

    number: int
    doing: Doing | None
    fact: Fact
    answer: Answer
    true_causes: frozenset[str]
    asked_instead: str
    checks: tuple[Check, ...]


def fact_of(event: Seen | Measured | Tried | Repaired) -> Fact:
    """Return a step of a case as a fact."""
    match event:
        case Tried(substitution=change, seen=tried):
            seen = fact_of(tried)
            assert isinstance(seen, SymptomFact | ReadingFact)
            return SubstitutionFact(substitution=change, seen=seen)
        case Seen(symptom=symptom, is_present=is_present):
            return SymptomFact(symptom=symptom, is_present=is_present)
        case Repaired(cause=cause):
            return RepairFact(cause=cause)
        case Measured(reading=reading, value=value):
            return ReadingFact(reading=reading, value=value)


def doing_of(fact: Fact, diagnosis: Diagnosis, model: Model) -> Doing:
    """Return how a person comes by a fact: what to read first, what to do.

    Parameters
    ----------
    fact : Fact
        A symptom, a reading or a repair; nothing has to be done for others.
    diagnosis : Diagnosis
        The one it is told in.
    model : Model
        The car, made ready for diagnosis.

    Raises
    ------
    ReadingError
        If it names something the car does not have.
    """
    match fact:
        case SymptomFact(symptom=symptom):
            step = diagnosis.expect(SymptomCheck(symptom=symptom))
        case ReadingFact(reading=reading):
            step = diagnosis.expect(reading)
        case SubstitutionFact():
            step = diagnosis.expect(fact.step)
        case RepairFact(cause=cause):
            return _mending(cause, model)
        case _:
            return Doing(cautions=(), instruction="", minutes=0.0)
    return Doing(
        cautions=step.cautions, instruction=step.instruction, minutes=step.minutes
    )


def _mending(name: str, model: Model) -> Doing:
    """Return how a cause is mended."""
    (index,) = cause_indices([name], model)
    cause = model.compiled.causes[index]
    place = model.car.places.get(cause.part.place)
    return Doing(
        cautions=repair_cautions(cause, model.car, model.knowledge),
        instruction=cause.repair,
        minutes=cause.mode.repair.minutes + (place.minutes if place else 0.0),
    )


def replay(case: WorkedCase, model: Model) -> Iterator[Replayed]:
    """Go through a case step by step.

    Parameters
    ----------
    case : WorkedCase
        What was told, and what must hold.
    model : Model
        Of the case's car.

    Yields
    ------
    Replayed
        The complaint first, then each step.

    Raises
    ------
    InvalidFileError
        If the case names something the car does not have; with the step's place.
    """
    run = _Run(case, model)
    yield run.begin()
    for number, step in enumerate(case.steps, start=1):
        yield run.take(number, step)


class _Run:
    """A case in the middle of being gone through."""

    def __init__(self, case: WorkedCase, model: Model) -> None:
        self._case = case
        self._model = model
        self._diagnosis = Diagnosis(model)
        self._true_causes = frozenset(case.making.faults)
        self._wrong_repairs = 0

    def begin(self) -> Replayed:
        """Tell the history and the complaint."""
        complaint = ComplaintFact(complaint=self._case.complaint)
        try:
            cause_indices(self._case.making.faults, self._model)
            for context, told in self._case.history.items():
                self._diagnosis.tell(ContextFact(context=context, answer=told))
            answer = self._diagnosis.tell(complaint)
        except DiagnoseError as error:
            raise _refused(self._case, 0, 0, error) from error
        return Replayed(
            number=0,
            doing=None,
            fact=complaint,
            answer=answer,
            true_causes=self._true_causes,
            asked_instead="",
            checks=self._checks(self._case.start, answer),
        )

    def take(self, number: int, step: CaseStep) -> Replayed:
        """Tell one step."""
        fact = fact_of(step.event)
        asked = _asked(self._diagnosis.answer)
        try:
            doing = doing_of(fact, self._diagnosis, self._model)
            answer = self._diagnosis.tell(fact)
        except DiagnoseError as error:
            raise _refused(self._case, step.line, step.column, error) from error
        if isinstance(step.event, Repaired) and step.event.is_cured:
            self._true_causes -= line_of(step.event.cause, self._model)
        checks = self._checks(step.must, answer)
        if number == len(self._case.steps):
            checks += self._final_checks(answer)
        return Replayed(
            number=number,
            doing=doing,
            fact=fact,
            answer=answer,
            true_causes=self._true_causes,
            asked_instead="" if asked == _name(fact) else asked,
            checks=checks,
        )

    def _checks(self, must: Must, answer: Answer) -> tuple[Check, ...]:
        """Return what must hold now, and count a wrong repair if one is advised."""
        self._wrong_repairs += is_wrong_repair(answer, self._true_causes, self._model)
        checks = []
        if must.advice:
            found = answer.advice.verdict.value
            says = f"advice {must.advice} (is {found})"
            checks.append(Check(says=says, holds=found == must.advice))
        now = standing(answer, self._true_causes)
        if must.rank:
            place = f"place {now.rank}" if now.rank else "not ranked"
            says = f"true cause at place {must.rank} or above (is {place})"
            checks.append(Check(says=says, holds=0 < now.rank <= must.rank))
        if must.probability:
            says = (
                f"its probability at least {format_probability(must.probability)} "
                f"(is {format_probability(now.probability)})"
            )
            checks.append(Check(says=says, holds=now.probability >= must.probability))
        return tuple(checks)

    def _final_checks(self, answer: Answer) -> tuple[Check, ...]:
        case = self._case
        says = (
            f"wrong repairs advised at most {case.most_wrong_repairs} "
            f"(are {self._wrong_repairs})"
        )
        holds = self._wrong_repairs <= case.most_wrong_repairs
        checks = [Check(says=says, holds=holds)]
        if case.final_advice:
            found = answer.advice.verdict.value
            says = f"advice at the end {case.final_advice} (is {found})"
            checks.append(Check(says=says, holds=found == case.final_advice))
        return tuple(checks)


def _asked(answer: Answer) -> str:
    """Return the name of what the program asks for, as `_name` spells it."""
    if answer.advice.verdict is Verdict.REPAIR:
        return f"repair|{answer.advice.cause}"
    return answer.next_steps[0].step.name if answer.next_steps else ""


def _name(fact: Fact) -> str:
    """Return the name of the step that a fact comes from."""
    match fact:
        case SymptomFact() | ReadingFact() | SubstitutionFact():
            return fact.step.name
        case RepairFact(cause=cause):
            return f"repair|{cause}"
        case _:
            return ""


def _refused(
    case: WorkedCase, line: int, column: int, error: DiagnoseError
) -> InvalidFileError:
    """Return an error as a problem of the case file."""
    problem = FileProblem(
        path=case.path or case.title, line=line, column=column, message=str(error)
    )
    return InvalidFileError((problem,))
