"""Keys of steps: what they stand for, and what is refused."""

from __future__ import annotations

import pytest

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SymptomCheck, step_of_name


@pytest.mark.parametrize(
    "step",
    [
        SymptomCheck(symptom="engine-cranks"),
        Reading(kind=ReadingKind.OHMS, state="isolated", red="a", black="b"),
        Reading(kind=ReadingKind.LOOK, state="key-off", red="main-fuse", black=""),
    ],
    ids=lambda step: step.name,
)
def test_key_of_a_step_stands_for_it(step: Step) -> None:
    assert step_of_name(step.name) == step


@pytest.mark.parametrize(
    "key",
    [
        "symptom",
        "symptom|engine|cranks",
        "volts|lit",
        "volts|lit|a",
        "volts|lit|a|b|c",
        "miles|lit|a|b",
    ],
)
def test_what_is_no_key_of_a_step_is_refused(key: str) -> None:
    with pytest.raises(ReadingError) as refused:
        step_of_name(key)

    assert str(refused.value) == (
        f'"{key}" is not a step; expected kind|state|red|black'
    )
