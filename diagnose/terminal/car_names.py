"""Which car is meant: a path, a shipped car's name, or the copy that a case keeps."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from importlib.resources import as_file
from pathlib import Path

from diagnose.errors import DiagnoseError
from diagnose.files.resources import shipped_cars
from diagnose.store.case_store import StoredCase
from diagnose.terminal.safe_text import nearest


@contextlib.contextmanager
def car_file(name: str) -> Iterator[Path]:
    """Give the file of a path or of a shipped car's name.

    Raises
    ------
    DiagnoseError
        If there is neither; the message has the nearest shipped car.
    """
    path = Path(name)
    if path.exists():
        yield path
        return
    shipped = shipped_cars()
    if name not in shipped:
        raise DiagnoseError(_no_such_car(name, tuple(shipped)))
    with as_file(shipped[name]) as unpacked:
        yield unpacked


@contextlib.contextmanager
def stored_car_file(case: StoredCase) -> Iterator[Path]:
    """Give the car file as it was when the case began."""
    with tempfile.TemporaryDirectory(prefix="diagnose-") as folder:
        path = Path(folder) / Path(case.car_path).name
        path.write_text(case.car_text, encoding="utf-8")
        yield path


def utc_now() -> datetime:
    """Return the present time; the one clock of the program."""
    return datetime.now(UTC)


def _no_such_car(name: str, shipped: tuple[str, ...]) -> str:
    near = nearest(name, shipped)
    hint = f' (did you mean "{near}"?);' if near else ";"
    known = ", ".join(shipped) or "none"
    return f'no car file "{name}"{hint} cars that come with the program: {known}'
