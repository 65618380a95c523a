"""Recorded cases and replayed cases."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.errors import InvalidFileError, ReadingError
from diagnose.files.cases.worked_case import CaseStep, Measured, Must, Seen, WorkedCase
from diagnose.session.ready_car import Model
from diagnose.trial.case_recording import Recording, record
from diagnose.trial.case_replay import Check, replay
from tests.trial.foreign_steps import foreign_steps

BROKEN = "fuel-pump-ground:open_circuit"
RECORDING = Recording(
    car_name="hill-climber", faults=(BROKEN,), complaint="first-start-fails", seed=3
)


@pytest.fixture(scope="module")
def case(model: Model) -> WorkedCase:
    """Return a broken pump ground on the hill climber, recorded now."""
    return record(RECORDING, model)


def failed(case: WorkedCase, model: Model) -> list[str]:
    """Return what does not hold when a case is gone through."""
    checks: list[Check] = []
    for step in replay(case, model):
        checks.extend(step.checks)
    return [check.says for check in checks if not check.holds]


def with_must(case: WorkedCase, number: int, must: Must) -> WorkedCase:
    """Return a case that demands something else of one step."""
    steps = list(case.steps)
    steps[number] = replace(steps[number], must=must)
    return replace(case, steps=tuple(steps))


def test_recorded_case_ends_fixed(case: WorkedCase) -> None:
    assert (case.final_advice, case.most_wrong_repairs) == ("fixed", 0)


def test_recorded_case_holds_when_replayed(case: WorkedCase, model: Model) -> None:
    assert failed(case, model) == []


def test_recorded_case_asks_what_the_program_asks(
    case: WorkedCase, model: Model
) -> None:
    assert {step.asked_instead for step in replay(case, model)} == {""}


def test_recording_twice_gives_the_same(case: WorkedCase, model: Model) -> None:
    assert record(RECORDING, model) == case


def test_other_seed_gives_other_readings(case: WorkedCase, model: Model) -> None:
    other = record(replace(RECORDING, seed=4), model)

    assert [s.event for s in other.steps] != [s.event for s in case.steps]


def test_readings_of_a_recorded_case_are_those_of_its_hidden_car(
    case: WorkedCase, model: Model
) -> None:
    assert foreign_steps(case, model) == ()


def test_reading_from_elsewhere_is_found(case: WorkedCase, model: Model) -> None:
    steps = list(case.steps)
    place = next(n for n, s in enumerate(steps) if isinstance(s.event, Measured))
    event = steps[place].event
    assert isinstance(event, Measured)
    steps[place] = replace(steps[place], event=replace(event, value=7.0))

    found = foreign_steps(replace(case, steps=tuple(steps)), model)
    assert [line.partition(":")[0] for line in found] == [f"step {place + 1}"]


def test_answer_that_no_owner_gives_is_found(case: WorkedCase, model: Model) -> None:
    # with its ground broken the pump can't be heard at key on
    wrong = CaseStep(event=Seen(symptom="pump-primes", is_present=True), must=Must())

    found = foreign_steps(replace(case, steps=(wrong,)), model)
    assert found == ("step 1: pump-primes",)


def test_wrong_advice_fails(case: WorkedCase, model: Model) -> None:
    wrong = with_must(case, 0, Must(advice="fixed"))

    (says,) = failed(wrong, model)
    assert says.startswith("advice fixed (is ")


def test_probability_out_of_reach_fails(case: WorkedCase, model: Model) -> None:
    wrong = with_must(case, 0, Must(probability=1.0))

    (says,) = failed(wrong, model)
    assert says.startswith("its probability at least over 99 % (is ")


def test_repair_of_another_fault_counts_as_wrong(
    case: WorkedCase, model: Model
) -> None:
    # the program mends the pump's ground, but the case says the fault is elsewhere
    making = replace(case.making, faults=("charge-wire:open_circuit",))

    found = failed(replace(case, making=making), model)
    assert any(says.startswith("wrong repairs advised at most 0 (") for says in found)


def test_unknown_test_point_is_told_with_its_place_in_the_case(
    case: WorkedCase, model: Model
) -> None:
    step = next(s for s in case.steps if isinstance(s.event, Measured))
    event = step.event
    assert isinstance(event, Measured)
    reading = replace(event.reading, red="pump.pluss")
    broken = replace(step, event=replace(event, reading=reading), line=7, column=5)

    with pytest.raises(InvalidFileError, match=r"case\.yaml:7:5: .*pump\.pluss"):
        failed(replace(case, steps=(broken,), path="case.yaml"), model)


def test_complaint_that_does_not_fit_is_refused(model: Model) -> None:
    wrong = replace(RECORDING, complaint="battery-goes-flat")

    with pytest.raises(ReadingError, match=r"might come with: .*first-start-fails"):
        record(wrong, model)


def test_unknown_fault_is_refused(model: Model) -> None:
    wrong = replace(RECORDING, faults=("fuel-pump-wire:melted",))

    with pytest.raises(ReadingError, match="those of fuel-pump-wire are: "):
        record(wrong, model)
