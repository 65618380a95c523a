"""Recording a worked case: the program's questions, put to a car with a hidden fault.

What the case then demands of each step is what held while it was recorded, with room
for a better-informed prior; a person may tighten it. Leaves going through it again to
`case_replay` and the file to `files.cases`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from diagnose.errors import ReadingError
from diagnose.faults.signatures import mended_along
from diagnose.files.cases.worked_case import (
    CaseStep,
    Making,
    Measured,
    Must,
    Repaired,
    Seen,
    Tried,
    WorkedCase,
)
from diagnose.measurement.steps import SubstitutionTest
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
from diagnose.trial.case_replay import doing_of, fact_of
from diagnose.trial.hidden.hidden_car import LIKELY, Errors, HiddenCar, HiddenCars
from diagnose.trial.playing import MOST_STEPS, told, told_of_test
from diagnose.trial.truth import cause_indices, is_wrong_repair, line_of, standing

# How many cars a hidden one is taken from. [1] Derived: enough that it may be an odd
# one, as the outermost tolerances are one in sixteen.
N_CARS = 16

# How the owner of a recorded car errs. Own choice: his meter errs within its limits,
# and he tells what is there.
ERRORS = Errors(slip_probability=0.0, has_report_error=False)

# How much of a probability must be left when priors are corrected. [1] Own choice: four
# fifths.
KEPT_SHARE = 0.8

# What demanded probabilities are rounded down to. [1] Own choice: a person reads the
# case.
PROBABILITY_STEP = 0.05

# The lowest rank that a true cause is demanded at. [1] Own choice: further down nobody
# looks.
LOWEST_RANK = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """What is wanted of a recorded case.

    Parameters
    ----------
    car_name : str
        What the case file is to call the car.
    faults : tuple[str, ...]
        `Cause.name` of the hidden causes.
    complaint : str
        What the owner comes with.
    seed : int
        Seeds the car's tolerances and the meter's errors.
    title, owner : str
        Title and the owner's words; empty for plain ones.
    history : Mapping[str, str]
        Context to its answer.
    tests : tuple[SubstitutionTest, ...]
        What the owner tries by himself, before he is asked for anything.
    """

    car_name: str
    faults: tuple[str, ...]
    complaint: str
    seed: int
    title: str = ""
    owner: str = ""
    history: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    tests: tuple[SubstitutionTest, ...] = ()


def leading_tests(case: WorkedCase) -> tuple[SubstitutionTest, ...]:
    """Return the tests with the circuit changed that a case begins with.

    Parameters
    ----------
    case : WorkedCase
        Any case.

    Returns
    -------
    tuple[SubstitutionTest, ...]
        In their order; what the program asked for later is not among them.
    """
    found: list[SubstitutionTest] = []
    for step in case.steps:
        if not isinstance(step.event, Tried):
            break
        fact = fact_of(step.event)
        assert isinstance(fact, SubstitutionFact)
        found.append(fact.step)
    return tuple(found)


def record(wanted: Recording, model: Model) -> WorkedCase:
    """Return a case played to its end.

    Parameters
    ----------
    wanted : Recording
        The fault, the complaint and the words.
    model : Model
        The car, made ready for diagnosis.

    Raises
    ------
    ReadingError
        If the car has no such cause or complaint, or would not show that complaint with
        these causes.
    """
    faults = cause_indices(wanted.faults, model)
    stock = HiddenCars(model, n_cars=N_CARS, seed=wanted.seed)
    car_number = wanted.seed % N_CARS
    car = HiddenCar(stock, car_number, faults, errors=ERRORS, seed=wanted.seed)
    diagnosis = Diagnosis(model)
    for context, answer in wanted.history.items():
        diagnosis.tell(ContextFact(context=context, answer=answer))
    diagnosis.tell(ComplaintFact(complaint=wanted.complaint))
    _check_complaint(wanted.complaint, car, model)
    player = _Player(diagnosis, car, model)
    start = player.must()
    steps = player.play(wanted.tests)
    causes = [model.compiled.causes[index].says for index in faults]
    says = model.knowledge.complaints[wanted.complaint].says
    return WorkedCase(
        title=wanted.title or f"{says}; really {' and '.join(causes)}",
        car=wanted.car_name,
        complaint=wanted.complaint,
        owner=wanted.owner or f"{says}.",
        history=wanted.history,
        making=Making(
            faults=tuple(model.compiled.causes[index].name for index in faults),
            seed=wanted.seed,
            cars=N_CARS,
            car=car_number,
        ),
        start=start,
        steps=steps,
        final_advice=diagnosis.answer.advice.verdict.value,
        most_wrong_repairs=player.wrong_repairs,
    )


def _check_complaint(name: str, car: HiddenCar, model: Model) -> None:
    """Refuse a complaint that an owner of this car would not come with."""
    fitting = [
        complaint.name
        for complaint in model.knowledge.complaints.values()
        if model.can_tell(complaint.retest)
        and all(
            (car.symptom_chance(symptom) > LIKELY) is answer
            for symptom, answer in complaint.answers.items()
            if model.can_tell(symptom)
        )
    ]
    if name not in fitting:
        could = f"he might come with: {', '.join(fitting)}" if fitting else "with none"
        raise ReadingError(
            f'with this fault and seed the owner would not come with "{name}"; {could}'
        )


class _Player:
    """The simulated owner, who does what the program says and writes it down."""

    def __init__(self, diagnosis: Diagnosis, car: HiddenCar, model: Model) -> None:
        self._diagnosis = diagnosis
        self._car = car
        self._model = model
        self._seen_cautions: set[str] = set()
        self.wrong_repairs = 0

    def play(self, tests: Sequence[SubstitutionTest] = ()) -> tuple[CaseStep, ...]:
        """Return every step until the program is done or has nothing to ask.

        Parameters
        ----------
        tests : Sequence[SubstitutionTest]
            Made first, whatever is asked for.
        """
        steps: list[CaseStep] = []
        while len(steps) < MOST_STEPS:
            answer = self._diagnosis.answer
            fact = (
                told_of_test(tests[len(steps)], self._car)
                if len(steps) < len(tests)
                else self._next_fact(answer)
            )
            if fact is None:
                break
            remarks = self._remarks(fact)
            before = self._car.faults
            if isinstance(fact, RepairFact):
                self._mend(fact.cause)
            self._diagnosis.tell(fact)
            event = _event(fact, is_cured=self._car.faults != before)
            steps.append(CaseStep(event=event, must=self.must(), remarks=remarks))
        return tuple(steps)

    def must(self) -> Must:
        """Return what holds now, as what must hold."""
        answer = self._diagnosis.answer
        causes = self._model.compiled.causes
        true_causes = frozenset(causes[index].name for index in self._car.faults)
        self.wrong_repairs += is_wrong_repair(answer, true_causes, self._model)
        now = standing(answer, true_causes)
        steps = math.floor(KEPT_SHARE * now.probability / PROBABILITY_STEP)
        is_ranked = 0 < now.rank <= LOWEST_RANK
        return Must(
            advice=answer.advice.verdict.value,
            rank=now.rank if is_ranked else 0,
            probability=round(steps * PROBABILITY_STEP, 2) if is_ranked else 0.0,
        )

    def _next_fact(self, answer: Answer) -> Fact | None:
        """Return what the owner tells next; None when nothing is left to do."""
        verdict = answer.advice.verdict
        if verdict is Verdict.REPAIR:
            return RepairFact(cause=answer.advice.cause)
        if verdict in {Verdict.FIXED, Verdict.STOP} or not answer.next_steps:
            return None
        return told(answer.next_steps[0], self._car)

    def _mend(self, cause: str) -> None:
        line = cause_indices(line_of(cause, self._model), self._model)
        (index,) = cause_indices([cause], self._model)
        causes = self._model.compiled.causes
        cure = causes[index].mode.repair.cure_probability
        self._car.repair([*line, *mended_along(causes[index], causes)], cure)

    def _remarks(self, fact: Fact) -> tuple[str, ...]:
        """Return the cautions not yet written down, then what to do."""
        doing = doing_of(fact, self._diagnosis, self._model)
        knowledge = self._model.knowledge
        new = [
            caution
            for caution in doing.cautions
            if caution not in self._seen_cautions
            or knowledge.is_said_every_time(caution)
        ]
        self._seen_cautions.update(new)
        return (*(f"Caution: {caution}" for caution in new), doing.instruction)


def _event(fact: Fact, *, is_cured: bool) -> Seen | Measured | Tried | Repaired:
    """Return a fact as a step of a case."""
    match fact:
        case SubstitutionFact(substitution=change, seen=seen):
            event = _event(seen, is_cured=is_cured)
            assert isinstance(event, Seen | Measured)
            return Tried(substitution=change, seen=event)
        case SymptomFact(symptom=symptom, is_present=is_present):
            return Seen(symptom=symptom, is_present=is_present)
        case RepairFact(cause=cause):
            return Repaired(cause=cause, is_cured=is_cured)
        case ReadingFact(reading=reading, value=value):
            return Measured(reading=reading, value=value)
    raise ValueError(f"{fact} is no step of a case")
