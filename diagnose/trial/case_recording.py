"""Records a worked case: the program's own questions put to a car with a hidden fault.

What the case then demands of each step is what held while it was recorded, with room
for a better-informed prior; a person may tighten it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from diagnose.errors import ReadingError
from diagnose.faults.causes import FaultSet
from diagnose.files.cases.worked_case import (
    CaseStep,
    Making,
    Measured,
    Must,
    Repaired,
    Seen,
    WorkedCase,
)
from diagnose.measurement.probe_lamp import answer_chance
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.session.answer import Answer, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.trial.case_replay import doing_of
from diagnose.trial.hidden_car import Errors, HiddenCar, HiddenCars
from diagnose.trial.playing import MOST_STEPS, told
from diagnose.trial.truth import cause_indices, is_wrong_repair, line_of, standing

N_CARS = 16
"""Enough that a car may be an odd one: the outermost tolerances are one in sixteen."""
ERRORS = Errors(slip_probability=0.0, has_report_error=False)
"""The meter errs within its limits; the owner tells what is there."""
KEPT_SHARE = 0.8
"""What of a probability must be left when priors are corrected. Own choice."""
PROBABILITY_STEP = 0.05
LOWEST_RANK = 5
"""A true cause further down is not demanded. Own choice."""
LEAST_ANSWER_CHANCE = 0.05
"""Of a symptom people judge differently; below it nobody would. Own choice."""
LIKELY = 0.5
ROUNDING = 1e-6
"""Of a value written with six digits, and of binary fractions."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """What is wanted of a recorded case.

    Parameters
    ----------
    car_name : str
        What the case file is to call the car.
    faults : tuple[str, ...]
        `Cause.name` of the hidden causes.
    title, owner : str
        Title and the owner's words; empty for plain ones.
    history : Mapping[str, str]
        Context to its answer.
    """

    car_name: str
    faults: tuple[str, ...]
    complaint: str
    seed: int
    title: str = ""
    owner: str = ""
    history: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


def record(wanted: Recording, model: Model) -> WorkedCase:
    """Play one case to its end and return it.

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
    steps = player.play()
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
        if complaint.retest in model.compiled.symptom_index
        and all(
            (car.symptom_chance(symptom) > LIKELY) is answer
            for symptom, answer in complaint.answers.items()
            if symptom in model.compiled.symptom_index
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

    def play(self) -> tuple[CaseStep, ...]:
        """Return every step until the program is done or has nothing to ask."""
        steps: list[CaseStep] = []
        while len(steps) < MOST_STEPS:
            answer = self._diagnosis.answer
            fact = self._next_fact(answer)
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
        cure = self._model.compiled.causes[index].mode.repair.cure_probability
        self._car.repair(line, cure)

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


def _event(fact: Fact, *, is_cured: bool) -> Seen | Measured | Repaired:
    """Return a fact as a step of a case."""
    match fact:
        case SymptomFact(symptom=symptom, is_present=is_present):
            return Seen(symptom=symptom, is_present=is_present)
        case RepairFact(cause=cause):
            return Repaired(cause=cause, is_cured=is_cured)
        case ReadingFact(reading=reading, value=value):
            return Measured(reading=reading, value=value)
    raise ValueError(f"{fact} is no step of a case")


def foreign_steps(case: WorkedCase, model: Model) -> tuple[str, ...]:
    """Return the steps of a case that its hidden car could not have given.

    A reading must lie within the meter's accuracy and half a count of what the circuit
    of that car gives; an answer must be one its owner can be expected to give.

    Raises
    ------
    ReadingError
        If the case names something the car does not have.
    """
    making = case.making
    stock = HiddenCars(model, n_cars=making.cars, seed=making.seed)
    present = cause_indices(making.faults, model)
    found = []
    for number, step in enumerate(case.steps, start=1):
        car = HiddenCar(stock, making.car, present, errors=ERRORS, seed=making.seed)
        event = step.event
        if isinstance(event, Seen) and not _could_say(event, car):
            found.append(f"step {number}: {event.symptom}")
        elif isinstance(event, Measured) and not _could_show(
            event, _shown(event.reading, stock, present, making.car), model
        ):
            found.append(f"step {number}: {event.reading.name} = {event.value:g}")
        elif isinstance(event, Repaired):
            mended = cause_indices(line_of(event.cause, model), model)
            if event.is_cured and not set(mended) & set(present):
                found.append(f"step {number}: {event.cause} was not there")
            if event.is_cured:
                present = tuple(c for c in present if c not in mended)
    return tuple(found)


def _could_say(event: Seen, car: HiddenCar) -> bool:
    there = car.symptom_chance(event.symptom)
    chance = there if event.is_present else 1.0 - there
    return chance >= LEAST_ANSWER_CHANCE


def _shown(reading: Reading, stock: HiddenCars, present: FaultSet, car: int) -> float:
    """Return what an exact meter would show on one car of the stock."""
    predicted = stock.compiled.predicted(stock.with_faults(present), reading)
    return float(predicted[0, car])


def _could_show(event: Measured, shown: float, model: Model) -> bool:
    if event.reading.kind is ReadingKind.LOOK:
        return (shown > LIKELY) is (event.value > LIKELY)
    if event.reading.kind is ReadingKind.LAMP:
        chance = float(answer_chance(event.value, np.array(shown)))
        return chance >= LEAST_ANSWER_CHANCE
    if math.isinf(shown) or math.isinf(event.value):
        return shown == event.value
    range_ = meter_range(event.reading.kind, model.knowledge.meter)
    assert range_ is not None, "a look and a test lamp were dealt with above"
    error = float(range_.half_width(np.array(shown))) + 0.5 * range_.resolution
    return abs(event.value - shown) <= error + ROUNDING
