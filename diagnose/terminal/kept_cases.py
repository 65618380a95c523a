"""The cases that were kept: their store with the program's clock, and their car files.

Leaves the keeping to `store`.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.store.case_store import STORE_FILE, CaseStore, StoredCase


def opened_store(folder: Path) -> CaseStore:
    """Return the store of a data folder, made when there is none.

    Raises
    ------
    StoreError
        If it can't be read or made.
    """
    return CaseStore(folder, clock=_utc_now)


def has_store(folder: Path) -> bool:
    """Return whether cases were kept in a data folder before."""
    return (folder / STORE_FILE).exists()


def stored_car(case: StoredCase, knowledge: Knowledge) -> Car:
    """Return the car of a case, as its file was when the case began.

    Raises
    ------
    DiagnoseError
        If the file no longer loads.
    """
    with car_file_of_text(Path(case.car_path).name, case.car_text) as path:
        return load_car(path, knowledge)


@contextlib.contextmanager
def car_file_of_text(name: str, text: str) -> Iterator[Path]:
    """Give a file with the text of a car file, gone when it has been read.

    Parameters
    ----------
    name : str
        Its name, for messages about what is wrong with it.
    """
    with tempfile.TemporaryDirectory(prefix="diagnose-") as folder:
        path = Path(folder) / name
        path.write_text(text, encoding="utf-8")
        yield path


def _utc_now() -> datetime:
    """Return the present time; the one clock of the program."""
    return datetime.now(UTC)
