"""When a case counts as closed, and what it then says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from diagnose.errors import ReadingError
from diagnose.session.answer import Verdict
from diagnose.session.closing import Cure, closed_case, cure_in, cure_of
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.fact_rows import fact_to_row
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    RepairFact,
    SymptomFact,
    UndoFact,
)
from diagnose.session.ready_car import Model
from diagnose.store.case_rows import FactRow, StoredCase

COMPLAINT = ComplaintFact(complaint="no-crank")
WET = ContextFact(context="water", answer="wet")
WRONG = RepairFact(cause="battery:discharged")
RIGHT = RepairFact(cause="starter:worn")
STORED = StoredCase(
    number=1,
    name="sunday-at-anns",
    car_path="/garage/anns-car.yaml",
    car_digest="0f",
    created_at="2031-05-04T19:30:00.000+00:00",
    latest_at="2031-05-04T19:30:00.000+00:00",
    standing="",
    fact_count=4,
)


@pytest.fixture
def gone(model: Model) -> SymptomFact:
    complaint = model.knowledge.complaints["no-crank"]
    return SymptomFact(symptom=complaint.retest, is_present=complaint.cured_answer)


def cure(facts: Sequence[Fact], model: Model) -> Cure | None:
    return cure_of(facts, model.knowledge.complaints)


def test_repair_whose_retest_passed_is_the_cure(
    model: Model, gone: SymptomFact
) -> None:
    found = cure((COMPLAINT, WET, RIGHT, gone), model)

    assert found == Cure(
        cause="starter:worn", complaint="no-crank", history={"water": "wet"}
    )


def test_last_repair_before_the_passed_retest_is_the_cure(
    model: Model, gone: SymptomFact
) -> None:
    still = replace(gone, is_present=not gone.is_present)

    found = cure((COMPLAINT, WRONG, still, RIGHT, gone), model)

    assert found is not None
    assert found.cause == "starter:worn"


def test_complaint_that_came_back_leaves_the_case_open(
    model: Model, gone: SymptomFact
) -> None:
    back = replace(gone, is_present=not gone.is_present)

    assert cure((COMPLAINT, RIGHT, gone, back), model) is None


@pytest.mark.parametrize("left_out", ["complaint", "repair", "test"])
def test_case_is_open_without_complaint_repair_or_test(
    left_out: str, model: Model, gone: SymptomFact
) -> None:
    facts: dict[str, Fact] = {"complaint": COMPLAINT, "repair": RIGHT, "test": gone}

    assert cure([f for k, f in facts.items() if k != left_out], model) is None


def test_test_before_the_repair_proves_nothing(model: Model, gone: SymptomFact) -> None:
    assert cure((COMPLAINT, gone, RIGHT), model) is None


def test_test_taken_back_proves_nothing(model: Model, gone: SymptomFact) -> None:
    rows = [fact_to_row(f) for f in (COMPLAINT, RIGHT, gone, UndoFact())]

    assert cure_in(rows, model.knowledge) is None


def test_row_that_is_no_fact_is_refused(model: Model) -> None:
    with pytest.raises(ReadingError, match="not a kind of fact"):
        cure_in([FactRow(kind="rumour", content={})], model.knowledge)


def test_case_is_closed_exactly_when_the_diagnosis_says_fixed(
    model: Model, gone: SymptomFact
) -> None:
    diagnosis = Diagnosis(model)
    told = (COMPLAINT, RIGHT, gone)

    verdicts = [diagnosis.tell(fact).advice.verdict for fact in told]

    is_closed = [cure(told[:count], model) is not None for count in (1, 2, 3)]
    assert is_closed == [verdict is Verdict.FIXED for verdict in verdicts]
    assert is_closed[-1]


def test_closed_case_names_nobody(model: Model, gone: SymptomFact) -> None:
    found = cure((COMPLAINT, RIGHT, gone), model)
    assert found is not None

    case = closed_case(STORED, found, model.car, model.knowledge)

    assert "ann" not in repr(case)
    assert (case.group, case.mode) == (("starter", "starter"), "worn")


def test_closed_case_has_the_same_id_every_time(
    model: Model, gone: SymptomFact
) -> None:
    found = cure((COMPLAINT, RIGHT, gone), model)
    assert found is not None
    later = replace(STORED, standing="later", fact_count=9, car_path="elsewhere")

    ids = {
        closed_case(case, found, model.car, model.knowledge).case_id
        for case in (STORED, later)
    }

    assert len(ids) == 1


def test_closed_case_counts_the_parts_that_can_fail(
    model: Model, gone: SymptomFact
) -> None:
    found = cure((COMPLAINT, RIGHT, gone), model)
    assert found is not None

    case = closed_case(STORED, found, model.car, model.knowledge)

    fuses = [p for p in model.car.parts if p.kind == "fuse"]
    counted = sum(n for (kind, _), n in case.parts.items() if kind == "fuse")
    assert counted == len(fuses)


def test_cure_of_a_part_the_car_does_not_have_is_refused(model: Model) -> None:
    cure = Cure(cause="winch:worn", complaint="no-crank", history={})

    with pytest.raises(ReadingError, match="no cause"):
        closed_case(STORED, cure, model.car, model.knowledge)
