"""Where nobody says what is wrong, there is always something to look for next."""

from __future__ import annotations

from diagnose.inference.compiled.shown_symptoms import can_show
from diagnose.measurement.steps import SymptomCheck
from diagnose.session.answer import Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ContextFact, SkipFact, SymptomFact
from diagnose.session.ready_car import Model


def first(diagnosis: Diagnosis) -> SymptomCheck:
    step = diagnosis.answer.next_steps[0].step
    assert isinstance(step, SymptomCheck)
    return step


def test_nothing_told_still_has_steps_in_the_order_of_the_states(model: Model) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ContextFact(context="wiring", answer="fresh"))

    steps = diagnosis.answer.next_steps
    order = [state.name for state in model.car.states]
    states = [order.index(step.state) for step in steps]

    assert diagnosis.answer.advice.verdict is Verdict.OPEN
    assert steps
    assert states == sorted(states)


def test_check_that_is_skipped_gives_way_to_the_next(model: Model) -> None:
    diagnosis = Diagnosis(model)
    skipped, after = (step.step for step in diagnosis.answer.next_steps[:2])

    diagnosis.tell(SkipFact(step=skipped))

    assert first(diagnosis) == after


def test_checks_go_on_until_all_are_done(model: Model) -> None:
    diagnosis = Diagnosis(model)
    complaints = model.knowledge.complaints.values()
    tested = {c.retest for c in complaints if can_show(model.compiled, c.retest)}
    seen = set()
    while diagnosis.answer.next_steps:
        check = first(diagnosis)
        seen.add(check.symptom)
        diagnosis.tell(SkipFact(step=check))

    assert seen == tested


def test_what_the_whole_car_does_comes_before_what_a_part_does(model: Model) -> None:
    diagnosis = Diagnosis(model)
    listed = set(model.compiled.symptom_names)
    is_listed = []
    while diagnosis.answer.next_steps:
        check = first(diagnosis)
        is_listed.append(check.symptom in listed)
        diagnosis.tell(SkipFact(step=check))

    assert is_listed == sorted(is_listed, reverse=True)
    assert not all(is_listed)


def test_answer_that_says_what_is_wrong_begins_the_diagnosis(model: Model) -> None:
    diagnosis = Diagnosis(model)

    diagnosis.tell(SymptomFact(symptom="engine-cranks", is_present=False))

    assert diagnosis.answer.causes
    assert diagnosis.answer.next_steps
