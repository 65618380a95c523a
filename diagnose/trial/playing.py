"""One diagnosis played to its end against a hidden car.

The simulated owner does what the program advises: takes the reading, answers the
question, makes the repair, proves it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.faults.causes import FaultSet
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Answer, ProposedStep, StepKind, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.model import Model
from diagnose.trial.hidden_car import Errors, HiddenCar, HiddenCars, complaint_of

MOST_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Game:
    """How one diagnosis went.

    Parameters
    ----------
    faults : tuple[str, ...]
        The hidden causes.
    first_rank : int
        Rank of the first right line when the first repair was advised; 0 when it never
        came to a repair.
    first_probability : float
        Probability the program gave its first-ranked line then.
    is_first_right : bool
    readings, wrong_repairs : int
    minutes : float
        Spent on readings, symptoms and repairs. [min]
    is_fixed : bool
        The complaint is really gone and the program says so.
    """

    seed: int
    complaint: str
    faults: tuple[str, ...]
    first_rank: int
    first_probability: float
    is_first_right: bool
    readings: int
    wrong_repairs: int
    minutes: float
    is_fixed: bool
    facts: tuple[Fact, ...]


def drawn_faults(model: Model, random: np.random.Generator) -> FaultSet:
    """Return a fault set drawn from the priors, at least one cause."""
    priors = model.compiled.priors
    weights = priors.configuration_probability
    while True:
        config = random.choice(len(weights), p=weights / weights.sum())
        chances = priors.mode_probability[:, config]
        hit = np.flatnonzero(random.random(len(chances)) < chances)
        parts = priors.part_of[hit]
        if len(hit) and len(set(parts.tolist())) == len(hit) and len(hit) <= 2:
            return tuple(hit.tolist())


def told(step: ProposedStep, car: HiddenCar) -> Fact:
    """Return the owner's answer to a proposed step."""
    if step.kind is StepKind.SYMPTOM:
        name = step.name.split("|")[1]
        return SymptomFact(symptom=name, is_present=car.sees(name))
    kind = ReadingKind(step.reading_kind)
    reading = Reading(kind=kind, state=step.state, red=step.red, black=step.black)
    return ReadingFact(
        kind=kind,
        state=step.state,
        red=step.red,
        black=step.black,
        value=car.measures(reading),
    )


def draw_car(
    model: Model, stock: HiddenCars, *, number: int, seed: int, errors: Errors
) -> tuple[HiddenCar, str]:
    """Return a car with a hidden fault that causes a complaint, and the complaint."""
    random = np.random.default_rng((seed, 7))
    while True:
        faults = drawn_faults(model, random)
        car = HiddenCar(stock, number, faults, errors=errors, seed=seed)
        complaint = complaint_of(car, model, lambda n: int(random.integers(n)))
        if complaint:
            return car, complaint


def play(model: Model, car: HiddenCar, complaint: str, *, seed: int) -> Game:
    """Play one diagnosis to its end."""
    diagnosis = Diagnosis(model)
    hidden = car.faults
    answer = diagnosis.tell(ComplaintFact(complaint=complaint))
    minutes, readings, wrong = 0.0, 0, 0
    rank, probability, is_right = 0, 0.0, False
    for _ in range(MOST_STEPS):
        if answer.advice.verdict is Verdict.FIXED:
            break
        if answer.advice.verdict is Verdict.REPAIR:
            best = answer.causes[0]
            line = [_index(model, name) for name in best.members]
            if not rank:
                rank = _rank(answer, hidden, model)
                probability = best.probability
                is_right = rank == 1
            cure = model.compiled.causes[line[0]].mode.repair.cure_probability
            wrong += not set(line) & set(car.faults)
            car.repair(line, cure)
            minutes += best.repair_minutes
            answer = diagnosis.tell(RepairFact(cause=best.name))
            continue
        if not answer.next_steps or answer.advice.verdict is Verdict.STOP:
            break
        step = answer.next_steps[0]
        minutes += step.minutes
        readings += 1
        answer = diagnosis.tell(told(step, car))
    return Game(
        seed=seed,
        complaint=complaint,
        faults=tuple(model.compiled.causes[c].name for c in hidden),
        first_rank=rank,
        first_probability=probability,
        is_first_right=is_right,
        readings=readings,
        wrong_repairs=wrong,
        minutes=minutes,
        is_fixed=answer.advice.verdict is Verdict.FIXED,
        facts=diagnosis.facts,
    )


def _index(model: Model, name: str) -> int:
    return next(i for i, c in enumerate(model.compiled.causes) if c.name == name)


def _rank(answer: Answer, hidden: Sequence[int], model: Model) -> int:
    names = {model.compiled.causes[c].name for c in hidden}
    for rank, line in enumerate(answer.causes, start=1):
        if names & set(line.members):
            return rank
    return len(answer.causes) + 1
