"""The small invented car of `tests/conftest.py` with cases, for tests of the faces."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.ready_car import Model
from diagnose.store.case_store import CaseStore
from diagnose.store.journal import Journal

CAR = Path(__file__).resolve().parents[1] / "cars" / "hill-climber.yaml"


def clock() -> datetime:
    return datetime(2031, 5, 4, 19, 30, tzinfo=UTC)


@pytest.fixture
def data_folder(model: Model, tmp_path: Path) -> Path:
    """Return a data folder without cases; the car is compiled."""
    assert model.car.name == "hill-climber"
    folder = tmp_path / "data"
    folder.mkdir()
    return folder


@pytest.fixture
def store(tmp_path: Path) -> Iterator[CaseStore]:
    with CaseStore(tmp_path / "store", clock=clock) as opened:
        opened.create(name="sunday", car_path=str(CAR), car_text=CAR.read_text())
        yield opened


@pytest.fixture
def new_casebook(model: Model, store: CaseStore) -> Callable[[], Casebook]:
    """Return a maker of casebooks on the case ``sunday``."""

    def make() -> Casebook:
        rows = store.facts("sunday")
        journal = Journal(store, name="sunday", fact_count=len(rows))
        return Casebook(Diagnosis(model), journal)

    return make


@pytest.fixture
def casebook(new_casebook: Callable[[], Casebook]) -> Casebook:
    return new_casebook()
