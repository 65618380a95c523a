"""The list of stored cases.

Decision that binds this module: it imports nothing of circuits, and holds a page of
cases at a time, so that 20,000 are listed at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from diagnose.store.case_rows import StoredCase
from diagnose.terminal.preparation.compiled_cars import compiled_folder, held_bytes
from diagnose.terminal.preparation.kept_cases import has_store, opened_store
from diagnose.terminal.safe_text import clean


def list_cases(folder: Path, sink: TextIO) -> None:
    """List the stored cases, the latest first, and what compiled cars take.

    Parameters
    ----------
    folder : Path
        The data folder.
    sink : TextIO
        Where it is written.

    Raises
    ------
    StoreError
        If the store can't be read.
    """
    is_empty = True
    if has_store(folder):
        with opened_store(folder) as store:
            for case in store.cases():
                is_empty = False
                sink.writelines(_case_lines(case))
    if is_empty:
        sink.write("no case is stored yet; begin one by: diagnose start CAR\n")
    held = held_bytes()
    if held:
        where = clean(str(compiled_folder()))
        sink.write(
            f"compiled cars take {held / 1e6:.0f} MB in {where}; "
            "they are made anew when deleted\n"
        )


def _case_lines(case: StoredCase) -> Iterator[str]:
    day, time = case.latest_at[:10], case.latest_at[11:16]
    line = f"{case.name} {day} {time} UTC {case.fact_count} facts {case.car_path}"
    yield f"{clean(line)}\n"
    if case.standing:
        yield f"  {clean(case.standing)}\n"
