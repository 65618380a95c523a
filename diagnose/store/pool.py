"""Closed cases on disk, one's own and those of others, each once.

Lines of text under an id, in SQLite beside the case store. Leaves what a line says to
`files.cases.case_lines`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from diagnose.errors import StoreError
from diagnose.store.private_file import private_file

POOL_FILE = "closed-cases.sqlite3"

# The batch of one's own cases; imported files count from 1.
OWN = 0

_SCHEMA_VERSION = 1
_SCHEMA = """
CREATE TABLE IF NOT EXISTS closed_cases (
    id TEXT PRIMARY KEY,
    batch INTEGER NOT NULL,
    line TEXT NOT NULL
) STRICT, WITHOUT ROWID
"""
_BUSY_SECONDS = 5.0
_PAGE = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """How many cases are one's own, and how many came from others."""

    own: int
    imported: int

    @property
    def all(self) -> int:
        """Both together."""
        return self.own + self.imported


class CasePool:
    """The closed cases of a data folder.

    Parameters
    ----------
    folder : Path
        Made when missing, readable by its owner alone.

    Raises
    ------
    StoreError
        From every method, when the file can't be read or written.
    """

    def __init__(self, folder: Path) -> None:
        self._path = private_file(folder, POOL_FILE)
        with self._explained():
            self._connection = sqlite3.connect(
                self._path, timeout=_BUSY_SECONDS, isolation_level=None
            )
        try:
            self._prepare()
        except StoreError:
            self._connection.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._connection.close()

    def replace_own(self, cases: Iterable[tuple[str, str]]) -> None:
        """Put one's own cases, as id and line, in place of those kept before."""
        with self._transaction() as connection:
            connection.execute("DELETE FROM closed_cases WHERE batch = ?", (OWN,))
            # one's own case may be known from a file of the club already
            connection.executemany(
                "INSERT OR REPLACE INTO closed_cases VALUES (?, 0, ?)", cases
            )

    def add(self, cases: Iterable[tuple[str, str]]) -> tuple[int, int]:
        """Add cases of others, all or none.

        Parameters
        ----------
        cases : Iterable[tuple[str, str]]
            Id and line; what it raises leaves the pool as it was.

        Returns
        -------
        tuple[int, int]
            How many were new, and how many were known already.
        """
        with self._transaction() as connection:
            before = self.counted().all
            (latest,) = connection.execute(
                "SELECT COALESCE(MAX(batch), 0) FROM closed_cases"
            ).fetchone()
            told = 0

            def rows() -> Iterator[tuple[str, int, str]]:
                nonlocal told
                for case_id, line in cases:
                    told += 1
                    yield case_id, latest + 1, line

            connection.executemany(
                "INSERT OR IGNORE INTO closed_cases VALUES (?, ?, ?)", rows()
            )
            new = self.counted().all - before
        return new, told - new

    def drop_latest(self) -> int:
        """Take the latest imported file out again; return how many cases it had."""
        with self._transaction() as connection:
            return connection.execute(
                "DELETE FROM closed_cases WHERE batch > 0 AND batch ="
                " (SELECT MAX(batch) FROM closed_cases)"
            ).rowcount

    def lines(self) -> Iterator[str]:
        """Yield the lines of all cases in the order of their ids, a page at a time."""
        after = ""
        while True:
            with self._explained():
                page = self._connection.execute(
                    "SELECT id, line FROM closed_cases WHERE id > ?"
                    " ORDER BY id LIMIT ?",
                    (after, _PAGE),
                ).fetchall()
            if not page:
                return
            after = page[-1][0]
            for _, line in page:
                yield line

    def counted(self) -> Counted:
        """Return how many cases there are."""
        with self._explained():
            own, everything = self._connection.execute(
                "SELECT COUNT(*) FILTER (WHERE batch = 0), COUNT(*) FROM closed_cases"
            ).fetchone()
        return Counted(own=own, imported=everything - own)

    def _prepare(self) -> None:
        """Make the table of a new file; refuse a file of a newer program."""
        with self._explained():
            (found,) = self._connection.execute("PRAGMA user_version").fetchone()
            if found == 0:
                self._connection.execute(_SCHEMA)
                self._connection.execute(f"PRAGMA user_version = {_SCHEMA_VERSION}")
        if found > _SCHEMA_VERSION:
            raise StoreError(
                f"{self._path}: written by a newer version of this program "
                f"(schema {found}, this one knows {_SCHEMA_VERSION}); "
                "upgrade, or choose another folder with --data-folder"
            )

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Turn SQLite's errors into one message about the file."""
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"{self._path}: {error}") from error

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """Write all or nothing."""
        with self._explained():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise
