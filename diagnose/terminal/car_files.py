"""Which car is meant, by the path of a file or by a shipped car's name, and that car.

Leaves reading a file to `files.car` and the copies that cases keep to `kept_cases`.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from importlib.resources import as_file
from pathlib import Path

from diagnose.circuit.car import Car
from diagnose.errors import DiagnoseError, did_you_mean
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder, shipped_cars


def published_knowledge() -> Knowledge:
    """Return the knowledge that comes with the program, without what was learned."""
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
        known = ", ".join(shipped) or "none"
        raise DiagnoseError(
            f'no car file "{name}"{did_you_mean(name, shipped)}; '
            f"cars that come with the program: {known}"
        )
    with as_file(shipped[name]) as unpacked:
        yield unpacked
