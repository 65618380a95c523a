"""Whether the hidden car of a worked case could have given what the case says."""

from __future__ import annotations

import math

import numpy as np

from diagnose.faults.causes import FaultSet
from diagnose.files.cases.worked_case import (
    Measured,
    Repaired,
    Seen,
    Tried,
    WorkedCase,
)
from diagnose.measurement.probe_lamp import answer_chance
from diagnose.measurement.readings import Reading, ReadingKind, meter_range
from diagnose.measurement.steps import SubstitutionTest
from diagnose.session.facts import ReadingFact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.trial.case_recording import ERRORS
from diagnose.trial.case_replay import fact_of
from diagnose.trial.hidden.hidden_car import LIKELY, HiddenCar, HiddenCars
from diagnose.trial.truth import cause_indices, line_of

# The least chance of an answer that an owner could give, where people judge a symptom
# differently. [1] Own choice: below it nobody would.
LEAST_ANSWER_CHANCE = 0.05

# How far a value may lie beyond the meter's limits. [V, A, Ω] Derived: values are
# written with six digits, and binary fractions are not exact.
ROUNDING = 1e-6


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
        event, seen_of, faults = step.event, stock, present
        if isinstance(event, Tried):
            told = fact_of(event.seen)
            assert isinstance(told, ReadingFact | SymptomFact)
            test = SubstitutionTest(substitution=event.substitution, look=told.step)
            car, seen_of = car.changed(test), stock.changed(test)
            event, faults = event.seen, car.faults
        if isinstance(event, Seen) and not could_say(event, car):
            found.append(f"step {number}: {event.symptom}")
        elif isinstance(event, Measured) and not could_show(
            event, shown_on(event.reading, seen_of, faults, making.car), model
        ):
            found.append(f"step {number}: {event.reading.name} = {event.value:g}")
        elif isinstance(event, Repaired):
            mended = cause_indices(line_of(event.cause, model), model)
            if event.is_cured and not set(mended) & set(present):
                found.append(f"step {number}: {event.cause} was not there")
            if event.is_cured:
                present = tuple(c for c in present if c not in mended)
    return tuple(found)


def could_say(event: Seen, car: HiddenCar) -> bool:
    there = car.symptom_chance(event.symptom)
    chance = there if event.is_present else 1.0 - there
    return chance >= LEAST_ANSWER_CHANCE


def shown_on(reading: Reading, stock: HiddenCars, present: FaultSet, car: int) -> float:
    """Return what an exact meter would show on one car of the stock."""
    predicted = stock.compiled.readings.predicted(stock.with_faults(present), reading)
    return float(predicted[0, car])


def could_show(event: Measured, shown: float, model: Model) -> bool:
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
