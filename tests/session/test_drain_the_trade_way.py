"""A flat battery: its drain is read among the first, then followed to its branch."""

from __future__ import annotations

import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SubstitutionTest
from diagnose.session.answer import Answer
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact, ReadingFact
from diagnose.session.ready_car import Model

FLAT = ComplaintFact(complaint="battery-goes-flat")
DRAIN = Reading(kind=ReadingKind.AMPS, state="key-off", red="battery", black="")


def first_three(answer: Answer) -> list[str]:
    return [step.step.name for step in answer.next_steps[:3]]


def test_drain_is_read_among_the_first_three(sedan_model: Model) -> None:
    answer = Diagnosis(sedan_model).tell(FLAT)

    assert "amps|key-off|battery|" in first_three(answer)


@pytest.mark.parametrize("amps", [0.3, 0.08])
def test_drain_that_is_there_is_followed_to_its_branch(
    sedan_model: Model, amps: float
) -> None:
    diagnosis = Diagnosis(sedan_model)
    diagnosis.tell(FLAT)

    answer = diagnosis.tell(ReadingFact(reading=DRAIN, value=amps, rounded_to=0.01))

    branches = [
        step.step
        for step in answer.next_steps[:3]
        if isinstance(step.step, SubstitutionTest)
        or (isinstance(step.step, Reading) and step.step.kind is ReadingKind.FUSE)
        or step.step.name.startswith("amps|key-off|")
    ]
    assert branches, first_three(answer)
