"""A sure claim rests on a reading that a sound suspect would have failed."""

from __future__ import annotations

from dataclasses import replace

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.answer import Answer, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, Fact, ReadingFact, SkipFact
from diagnose.session.ready_car import Model, open_model
from diagnose.session.words.instructions import part_words
from tests.lamp_car import CAR, MODES, make_knowledge

COMPLAINT = ComplaintFact(complaint="lamp-dead")
LAMP = "lamp:burnt_out"
# Lamps that burn out many thousand times as often as anything else fails.
COMMON = tuple(
    replace(mode, rate=(5.0 if mode.name == "burnt_out" else 0.0001) * mode.rate)
    for mode in MODES
)
ACROSS_LAMP = ReadingFact(
    reading=Reading(
        kind=ReadingKind.DC_VOLTS, state="lit", red="lamp.plus", black="lamp.minus"
    ),
    value=12.4,
)


def common(minutes: float) -> Model:
    """Return the car of such lamps, mending one of which takes so long."""
    modes = tuple(
        replace(mode, repair=replace(mode.repair, minutes=minutes))
        if mode.name == "burnt_out"
        else mode
        for mode in COMMON
    )
    return open_model(CAR, make_knowledge(modes), n_draws=16)


def answer_to(model: Model, *facts: Fact) -> Answer:
    diagnosis = Diagnosis(model)
    diagnosis.recall(facts)
    return diagnosis.answer


def test_sure_by_habit_alone_is_tested_before_a_long_repair() -> None:
    answer = answer_to(common(240.0), COMPLAINT)

    assert answer.causes[0].probability > 0.99
    assert answer.advice.verdict is Verdict.OPEN
    assert answer.advice.says.startswith("Before it is mended, take this reading")
    assert answer.next_steps[0].reading is not None


def test_test_that_takes_too_long_is_refused_and_said_so() -> None:
    answer = answer_to(common(1.0), COMPLAINT)

    assert answer.advice.verdict is Verdict.REPAIR
    assert "Not taken, for its price:" in answer.advice.says


def test_suspect_told_from_its_neighbour_is_mended() -> None:
    answer = answer_to(common(240.0), COMPLAINT, ACROSS_LAMP)

    assert answer.advice.verdict is Verdict.REPAIR
    assert answer.advice.cause == LAMP
    assert "price" not in answer.advice.says


def test_skipped_tests_leave_the_repair() -> None:
    diagnosis = Diagnosis(common(240.0))
    diagnosis.tell(COMPLAINT)
    while diagnosis.answer.advice.verdict is Verdict.OPEN:
        diagnosis.tell(SkipFact(step=diagnosis.answer.next_steps[0].step))

    assert diagnosis.answer.advice.cause == LAMP


def test_reading_before_a_sure_repair_says_why_it_is_taken() -> None:
    step = answer_to(common(240.0), COMPLAINT).next_steps[0]

    assert step.reason.startswith("before it is mended: tells it from: ")
    assert not step.is_for_worth


def test_repair_says_where_the_part_is() -> None:
    advice = answer_to(common(240.0), COMPLAINT, ACROSS_LAMP).advice
    part = CAR.part(LAMP.split(":", maxsplit=1)[0])

    assert advice.where == part_words(part, CAR) != ""
