"""The readings before the first start, taken inside a diagnosis."""

from __future__ import annotations

import math

import pytest

from diagnose.session.answer import Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import (
    ComplaintFact,
    PrestartFact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.sheets.first_start import Prestart, prestart, prestart_facts

OPEN_GROUND = "fuel-pump-ground:open_circuit"


@pytest.fixture(scope="module")
def listed(model: Model) -> Prestart:
    return prestart(model)


@pytest.fixture
def diagnosis(model: Model) -> Diagnosis:
    begun = Diagnosis(model)
    begun.recall(prestart_facts(model.knowledge))
    return begun


def fact(listed: Prestart, place: int, *, value: float | None = None) -> ReadingFact:
    """Return a reading of the list, in the middle of its limits unless told."""
    one = listed.readings[place]
    return ReadingFact(
        reading=one.reading, value=one.limits.middle if value is None else value
    )


def pump(listed: Prestart) -> int:
    return next(
        number
        for number, one in enumerate(listed.readings)
        if (one.reading.red, one.reading.black) == ("fuel-pump.plus", "fuel-pump.minus")
    )


def pass_all(diagnosis: Diagnosis, listed: Prestart, *, but: int = -1) -> None:
    places = range(len(listed.readings))
    diagnosis.recall([fact(listed, place) for place in places if place != but])


def test_list_is_asked_for_in_its_order(diagnosis: Diagnosis, listed: Prestart) -> None:
    asked = [step.step.name for step in diagnosis.answer.next_steps]
    diagnosis.tell(fact(listed, 0))
    then = diagnosis.answer.next_steps[0].step.name

    assert asked == [one.reading.name for one in listed.readings[:3]]
    assert then == listed.readings[1].reading.name


def test_step_shows_the_limits_of_the_list(
    diagnosis: Diagnosis, listed: Prestart
) -> None:
    (expected,) = diagnosis.answer.next_steps[0].expected

    limits = listed.readings[0].limits
    assert (expected.low, expected.high) == (limits.low, limits.high)


def test_nothing_is_suspected_while_all_is_right(
    diagnosis: Diagnosis, listed: Prestart
) -> None:
    answer = diagnosis.tell(fact(listed, 0))

    assert answer.causes == ()


def test_reading_likelier_slipped_than_faulty_is_asked_for_again(
    diagnosis: Diagnosis, listed: Prestart
) -> None:
    # Between the healthy 1.5 ohm and open, which is what faults give here.
    answer = diagnosis.tell(fact(listed, 1, value=40.0))

    assert answer.advice.verdict is Verdict.NOTHING_FITS
    assert answer.next_steps[0].step.name == listed.readings[1].reading.name


def test_fault_ends_the_list_until_its_repair_is_proven(
    diagnosis: Diagnosis, listed: Prestart
) -> None:
    place = pump(listed)
    pass_all(diagnosis, listed, but=place)
    diagnosis.tell(fact(listed, place, value=0.0))
    answer = diagnosis.tell(fact(listed, place, value=0.0))
    assert "outside what a sound car shows" in answer.notes[0]
    assert answer.causes

    answer = diagnosis.tell(RepairFact(cause=OPEN_GROUND))
    assert answer.next_steps[0].step.name == listed.readings[place].reading.name

    answer = diagnosis.tell(fact(listed, place))
    assert answer.next_steps[0].step.name == "symptom|engine-starts"


def test_first_start_closes_the_list(diagnosis: Diagnosis, listed: Prestart) -> None:
    pass_all(diagnosis, listed)

    answer = diagnosis.tell(SymptomFact(symptom="engine-starts", is_present=True))
    assert answer.advice.verdict is Verdict.FIXED


def test_engine_that_does_not_start_is_diagnosed(
    diagnosis: Diagnosis, listed: Prestart
) -> None:
    pass_all(diagnosis, listed)

    answer = diagnosis.tell(SymptomFact(symptom="engine-starts", is_present=False))
    # No reading before the start shows what is wrong with fuel or timing.
    assert answer.causes[0].name.startswith(("engine:", "fuel-pump:pump_delivers"))


def test_complaint_ends_the_list(diagnosis: Diagnosis) -> None:
    answer = diagnosis.tell(ComplaintFact(complaint="no-crank"))

    assert answer.causes


def test_skipped_reading_is_not_asked_for_again(
    diagnosis: Diagnosis, listed: Prestart
) -> None:
    first = listed.readings[0].reading
    answer = diagnosis.tell(SkipFact(step=first))

    assert first not in [step.step for step in answer.next_steps]


def test_list_that_was_asked_for_in_between_comes_at_once(model: Model) -> None:
    answer = Diagnosis(model).tell(PrestartFact())

    assert answer.next_steps[0].reason.startswith("reading 1 of ")


def test_over_range_is_written_as_meters_show_it(
    diagnosis: Diagnosis, listed: Prestart
) -> None:
    place = next(n for n, r in enumerate(listed.readings) if math.isinf(r.limits.low))
    diagnosis.recall([fact(listed, before) for before in range(place)])

    assert diagnosis.answer.next_steps[0].expected[0].words == "OL"
