"""Cases on disk: every fact in SQLite before its answer is shown.

Leaves to `session` what a fact means, to `journal` what to do when the disk fails, and
to `database` how a file is opened and written.

Decisions that bind this module:

- A fact is a row of its own, on the disk before its answer is shown: a killed process
  or a flat laptop loses nothing that was answered.
- Rows are only ever added; an undo is a row too.
- A case keeps the text of its car file, as it was when the case began; each text is
  kept once, and read only for the case that is gone on with.
- Which case was worked on latest is counted, not taken from the clock, which may be set
  back. What a list of cases says of each stands in its row: 20,000 of them are listed
  without a look at their facts.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from pathlib import Path

from platformdirs import user_data_path

from diagnose.errors import StoreError
from diagnose.store.case_rows import (
    FactRow,
    StoredCase,
    from_json,
    stored_case,
    to_json,
)
from diagnose.store.database import Database

# The file in the data folder that holds the cases.
STORE_FILE = "cases.sqlite3"

# How many cases are read at once when all are gone through. [1] Own choice: their car
# files are kilobytes each.
_PAGE = 200

# A name that is easy to type on a command line.
_NAME = re.compile(r"\w[\w.-]*")


# The tables of a new file.
_SCHEMA = (
    """
CREATE TABLE cases (
    number INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    car_path TEXT NOT NULL,
    car_text TEXT NOT NULL,
    car_digest TEXT NOT NULL,
    created_at TEXT NOT NULL,
    standing TEXT NOT NULL
) STRICT
""",
    """
CREATE TABLE facts (
    case_number INTEGER NOT NULL REFERENCES cases (number),
    sequence INTEGER NOT NULL,
    kind TEXT NOT NULL,
    content TEXT NOT NULL CHECK (json_valid(content)),
    told_at TEXT NOT NULL,
    PRIMARY KEY (case_number, sequence)
) STRICT
""",
)

# What version 2 changed: texts of cars apart and once, the latest case counted, and
# what is listed of a case in its row.
_VERSION_2 = (
    "CREATE TABLE car_texts (digest TEXT PRIMARY KEY, text TEXT NOT NULL) STRICT",
    "INSERT OR IGNORE INTO car_texts SELECT car_digest, car_text FROM cases",
    "ALTER TABLE cases DROP COLUMN car_text",
    "ALTER TABLE cases ADD COLUMN worked_on INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE cases ADD COLUMN fact_count INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE cases ADD COLUMN latest_at TEXT NOT NULL DEFAULT ''",
    """
UPDATE cases SET (fact_count, latest_at) = (
    SELECT COUNT(*), COALESCE(MAX(told_at), cases.created_at) FROM facts
    WHERE case_number = cases.number)
""",
    """
UPDATE cases SET worked_on = place FROM (
    SELECT number AS found, ROW_NUMBER() OVER (ORDER BY latest_at, number) AS place
    FROM cases)
WHERE number = found
""",
    "CREATE INDEX latest_cases ON cases (worked_on)",
)

# What version 3 added: the step that was on the page when the person left.
_VERSION_3 = ("ALTER TABLE cases ADD COLUMN at_step TEXT NOT NULL DEFAULT ''",)

# What is read of a case.
_SELECT_CASES = """
SELECT number, name, car_path, car_digest, created_at, latest_at, standing, fact_count,
    at_step
FROM cases
"""

# The count of the case that is worked on now. [1]
_NOW_LATEST = "(SELECT COALESCE(MAX(worked_on), 0) + 1 FROM cases)"


def default_data_folder() -> Path:
    """Return the folder that holds cases unless another one is named."""
    return user_data_path("diagnose", appauthor=False)


def text_digest(text: str) -> str:
    """Return the SHA-256 of a text, in hexadecimal.

    Parameters
    ----------
    text : str
        Hashed as UTF-8.
    """
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def storable(text: str) -> str:
    """Return a text that can be kept: a file's name need not be letters.

    Parameters
    ----------
    text : str
        As the system gives it, with lone surrogates for bytes that are no UTF-8.
    """
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


class CaseNameError(StoreError):
    """A name a case can't have: taken, or hard to type on a command line."""


class CaseChangedError(StoreError):
    """A case that holds other facts than its window knows of."""


class CaseStore(Database):
    """The cases of one user, in one SQLite file.

    Parameters
    ----------
    folder : Path
        The data folder; made when missing, readable by its owner alone.
    clock : Callable[[], datetime]
        Gives the present time, with its offset.

    Raises
    ------
    StoreError
        From every method, when the file can't be read or written.
    """

    def __init__(self, folder: Path, *, clock: Callable[[], datetime]) -> None:
        super().__init__(
            folder, STORE_FILE, schema=_SCHEMA, upgrades=(_VERSION_2, _VERSION_3)
        )
        self._clock = clock

    def create(self, *, name: str, car_path: str, car_text: str) -> StoredCase:
        """Begin a case.

        Parameters
        ----------
        name : str
            A name no case has yet; empty: one is made from the car file's name.
        car_path, car_text : str
            The car file, and a copy of its text.

        Returns
        -------
        StoredCase
            The new case, without facts.

        Raises
        ------
        CaseNameError
            If the name is taken, or not a word.
        StoreError
            If the file can't be written.
        """
        car_path = storable(car_path)
        if name and not _NAME.fullmatch(name):
            raise CaseNameError(
                f'"{name}" can\'t name a case; use letters, digits, "-", "_" and "."'
            )
        with self.transaction() as connection:
            wanted = name or self._free_name(Path(car_path).stem)
            taken = connection.execute(
                "SELECT 1 FROM cases WHERE name = ?", (wanted,)
            ).fetchone()
            if taken:
                raise CaseNameError(
                    f'case "{wanted}" exists already; '
                    f"go on with it by: diagnose resume {wanted}"
                )
            digest, now = text_digest(car_text), self._now()
            connection.execute(
                "INSERT OR IGNORE INTO car_texts VALUES (?, ?)", (digest, car_text)
            )
            connection.execute(
                "INSERT INTO cases (name, car_path, car_digest, created_at, latest_at,"
                f" standing, worked_on) VALUES (?, ?, ?, ?, ?, '', {_NOW_LATEST})",
                (wanted, car_path, digest, now, now),
            )
        return self.find(wanted)

    def append(
        self, name: str, rows: Sequence[FactRow], *, after: int, standing: str
    ) -> int:
        """Add facts to a case, all or none, and flush them to the disk.

        Parameters
        ----------
        name : str
            The case.
        rows : Sequence[FactRow]
            The facts, oldest first.
        after : int
            How many facts the caller knows of; guards against two windows on one case.
        standing : str
            Where the case stands now, in words.

        Returns
        -------
        int
            How many facts the case has now.

        Raises
        ------
        CaseChangedError
            If it has other facts than `after`.
        StoreError
            If the case is unknown, or can't be written.
        """
        number = self._number(name)
        with self.transaction() as connection:
            (present,) = connection.execute(
                "SELECT COUNT(*) FROM facts WHERE case_number = ?", (number,)
            ).fetchone()
            if present != after:
                raise CaseChangedError(
                    f'case "{name}" was changed from another window, so nothing more '
                    f"is taken in here; leave, and go on by: diagnose resume {name}"
                )
            now = self._now()
            connection.executemany(
                "INSERT INTO facts VALUES (?, ?, ?, ?, ?)",
                [
                    (number, after + place, row.kind, to_json(row), now)
                    for place, row in enumerate(rows, start=1)
                ],
            )
            connection.execute(
                "UPDATE cases SET standing = ?, fact_count = ?, latest_at = ?,"
                f" worked_on = {_NOW_LATEST} WHERE number = ?",
                (standing, after + len(rows), now, number),
            )
        return after + len(rows)

    def note_step(self, name: str, step: str) -> None:
        """Note the step that the person is at, for who comes back to the case.

        Parameters
        ----------
        name : str
            The case.
        step : str
            Name of the step; empty for none.

        Raises
        ------
        StoreError
            If the case is unknown, or can't be written.
        """
        number = self._number(name)
        with self.transaction() as connection:
            connection.execute(
                "UPDATE cases SET at_step = ? WHERE number = ?", (step, number)
            )

    def facts(self, name: str) -> tuple[FactRow, ...]:
        """Return the facts of a case, oldest first.

        Parameters
        ----------
        name : str
            The case.

        Raises
        ------
        StoreError
            If the case is unknown.
        """
        return self._facts_of(self._number(name))

    def _facts_of(self, number: int) -> tuple[FactRow, ...]:
        found = self.rows(
            "SELECT kind, content FROM facts WHERE case_number = ? ORDER BY sequence",
            (number,),
        )
        return tuple(
            FactRow(kind=kind, content=from_json(content)) for kind, content in found
        )

    def cases(self) -> Iterator[StoredCase]:
        """Yield all cases, the one worked on latest first, a page at a time."""
        page = self._cases("ORDER BY worked_on DESC LIMIT ?", (_PAGE,))
        while page:
            yield from page
            page = self._cases(
                "WHERE worked_on < (SELECT worked_on FROM cases WHERE number = ?)"
                " ORDER BY worked_on DESC LIMIT ?",
                (page[-1].number, _PAGE),
            )

    def _cases(
        self, which: str, values: Sequence[object] = ()
    ) -> tuple[StoredCase, ...]:
        found = self.rows(f"{_SELECT_CASES} {which}", values)
        return tuple(stored_case(row) for row in found)

    def car_text(self, case: StoredCase) -> str:
        """Return the text of a case's car file, as it was when the case began.

        Parameters
        ----------
        case : StoredCase
            The case.

        Raises
        ------
        StoreError
            If the text is gone.
        """
        found = self.rows(
            "SELECT text FROM car_texts WHERE digest = ?", (case.car_digest,)
        )
        if not found:
            raise StoreError(f'the car file of case "{case.name}" is gone')
        return str(found[0][0])

    def each_case(self) -> Iterator[tuple[StoredCase, tuple[FactRow, ...]]]:
        """Yield every case with its facts, oldest first, a page at a time."""
        after = 0
        while True:
            page = self._cases(
                "WHERE number > ? ORDER BY number LIMIT ?", (after, _PAGE)
            )
            if not page:
                return
            for case in page:
                yield case, self._facts_of(case.number)
            after = page[-1].number

    def find(self, name: str = "") -> StoredCase:
        """Return the case of that name; without a name, the one worked on latest.

        Parameters
        ----------
        name : str
            The case, or empty.

        Raises
        ------
        StoreError
            If there is none.
        """
        latest = self._cases("ORDER BY worked_on DESC LIMIT 5")
        name = name.encode("utf-8", "replace").decode("utf-8")
        if not latest:
            raise StoreError("no case is stored yet; begin one by: diagnose start CAR")
        found = self._cases("WHERE name = ?", (name,)) if name else latest
        if found:
            return found[0]
        names = ", ".join(case.name for case in latest)
        raise StoreError(f'no case "{name}" is stored; the latest are: {names}')

    def _number(self, name: str) -> int:
        found = self.rows("SELECT number FROM cases WHERE name = ?", (name,))
        return int(found[0][0]) if found else self.find(name).number

    def _now(self) -> str:
        return self._clock().isoformat(timespec="milliseconds")

    def _free_name(self, stem: str) -> str:
        """Return the first of ``stem-1``, ``stem-2`` ... that no case has.

        Where some of them were left out, one of those may be found instead: not all
        names are looked at, however many cases there are.
        """
        stem = re.sub(r"[^\w.-]+", "-", stem).strip("-.") or "case"

        def is_taken(count: int) -> bool:
            sought = (f"{stem}-{count}",)
            return bool(self.rows("SELECT 1 FROM cases WHERE name = ?", sought))

        free = 1
        while is_taken(free):
            free *= 2
        taken = free // 2
        while free - taken > 1:
            middle = (taken + free) // 2
            taken, free = (middle, free) if is_taken(middle) else (taken, middle)
        return f"{stem}-{free}"
