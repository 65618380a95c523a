"""Closed cases on disk, one's own and those of others, each once.

Lines of text under an id, in SQLite beside the case store. Leaves what a line says to
`files.cases.case_lines`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from diagnose.store.database import Database

# The file in the data folder that holds closed cases.
POOL_FILE = "closed-cases.sqlite3"

# The batch of one's own cases; imported files count from 1. [1]
OWN = 0

# The table of a new file.
_SCHEMA = """
CREATE TABLE IF NOT EXISTS closed_cases (
    id TEXT PRIMARY KEY,
    batch INTEGER NOT NULL,
    line TEXT NOT NULL
) STRICT, WITHOUT ROWID
"""

# How many lines are read at once when all are gone through. [1] Own choice: a line is
# some hundred bytes.
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


class CasePool(Database):
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
        super().__init__(folder, POOL_FILE, schema=(_SCHEMA,))

    def replace_own(self, cases: Iterable[tuple[str, str]]) -> None:
        """Put one's own cases in place of those kept before.

        Parameters
        ----------
        cases : Iterable[tuple[str, str]]
            Id and line of each.
        """
        with self.transaction() as connection:
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
        with self.transaction() as connection:
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
        with self.transaction() as connection:
            return connection.execute(
                "DELETE FROM closed_cases WHERE batch > 0 AND batch ="
                " (SELECT MAX(batch) FROM closed_cases)"
            ).rowcount

    def lines(self) -> Iterator[str]:
        """Yield the lines of all cases in the order of their ids, a page at a time."""
        after = ""
        while True:
            page = self.rows(
                "SELECT id, line FROM closed_cases WHERE id > ? ORDER BY id LIMIT ?",
                (after, _PAGE),
            )
            if not page:
                return
            after = page[-1][0]
            for _, line in page:
                yield line

    def counted(self) -> Counted:
        """Return how many cases there are, one's own and imported ones."""
        own, everything = self.rows(
            "SELECT COUNT(*) FILTER (WHERE batch = 0), COUNT(*) FROM closed_cases"
        )[0]
        return Counted(own=own, imported=everything - own)
