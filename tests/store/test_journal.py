"""The journal keeps a diagnosis going when the disk does not."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest

import diagnose.store.database
from diagnose.store.case_rows import FactRow
from diagnose.store.case_store import STORE_FILE, CaseStore
from diagnose.store.journal import Journal

READING = FactRow(kind="reading", content={"value": 11.2})
SYMPTOM = FactRow(kind="symptom", content={"symptom": "cranks", "is_present": True})


def clock() -> datetime:
    return datetime(2031, 5, 4, tzinfo=UTC)


def test_without_a_store_the_reason_is_told_once() -> None:
    journal = Journal(None, failure="no room")
    journal.append([READING], standing="open")

    told = [journal.take_warning(), journal.take_warning()]
    assert told == [
        "The case can't be saved (no room). "
        "The diagnosis goes on, but ends with this window.",
        "",
    ]


def test_facts_waiting_for_the_disk_are_stored_when_it_is_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A short wait: the lock below stands for a disk that refuses for a while.
    monkeypatch.setattr(diagnose.store.database, "BUSY_SECONDS", 0.05)
    with CaseStore(tmp_path, clock=clock) as store:
        store.create(name="sunday", car_path="car.yaml", car_text="")
        journal = Journal(store, name="sunday")
        holder = sqlite3.connect(tmp_path / STORE_FILE, isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")
        journal.append([SYMPTOM], standing="open")
        first = journal.take_warning()
        holder.execute("ROLLBACK")
        holder.close()
        journal.append([READING], standing="open")

        assert "can't be saved" in first
        assert journal.take_warning().startswith("The case can be saved again")
        assert store.facts("sunday") == (SYMPTOM, READING)
