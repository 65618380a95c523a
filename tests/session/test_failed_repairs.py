"""After a repair: what proves it, and when the same one may be advised again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SymptomCheck
from diagnose.session.advice.repair_proof import SOUND, UNPROVABLE, UNTOLD
from diagnose.session.advice.repeated_repairs import RepeatedRepairs
from diagnose.session.answer import Answer, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.evidence.concluding import Reasoner
from diagnose.session.facts import (
    ComplaintFact,
    Fact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model, open_model
from diagnose.session.steps.moment import Moments
from tests.lamp_car import CAR, GROUND, MODES, make_knowledge

COMPLAINT = ComplaintFact(complaint="lamp-dead")
DARK = SymptomFact(symptom="lamp-shines", is_present=False)
LAMP = "lamp:burnt_out"
NEW_LAMP = RepairFact(cause=LAMP)
RARE = tuple(replace(mode, rate=0.05 * mode.rate) for mode in MODES)


def volts(red: str, value: float, black: str = GROUND) -> ReadingFact:
    reading = Reading(kind=ReadingKind.DC_VOLTS, state="lit", red=red, black=black)
    return ReadingFact(reading=reading, value=value)


# The lamp has the volts of the battery between its own terminals and stays dark.
ACROSS_LAMP = volts("lamp.plus", 12.4, "lamp.minus")


@pytest.fixture(scope="module")
def lamp_model() -> Model:
    return open_model(CAR, make_knowledge(RARE), n_draws=16)


def told(model: Model, *facts: Fact) -> Diagnosis:
    diagnosis = Diagnosis(model)
    diagnosis.recall(facts)
    return diagnosis


def all_skipped(diagnosis: Diagnosis) -> Answer:
    """Return the answer to an owner who takes no reading that is proposed."""
    answer = diagnosis.answer
    while answer.advice.verdict is Verdict.OPEN:
        answer = diagnosis.tell(SkipFact(step=answer.next_steps[0].step))
    return answer


def failure_odds(model: Model, cause: str, *facts: Fact) -> float:
    moment = Moments(model).at(facts, Reasoner(model).conclude(facts))
    return RepeatedRepairs(model).failure_odds(cause, moment)


def test_repair_that_did_not_cure_is_not_advised_again(lamp_model: Model) -> None:
    diagnosis = told(lamp_model, COMPLAINT, ACROSS_LAMP)
    assert all_skipped(diagnosis).advice.cause == LAMP
    diagnosis.tell(NEW_LAMP)
    diagnosis.tell(DARK)

    answer = all_skipped(diagnosis)

    assert answer.causes[0].name == LAMP
    assert answer.advice.cause != LAMP


def test_reading_that_says_it_did_not_take_has_it_advised_again(
    lamp_model: Model,
) -> None:
    diagnosis = told(lamp_model, COMPLAINT, ACROSS_LAMP, NEW_LAMP, DARK, ACROSS_LAMP)

    assert all_skipped(diagnosis).advice.cause == LAMP


# A lamp that stays dark with the battery's volts between its terminals is burnt out;
# any other open circuit leaves it none. The volts at the battery are the same either
# way, but for the hundredths that a lit lamp takes off.
def test_only_what_the_part_itself_shows_speaks_of_its_repair(
    lamp_model: Model,
) -> None:
    before = (COMPLAINT, ACROSS_LAMP, NEW_LAMP, DARK)

    at_lamp = failure_odds(lamp_model, LAMP, *before, ACROSS_LAMP)
    at_battery = failure_odds(lamp_model, LAMP, *before, volts("battery.plus", 12.5))

    assert at_lamp > 10.0
    assert at_battery == pytest.approx(1.0, abs=0.6)


def test_nothing_seen_since_says_nothing(lamp_model: Model) -> None:
    assert failure_odds(lamp_model, LAMP, COMPLAINT, NEW_LAMP, DARK) == 1.0


def test_cause_never_mended_has_no_odds_of_failure(lamp_model: Model) -> None:
    assert failure_odds(lamp_model, LAMP, COMPLAINT, ACROSS_LAMP) == 1.0


# By hand (Fano's bound for two equally likely cases): what is mistaken at most once in
# eleven tells 1 - H(1/11) = 1 - .44 = .56 bit at least.
def test_proof_tells_mended_from_not_by_ten_to_one(lamp_model: Model) -> None:
    for cause in lamp_model.compiled.causes:
        steps = told(lamp_model, COMPLAINT, RepairFact(cause=cause.name)).answer
        proof = steps.next_steps[0]
        if proof.reading is not None:
            assert proof.bits > 0.56, cause.name


def test_proof_that_cannot_be_had_is_said_so(lamp_model: Model) -> None:
    diagnosis = told(lamp_model, COMPLAINT)
    for step in diagnosis.candidates():
        diagnosis.tell(SkipFact(step=step.step))

    answer = diagnosis.tell(NEW_LAMP)

    assert answer.advice.says == UNPROVABLE
    assert [step.step.name for step in answer.next_steps] == ["symptom|lamp-shines"]


def test_reading_that_overlaps_is_not_called_a_proof(lamp_model: Model) -> None:
    # A battery of 12.5 V says nothing of a lamp.
    untelling = volts("battery.plus", 12.5)

    answer = told(lamp_model, COMPLAINT, ACROSS_LAMP, NEW_LAMP, untelling).answer

    assert answer.advice.says == UNTOLD


def test_reading_that_tells_is_called_a_proof(lamp_model: Model) -> None:
    # What the sheet expects of a sound car there.
    diagnosis = told(lamp_model, COMPLAINT, ACROSS_LAMP, NEW_LAMP)
    proof = diagnosis.answer.next_steps[0]
    assert proof.reading is not None
    sound = proof.expected[0]

    answer = diagnosis.tell(
        ReadingFact(reading=proof.reading, value=0.5 * (sound.low + sound.high))
    )

    assert answer.advice.says == SOUND


def test_nothing_is_mended_a_third_time(lamp_model: Model) -> None:
    twice = (NEW_LAMP, DARK, ACROSS_LAMP, NEW_LAMP, DARK, ACROSS_LAMP)
    diagnosis = told(lamp_model, COMPLAINT, ACROSS_LAMP, *twice)

    assert failure_odds(lamp_model, LAMP, *diagnosis.facts) > 10.0
    assert all_skipped(diagnosis).advice.cause != LAMP


def test_complaint_is_tried_before_anything_else_is_mended(lamp_model: Model) -> None:
    # a reading that the sound car does not give: another fault seems likely at once
    odd = volts("lamp.plus", 6.0)
    answer = told(lamp_model, COMPLAINT, ACROSS_LAMP, NEW_LAMP, odd).answer

    assert answer.advice.verdict is Verdict.PROVE
    assert answer.next_steps[0].step == SymptomCheck(symptom="lamp-shines")


def by_its_complaint(model: Model, *facts: Fact) -> str:
    """Return what may be mended again as its complaint is there; empty for nothing."""
    moment = Moments(model).at(facts, Reasoner(model).conclude(facts))
    causes = told(model, *facts).answer.causes
    line = RepeatedRepairs(model).by_its_complaint(causes, moment)
    return line.name if line is not None else ""


# For what no reading proves: a fault of the engine itself is known by its complaint.
def test_complaint_that_is_still_there_speaks_where_nothing_else_can(
    lamp_model: Model,
) -> None:
    before = (COMPLAINT, ACROSS_LAMP, NEW_LAMP)

    assert by_its_complaint(lamp_model, *before, DARK) == LAMP
    assert by_its_complaint(lamp_model, *before) == ""
    assert by_its_complaint(lamp_model, *before, DARK, NEW_LAMP, DARK) == ""
