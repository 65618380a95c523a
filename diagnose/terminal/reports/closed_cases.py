"""Closed cases gathered from the store, and pooled with those of others as files.

Leaves what a case says to `session.closing` and the lines to `files.cases.case_lines`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TextIO

from diagnose.circuit.car import Car
from diagnose.errors import DiagnoseError, InvalidFileError, ReadingError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.cases.case_lines import line_of, read_case_lines
from diagnose.inference.learning.closed_cases import ClosedCase
from diagnose.session.closing import closed_case, cure_in
from diagnose.store.case_rows import FactRow, StoredCase
from diagnose.store.case_store import CaseStore
from diagnose.store.pool import CasePool
from diagnose.terminal.preparation.kept_cases import has_store, opened_store, stored_car
from diagnose.terminal.safe_text import clean

# Reasons told for cases that were left out; the rest is counted. Own choice.
MOST_REMARKS = 10

# Cars kept in memory while the stored cases are read. Own choice: an owner has a few,
# a shop's cars come one after the other.
_REMEMBERED_CARS = 100

# Told with every exported file.
PRIVACY = (
    "The file holds, for each case, how many parts of each kind the car has, the "
    "complaint, the answers about its history, and what was mended: no names, no "
    "dates, no readings, no car file."
)


@dataclass(slots=True, kw_only=True)
class Gathered:
    """What was found on the way through the cases.

    Parameters
    ----------
    n_open : int
        One's own cases whose complaint is not proven gone.
    n_left_out : int
        Closed cases that this program can't use.
    remarks : list[str]
        Why, for the first of them.
    """

    n_open: int = 0
    n_left_out: int = 0
    remarks: list[str] = field(default_factory=list)

    def leave_out(self, reasons: Sequence[str], count: int = 1) -> None:
        """Note cases that can't be used, and why for some of them."""
        self.n_left_out += count
        kept = reasons[: MOST_REMARKS - len(self.remarks)]
        self.remarks.extend(clean(reason) for reason in kept)


def gather_own(
    folder: Path, knowledge: Knowledge, pool: CasePool, gathered: Gathered
) -> None:
    """Put one's own closed cases into the pool, as they stand now.

    Parameters
    ----------
    folder : Path
        The data folder.
    gathered : Gathered
        Takes the count of open cases, and those left out.

    Raises
    ------
    DiagnoseError
        If there is no closed case at all, one's own or imported.
    """
    pool.replace_own(_own_lines(folder, knowledge, gathered))
    if not pool.counted().all:
        raise DiagnoseError(
            f"no case is closed yet ({gathered.n_open} open); a case is closed once "
            "its complaint was tested after a repair and is gone"
        )


def _own_lines(
    folder: Path, knowledge: Knowledge, gathered: Gathered
) -> Iterator[tuple[str, str]]:
    """Yield the closed cases of the store: the key of each, and its line."""
    if not has_store(folder):
        return
    with opened_store(folder) as store:
        cars = _Cars(store, knowledge)
        for stored, rows in store.each_case():
            try:
                case = _closed(stored, rows, cars, knowledge)
            except (ReadingError, InvalidFileError) as error:
                reason = str(error).splitlines()[0]
                gathered.leave_out([f"left out: case {stored.name}: {reason}"])
                continue
            if case is None:
                gathered.n_open += 1
            else:
                yield case.case_id, line_of(case)


def _closed(
    stored: StoredCase, rows: tuple[FactRow, ...], cars: _Cars, knowledge: Knowledge
) -> ClosedCase | None:
    """Return what a case says to others, or None when it is not closed."""
    cure = cure_in(rows, knowledge)
    if cure is None:
        return None
    return closed_case(stored, cure, cars.of(stored), knowledge)


class _Cars:
    """The cars of stored cases, each file read once as long as they are few."""

    def __init__(self, store: CaseStore, knowledge: Knowledge) -> None:
        self._store, self._knowledge = store, knowledge
        self._known: dict[str, Car] = {}

    def of(self, case: StoredCase) -> Car:
        """Return the car of a case, as its file was when the case began."""
        found = self._known.get(case.car_digest)
        if found is None:
            found = stored_car(self._store, case, self._knowledge)
            if len(self._known) >= _REMEMBERED_CARS:
                self._known.clear()
            self._known[case.car_digest] = found
        return found


def export_cases(
    folder: Path, knowledge: Knowledge, *, out: Path, sink: TextIO
) -> None:
    """Write all closed cases, one's own and those of others, to a file.

    Raises
    ------
    DiagnoseError
        If there are none, or the file can't be written.
    """
    gathered = Gathered()
    with CasePool(folder) as pool:
        gather_own(folder, knowledge, pool, gathered)
        try:
            with out.open("w", encoding="utf-8") as file:
                file.writelines(line + "\n" for line in pool.lines())
        except OSError as error:
            raise DiagnoseError(f"{out}: {error.strerror or error}") from error
        counted = pool.counted()
    words = f"closed cases: {counted.all}, of which imported: {counted.imported}"
    sink.write(f"{clean(str(out))}: {words}\n{PRIVACY}\n")
    sink.writelines(remark + "\n" for remark in gathered.remarks)


def import_cases(
    folder: Path, knowledge: Knowledge, *, source: Path, sink: TextIO
) -> None:
    """Take the closed cases of a file into the pool, all or none.

    Raises
    ------
    InvalidFileError
        With what is wrong with it.
    StoreError
        If the pool can't be written.
    """
    cases = read_case_lines(source, knowledge)
    with CasePool(folder) as pool:
        new, known = pool.add((case.case_id, line_of(case)) for case in cases)
    again = f", known already: {known}" if known else ""
    sink.write(
        f"{clean(str(source))}: new closed cases: {new}{again}\n"
        "learn from them by: diagnose learn\n"
    )


def drop_import(folder: Path, sink: TextIO) -> None:
    """Take the cases of the latest imported file out again.

    Raises
    ------
    DiagnoseError
        If there are none, or the pool can't be written.
    """
    with CasePool(folder) as pool:
        dropped = pool.drop_latest()
    if not dropped:
        raise DiagnoseError("no imported case is kept, so there is nothing to drop")
    sink.write(f"imported cases dropped: {dropped}; forget them by: diagnose learn\n")
