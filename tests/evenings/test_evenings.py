"""Invented evenings on unlike cars come to what was written before they were played.

A sample on the smallest cars; all of them: ``python -m tests.longer_runs.evenings``.
"""

from __future__ import annotations

from collections import Counter

import pytest

from diagnose.faults.knowledge import Knowledge
from diagnose.files.resources import shipped_cases
from diagnose.session.ready_car import Model
from diagnose.terminal.preparation.car_files import open_car
from tests.conftest import TESTS
from tests.evenings.playing_evenings import evenings, missed, played, stock_of

EVENINGS = {evening.name: evening for evening in evenings()}

# Two kinds of fault on the smallest car, which the tests have ready.
SAMPLE = ("pump-without-ground", "tank-run-dry")

# Of the cases that are shipped with recorded steps.
SHIPPED_FAMILIES = {"first-start": 5, "stalls": 2, "dim": 2}


@pytest.mark.parametrize("name", SAMPLE)
def test_evening_comes_to_what_was_written_before(name: str, model: Model) -> None:
    evening = EVENINGS[name]

    assert evening.car == "hill-climber"
    assert missed(evening, played(evening, stock_of(model))) == []


def test_there_are_thirty_and_ten_of_each_family_of_every_kind() -> None:
    families = Counter(SHIPPED_FAMILIES)
    families.update(evening.family for evening in EVENINGS.values())

    assert min(families.values()) >= 10
    assert len(EVENINGS) + len(shipped_cases()) >= 30
    kinds = {evening.kind for evening in EVENINGS.values()}
    assert kinds == {
        "single",
        "double",
        "fleeting",
        "design",
        "mechanical",
        "wrong-file",
        "slip",
    }


@pytest.mark.parametrize("car", sorted({one.car for one in EVENINGS.values()}))
def test_what_an_evening_names_is_on_its_car(car: str, knowledge: Knowledge) -> None:
    path = TESTS / "cars" / f"{car}.yaml"
    loaded = open_car(str(path) if path.exists() else car, knowledge)

    for evening in EVENINGS.values():
        if evening.car == car:
            assert evening.complaint in knowledge.complaints
            for fault in evening.faults:
                assert loaded.part(fault.partition(":")[0])
            if evening.wired:
                wire = loaded.part(evening.wired["wire"])
                assert evening.wired["end"] in wire.terminals
                assert evening.wired["to"] in loaded.nodes
