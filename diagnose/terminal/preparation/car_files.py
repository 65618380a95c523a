"""Which car is meant, by the path of a file or by a shipped car's name, and that car.

Leaves reading a file to `files.car` and the copies that cases keep to `kept_cases`.
"""

from __future__ import annotations

import contextlib
import functools
import sys
from collections.abc import Iterator
from importlib.resources import as_file
from pathlib import Path

from diagnose.circuit.car import Car
from diagnose.errors import DiagnoseError, did_you_mean
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder, shipped_cars
from diagnose.terminal.safe_text import clean


@functools.cache
def published_knowledge() -> Knowledge:
    """Return the knowledge that comes with the program, without what was learned.

    Read once: a command may ask for it in several places.
    """
    return load_knowledge(knowledge_folder())


def open_car(name: str, knowledge: Knowledge) -> Car:
    """Return the car of a path or of a shipped car's name.

    Raises
    ------
    DiagnoseError
        If there is no such file, or with everything that is wrong with it.
    """
    with car_file(name) as path:
        return load_car(path, knowledge)


def refuse_overwriting(out: Path, source: Path) -> None:
    """Refuse to write a file in place of the one it is made from.

    Raises
    ------
    DiagnoseError
        If both are one file, whatever they are called.
    """
    with contextlib.suppress(OSError, ValueError):
        if out.samefile(source):
            raise DiagnoseError(f"{out}: would overwrite {source}; choose another name")


@contextlib.contextmanager
def car_file(name: str) -> Iterator[Path]:
    """Give the file of a path or of a shipped car's name.

    A name without its ending stands for the file where no shipped car has it.

    Raises
    ------
    DiagnoseError
        If there is neither; the message has the nearest shipped car.
    """
    path = Path(name)
    if is_there(path):
        yield path
        return
    shipped = shipped_cars()
    beside = Path(f"{name}.yaml")
    if name not in shipped and is_there(beside):
        sys.stderr.write(f"diagnose: {clean(name)} is taken for {clean(str(beside))}\n")
        yield beside
        return
    if name in shipped and is_there(beside):
        sys.stderr.write(
            f"diagnose: {clean(name)} is the car of that name that comes with the "
            f"program; for the file beside you type {clean(str(beside))}\n"
        )
    if name not in shipped:
        known = ", ".join(shipped) or "none"
        raise DiagnoseError(
            f'no car file "{name}"{did_you_mean(name, shipped)}; '
            f"cars that come with the program: {known}"
        )
    with as_file(shipped[name]) as unpacked:
        yield unpacked


def is_there(path: Path) -> bool:
    """Return whether there is a file; one that may not be read counts too.

    Parameters
    ----------
    path : Path
        Whatever was typed, also what no file can be called.
    """
    try:
        return path.exists()
    except PermissionError:
        return True
    except OSError:  # such as a name too long for any file
        return False
