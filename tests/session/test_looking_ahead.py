"""Solving ahead what the answers to the likeliest next facts need."""

from __future__ import annotations

from dataclasses import asdict, replace

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.symptoms import Join, Quantity
from diagnose.session.answer import Answer, Verdict
from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.fact_rows import fact_to_row
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    ReadingFact,
    RepairFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model, open_model
from diagnose.session.steps.likely_facts import likely_facts
from diagnose.store.journal import Journal
from diagnose.trial.hidden.hidden_car import Errors, HiddenCars
from diagnose.trial.playing import draw_car, play
from tests.lamp_car import CAR, lamp_claim, make_knowledge, make_symptom

# A diagnosis of seven facts with a repair; some answers at once are finer later.
SEED = 10


@pytest.fixture(scope="module")
def facts(model: Model) -> tuple[Fact, ...]:
    """Return what was told in a diagnosis played to its end."""
    stock = HiddenCars(model, n_cars=4, seed=1)
    car, complaint = draw_car(model, stock, number=3, seed=SEED, errors=Errors())
    return play(model, car, complaint, seed=SEED).facts


def test_answers_are_the_same_with_and_without_it(
    model: Model, facts: tuple[Fact, ...]
) -> None:
    plain, ahead = Diagnosis(model), Diagnosis(model)
    for fact in facts:
        ahead.look_ahead(lambda: False)
        expected = asdict(plain.tell(fact))

        assert asdict(ahead.tell(fact)) == expected


def test_answer_at_once_is_completed_to_that_of_one_who_waited(
    model: Model, facts: tuple[Fact, ...]
) -> None:
    patient, hurried = Diagnosis(model), Diagnosis(model)
    finer = 0
    for fact in facts:
        expected = without_evidence(patient.tell(fact))
        at_once = hurried.tell(fact, at_once=True)
        hurried.complete()

        completed = hurried.answer
        assert without_evidence(completed) == expected
        finer += completed is not at_once
    assert finer


def without_evidence(answer: Answer) -> Answer:
    """Return an answer without the weight of each fact, which `why` tells."""
    return replace(
        answer, causes=tuple(replace(one, evidence=()) for one in answer.causes)
    )


def nearly_sure_of_two_fuses(mistaken: float) -> Model:
    """Return a model in which each fuse of the lamp is seen blown, or not, as it is."""
    symptoms = {}
    for fuse in ("main-fuse", "lamp-fuse"):
        claim = replace(
            lamp_claim(at_least=True, limit=0.5),
            role=fuse,
            quantity=Quantity.IS_BLOWN,
            blur=1e-9,
        )
        symptoms[fuse] = replace(
            make_symptom(fuse, claim, join=Join.ALL),
            missed_probability=mistaken,
            imagined_probability=mistaken,
        )
    return open_model(CAR, replace(make_knowledge(), symptoms=symptoms), n_draws=4)


def test_facts_only_two_faults_can_give_are_not_refused_at_once() -> None:
    diagnosis = Diagnosis(nearly_sure_of_two_fuses(mistaken=0.0))
    diagnosis.tell(SymptomFact(symptom="main-fuse", is_present=True), at_once=True)

    told = SymptomFact(symptom="lamp-fuse", is_present=True)
    answer = diagnosis.tell(told, at_once=True)

    assert {cause.name for cause in answer.causes[:2]} == {
        "main-fuse:blown",
        "lamp-fuse:blown",
    }


def test_that_it_is_hopeless_is_said_only_when_all_was_solved() -> None:
    model = nearly_sure_of_two_fuses(mistaken=1e-4)
    patient, hurried = Diagnosis(model), Diagnosis(model)
    first, second = (
        SymptomFact(symptom=fuse, is_present=True)
        for fuse in ("main-fuse", "lamp-fuse")
    )

    # one fuse: this much is said by single causes alone
    assert patient.tell(first) != hurried.tell(first, at_once=True)
    hurried.complete()

    expected, found = patient.tell(second), hurried.tell(second, at_once=True)
    # no single cause is left that could be believed, and a pair explains both
    assert expected.advice.verdict is Verdict.REPAIR
    assert without_evidence(found) == without_evidence(expected)


def film_on_the_ground_cable() -> list[Fact]:
    """Return what is read where a lug with a film and a loose lug are nearly alike."""
    points = {
        "starter-solenoid.86": (12.1, 0.1),
        "starter.plus": (4.3, 0.1),
        "alternator.case": (4.28, 0.01),
        "engine.block": (4.28, 0.01),
        "starter.case": (4.28, 0.01),
    }
    readings = [
        ReadingFact(
            reading=Reading(
                kind=ReadingKind.DC_VOLTS,
                state="cranking",
                red=red,
                black="battery.minus",
            ),
            value=volts,
            rounded_to=digit,
        )
        for red, (volts, digit) in points.items()
    ]
    wiring = ContextFact(context="wiring", answer="in_service")
    return [ComplaintFact(complaint="no-crank"), wiring, *readings]


def test_repair_is_named_only_when_all_was_solved(model: Model) -> None:
    patient, hurried = Diagnosis(model), Diagnosis(model)
    told = film_on_the_ground_cable()
    patient.recall(told)
    expected = patient.answer

    hurried.recall(told, at_once=True)
    at_once = hurried.answer.advice
    hurried.complete()

    # by single causes alone it may ask for more, but names no other repair
    assert at_once.verdict is Verdict.OPEN or at_once == expected.advice
    assert hurried.answer.advice == expected.advice
    assert hurried.answer.causes[0].probability == expected.causes[0].probability


def test_case_gone_on_with_and_a_repair_are_worked_out_to_the_end(model: Model) -> None:
    told = film_on_the_ground_cable()[:-1]
    repair = RepairFact(cause="ground-cable:cable_film")
    patient = Diagnosis(model)
    patient.recall(told)
    before = patient.answer
    after = patient.tell(repair)

    casebook = Casebook(Diagnosis(model), Journal(None), at_once=True)
    casebook.restore([fact_to_row(fact) for fact in told])
    assert names_and_shares(casebook.answer) == names_and_shares(before)

    assert names_and_shares(casebook.tell(repair)) == names_and_shares(after)


def names_and_shares(answer: Answer) -> list[tuple[str, float]]:
    """Return the suspects of an answer."""
    return [(cause.name, cause.probability) for cause in answer.causes]


def test_answer_is_completed_although_a_question_was_answered_before(
    model: Model, facts: tuple[Fact, ...]
) -> None:
    patient, hurried = Diagnosis(model), Diagnosis(model)
    for fact in facts:
        expected = without_evidence(patient.tell(fact))
        if without_evidence(hurried.tell(fact, at_once=True)) != expected:
            break
    else:
        pytest.fail("every answer at once is complete: nothing would be shown")
    Diagnosis(model).tell(facts[0])  # writes over the car's rows
    hurried.why(expected.causes[0].name)
    hurried.complete()

    assert without_evidence(hurried.answer) == expected


def test_completing_leaves_off_when_told(model: Model, facts: tuple[Fact, ...]) -> None:
    hurried = Diagnosis(model)
    before = [hurried.tell(fact, at_once=True) for fact in facts[:3]][-1]
    asked = []

    def is_over() -> bool:
        asked.append(True)
        return len(asked) > 1

    hurried.complete(is_over)

    assert hurried.answer is before


def test_what_is_asked_after_it_is_about_the_facts_that_stand(
    model: Model,
) -> None:
    plain, ahead = Diagnosis(model), Diagnosis(model)
    for diagnosis in (plain, ahead):
        diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    ahead.look_ahead(lambda: False)

    cause = plain.answer.causes[0].name
    assert asdict(ahead.why(cause)) == asdict(plain.why(cause))


def test_what_the_leading_causes_show_of_the_first_step_are_likely_facts(
    model: Model,
) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    first = ReadingFact(
        reading=Reading(
            kind=ReadingKind.DC_VOLTS,
            state="key-on",
            red="fuel-pump.plus",
            black="battery.minus",
        ),
        value=12.3,
    )
    answer = diagnosis.tell(first)
    step = next(s for s in answer.next_steps if s.reading is not None)
    supposed = likely_facts(replace(answer, next_steps=(step,)))

    readings = [fact for fact in supposed if isinstance(fact, ReadingFact)]
    assert readings
    assert {fact.reading for fact in readings} == {step.reading}
    for expected in step.expected[1:3]:
        # values within a twentieth stand for each other
        assert any(
            expected.low - 0.05 * abs(expected.low) - 0.05
            <= fact.value
            <= expected.high + 0.05 * abs(expected.high) + 0.05
            for fact in readings
        )


def test_a_repair_that_is_advised_is_a_likely_fact(
    model: Model, facts: tuple[Fact, ...]
) -> None:
    diagnosis = Diagnosis(model)
    advised = 0
    for fact in facts:
        diagnosis.tell(fact, at_once=True)
        diagnosis.complete()
        advice = diagnosis.answer.advice
        if advice.verdict is Verdict.REPAIR:
            assert RepairFact(cause=advice.cause) in likely_facts(diagnosis.answer)
            advised += 1

    assert advised


def test_it_leaves_off_when_told(model: Model) -> None:
    diagnosis = Diagnosis(model)
    diagnosis.tell(ComplaintFact(complaint="pump-does-not-run"))
    asked = []

    def is_over() -> bool:
        asked.append(True)
        return len(asked) > 1

    diagnosis.look_ahead(is_over)

    assert len(asked) == 2
