"""The cases that were kept: their store with the program's clock, and their car files.

Leaves the keeping to `store`.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.store.case_rows import StoredCase
from diagnose.store.case_store import STORE_FILE, CaseStore, default_data_folder

if TYPE_CHECKING:
    from diagnose.circuit.car import Car
    from diagnose.faults.knowledge import Knowledge


def data_folder_of(given: Path | None) -> Path:
    """Return where cases are kept: the folder given, or the user's data folder."""
    return given or default_data_folder()


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


def stored_car(store: CaseStore, case: StoredCase, knowledge: Knowledge) -> Car:
    """Return the car of a case, as its file was when the case began.

    Raises
    ------
    DiagnoseError
        If the file no longer loads.
    """
    from diagnose.files.car.car_file import load_car

    return load_car(Path(case.car_path), knowledge, text=store.car_text(case))


def _utc_now() -> datetime:
    """Return the present time; the one clock of the program."""
    return datetime.now(UTC)
