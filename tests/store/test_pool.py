"""The pool keeps each closed case once, and gives up an import as a whole."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from diagnose.errors import StoreError
from diagnose.store.pool import POOL_FILE, CasePool, Counted


@pytest.fixture
def pool(tmp_path: Path) -> Iterator[CasePool]:
    with CasePool(tmp_path / "data") as opened:
        yield opened


def test_a_case_known_already_is_not_kept_twice(pool: CasePool) -> None:
    pool.add([("a", "line a")])

    assert pool.add([("a", "line a"), ("b", "line b")]) == (1, 1)
    assert list(pool.lines()) == ["line a", "line b"]


def test_own_cases_are_replaced_by_how_they_stand_now(pool: CasePool) -> None:
    pool.replace_own([("a", "old"), ("b", "undone since")])
    pool.replace_own([("a", "new")])

    assert list(pool.lines()) == ["new"]


def test_own_case_that_came_back_in_a_file_counts_as_own(pool: CasePool) -> None:
    pool.add([("a", "as exported")])
    pool.replace_own([("a", "as it stands")])

    assert pool.counted() == Counted(own=1, imported=0)


def test_import_that_fails_half_way_leaves_nothing(pool: CasePool) -> None:
    def cases() -> Iterator[tuple[str, str]]:
        yield "a", "line a"
        raise StoreError("the rest can't be read")

    with pytest.raises(StoreError, match="the rest"):
        pool.add(cases())

    assert pool.counted().all == 0


def test_latest_import_can_be_dropped(pool: CasePool) -> None:
    pool.replace_own([("own", "own")])
    pool.add([("a", "first")])
    pool.add([("b", "second"), ("c", "second too")])

    assert pool.drop_latest() == 2
    assert list(pool.lines()) == ["first", "own"]


def test_own_cases_are_never_dropped(pool: CasePool) -> None:
    pool.replace_own([("own", "own")])

    assert pool.drop_latest() == 0
    assert pool.counted().own == 1


def test_all_lines_come_page_by_page(pool: CasePool) -> None:
    wanted = [(f"{i:05d}", f"line {i}") for i in range(4500)]
    pool.add(reversed(wanted))

    assert list(pool.lines()) == [line for _, line in wanted]


def test_pool_is_readable_by_its_owner_alone(pool: CasePool, tmp_path: Path) -> None:
    assert pool.counted().all == 0

    assert (tmp_path / "data" / POOL_FILE).stat().st_mode & 0o077 == 0


def test_pool_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    with CasePool(tmp_path):
        pass
    with sqlite3.connect(tmp_path / POOL_FILE) as connection:
        connection.execute("PRAGMA user_version = 9")
    connection.close()

    with pytest.raises(StoreError, match="newer version"):
        CasePool(tmp_path)


def test_file_that_is_no_pool_is_one_message(tmp_path: Path) -> None:
    (tmp_path / POOL_FILE).write_text("not a database, " * 100)

    with pytest.raises(StoreError, match="closed-cases"):
        CasePool(tmp_path)
