"""An SQLite file in the data folder: opened, of a known version, all or nothing.

Every error of SQLite becomes a `StoreError` that names the file. Leaves tables and what
they hold to `case_store` and `pool`.

Decision that binds this module: a transaction is flushed to the disk before it counts
as done (``synchronous=FULL``), so a killed process or a flat laptop loses nothing that
was answered.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from diagnose.errors import StoreError
from diagnose.store.private_file import private_file

# How long another process may hold the file before it counts as busy. [s] Own choice: a
# transaction takes milliseconds.
BUSY_SECONDS = 5.0


class Database:
    """One SQLite file.

    Parameters
    ----------
    folder : Path
        Made when missing, readable by its owner alone.
    name : str
        The file in it, made likewise.
    schema : Sequence[str]
        Statements that make the tables of version 1.
    upgrades : Sequence[Sequence[str]]
        Statements that make each further version of the one before it.

    Raises
    ------
    StoreError
        From every method, when the file can't be read or written, or was written by a
        newer version of this program.
    """

    def __init__(
        self,
        folder: Path,
        name: str,
        *,
        schema: Sequence[str],
        upgrades: Sequence[Sequence[str]] = (),
    ) -> None:
        self._path = private_file(folder, name)
        with self._explained():
            self._connection = sqlite3.connect(
                self._path, timeout=BUSY_SECONDS, isolation_level=None
            )
        try:
            self._prepare((schema, *upgrades))
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
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def rows(self, query: str, values: Sequence[object] = ()) -> list[Any]:
        """Return all rows that a query finds, as tuples.

        Parameters
        ----------
        query : str
            With a ``?`` for each value.
        values : Sequence[object]
            What stands for them.
        """
        with self._explained():
            return self._connection.execute(query, values).fetchall()

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Yield the connection; what is done with it is written whole or not at all."""
        with self._explained():
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                # A full disk may have rolled back by itself already.
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _prepare(self, versions: Sequence[Sequence[str]]) -> None:
        """Bring the tables to the latest version; refuse a file of a newer program."""
        with self._explained():
            self._connection.execute("PRAGMA synchronous = FULL")
            self._connection.execute("PRAGMA foreign_keys = ON")
        latest = len(versions)
        if self._version() < latest:
            with self.transaction() as connection:
                # Looked at again under the lock: another process may have been first.
                for statements in versions[self._version() :]:
                    for statement in statements:
                        connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {latest}")
        found = self._version()
        if found != latest:
            raise StoreError(
                f"{self._path}: written by a newer version of this program "
                f"(schema {found}, this one knows {latest}); "
                "upgrade, or choose another folder with --data-folder"
            )

    def _version(self) -> int:
        """Return the version of the file's tables; 0 when it has none."""
        return int(self.rows("PRAGMA user_version")[0][0])

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """Turn SQLite's errors into one message about the file."""
        try:
            yield
        except sqlite3.Error as error:
            raise StoreError(f"{self._path}: {error}") from error
