"""Every worked case that is shipped still holds, and could have happened."""

from __future__ import annotations

from importlib.resources import as_file

import pytest

from diagnose.files.cases.case_file import load_case
from diagnose.files.cases.worked_case import WorkedCase
from diagnose.files.resources import shipped_cases
from diagnose.session.ready_car import Model
from diagnose.trial.case_replay import replay
from tests.trial.foreign_steps import foreign_steps


def shipped(name: str) -> WorkedCase:
    with as_file(shipped_cases()[name]) as path:
        return load_case(path)


@pytest.mark.parametrize("name", shipped_cases())
def test_shipped_case_holds(name: str, sedan_model: Model) -> None:
    case = shipped(name)
    steps = list(replay(case, sedan_model))

    failed = [c.says for step in steps for c in step.checks if not c.holds]
    assert case.car == "sedan"
    assert failed == []


@pytest.mark.parametrize("name", shipped_cases())
def test_readings_of_a_shipped_case_are_those_of_its_hidden_car(
    name: str, sedan_model: Model
) -> None:
    assert foreign_steps(shipped(name), sedan_model) == ()


def test_six_complaints_of_three_kinds_are_shipped() -> None:
    # The complaints this car's owners come with most: a start that fails, an engine
    # that stalls under load, lights that go dim.
    complaints = [shipped(name).complaint for name in shipped_cases()]

    for starting in (("first-start",), ("stalls", "starts-then"), ("lights-dim",)):
        assert sum(c.startswith(starting) for c in complaints) >= 2
