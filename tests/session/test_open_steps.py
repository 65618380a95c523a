"""What is asked next: nothing twice in a row; and what the suspects would show."""

from __future__ import annotations

from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.advice.open_steps import same_steps, taken_steps
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.facts import ComplaintFact, Fact, SymptomFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moments

GLOWS = SymptomCheck(symptom="charge-lamp-lit-with-key-off")


def taken(model: Model, *facts: Fact) -> frozenset[Step]:
    reasoner = Reasoner(model)
    moment = Moments(model).at(facts, reasoner.conclude(facts))
    return taken_steps(moment, reasoner.mistakes, same_steps(model))


def test_an_answer_in_doubt_may_be_asked_for_again_only_later(
    sedan_model: Model,
) -> None:
    # brake lamps and horn are dead: a feed on the wrong stud would let the charge lamp
    # glow, and the wrong stud was likely enough for the answer to be in doubt
    told: tuple[Fact, ...] = (
        ComplaintFact(complaint="brake-lamps-dead"),
        SymptomFact(symptom="horn-sounds", is_present=False),
        SymptomFact(symptom=GLOWS.symptom, is_present=False),
    )
    later = SymptomFact(symptom="instruments-work", is_present=True)

    assert GLOWS in taken(sedan_model, *told)
    assert GLOWS not in taken(sedan_model, *told, later)


def test_a_break_that_lasts_is_not_said_to_be_away_now_and_then(
    sedan_model: Model,
) -> None:
    # the open feed of the old box leaves horn and brake lamps dead; the same break that
    # comes and goes is on its line, and lets the horn sound in one look of three
    answer = Diagnosis(sedan_model).tell(ComplaintFact(complaint="brake-lamps-dead"))

    horn = SymptomCheck(symptom="horn-sounds")
    step = next(one for one in answer.next_steps if one.step == horn)
    words = {value.cause: value.words for value in step.expected}
    assert words["old-box-battery:open_circuit"] == "no"
