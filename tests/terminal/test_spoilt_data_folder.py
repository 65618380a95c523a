"""A data folder edited by hand: told in a line or left out, never a traceback."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from diagnose.errors import StoreError
from diagnose.store.case_rows import FactRow
from diagnose.store.case_store import STORE_FILE, CaseStore
from diagnose.store.learned_rates import LEARNED_FOLDER, latest_learned
from diagnose.store.pool import POOL_FILE
from tests.terminal.conftest import CAR, clock
from tests.terminal.test_evening import hold

COMPLAINT = FactRow(kind="complaint", content={"complaint": "no-crank"})


def edited(statement: str, *values: object) -> Callable[[Path], None]:
    """Return what changes the store by SQL."""

    def spoil(folder: Path) -> None:
        connection = sqlite3.connect(folder / STORE_FILE)
        with connection:
            connection.execute(statement, values)
        connection.close()

    return spoil


def with_content(content: str, kind: str = "complaint") -> Callable[[Path], None]:
    return edited("UPDATE facts SET kind = ?, content = ?", kind, content)


def with_folder(name: str) -> Callable[[Path], None]:
    """Return what puts a folder in a file's place."""

    def spoil(folder: Path) -> None:
        (folder / name).unlink(missing_ok=True)
        (folder / name).mkdir(parents=True)

    return spoil


READING = {"kind": "volts", "state": "key-on", "red": "a", "black": "b"}
SPOILT: dict[str, Callable[[Path], None]] = {
    "a list for a fact": with_content("[1, 2]"),
    "a number for a fact": with_content("5"),
    "null for a fact": with_content("null"),
    "another type of field": with_content('{"complaint": {"a": [1]}}'),
    "half a letter": with_content('{"complaint": "\\ud800"}'),
    "a number of 400 digits": with_content(
        json.dumps({**READING, "value": 10**400}), "reading"
    ),
    "a number of 5,000 digits": with_content(
        '{"subject": "idle", "minutes": ' + "9" * 5000 + "}", "takes"
    ),
    "an endless number": with_content('{"subject": "idle", "minutes": 1e999}', "takes"),
    "no such kind": with_content("{}", "wish"),
    "NUL in a name": with_content('{"complaint": "no\\u0000crank"}'),
    "a car path that is a folder": edited("UPDATE cases SET car_path = '/'"),
    "a car path with NUL": edited("UPDATE cases SET car_path = ?", "a\0b"),
    "no car path": edited("UPDATE cases SET car_path = ''"),
    "a name with NUL": edited("UPDATE cases SET name = ?", "a\0b"),
    "no time": edited("UPDATE cases SET latest_at = '', created_at = ''"),
    "no car text": edited("DELETE FROM car_texts"),
    "a car text that is none": edited("UPDATE car_texts SET text = ?", "\0[" * 9),
    "a case path that is a folder": with_folder(STORE_FILE),
    "closed cases that are a folder": with_folder(POOL_FILE),
    "learned rates that are a folder": with_folder(f"{LEARNED_FOLDER}/0001.json"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_store_is_no_traceback(name: str, data_folder: Path) -> None:
    with CaseStore(data_folder, clock=clock) as store:
        store.create(name="sunday", car_path=str(CAR), car_text=CAR.read_text())
        store.append("sunday", [COMPLAINT], after=0, standing="open")
    SPOILT[name](data_folder)
    where = ("--data-folder", data_folder)

    for words in (
        ("resume", "--json"),
        ("cases",),
        ("learn",),
        ("export", "--case", "sunday"),
    ):
        done = hold(*words, *where, text_in='{"ask": "answer"}\n')
        assert done.returncode in (0, 1)
        assert done.stderr.count(b"\n") <= 1 or done.returncode == 0


@pytest.mark.parametrize(
    "content",
    ["[" * 100_000, '{"learned-shares": 1, "cases": ' + "9" * 400 + "}", "\\ud800"],
)
def test_learned_rates_that_are_none_are_refused(content: str, tmp_path: Path) -> None:
    (tmp_path / LEARNED_FOLDER).mkdir()
    (tmp_path / LEARNED_FOLDER / "0001.json").write_text(content)

    with pytest.raises(StoreError, match="can't be read"):
        latest_learned(tmp_path)
