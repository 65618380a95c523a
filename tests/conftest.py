"""Settings that have to stand before numpy is imported; cars compiled once for all."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from diagnose.faults.knowledge import Knowledge
    from diagnose.session.model import Model

# The matrices have about a hundred rows: several threads each take longer than one, by
# half on two cores that also do something else (timed on the shipped car's tests).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

TESTS = Path(__file__).resolve().parent


@pytest.fixture(scope="session")
def compiled_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder in which the compiled forms of cars are kept."""
    return tmp_path_factory.mktemp("compiled")


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    """Return the shipped knowledge."""
    # imported here, after the setting above
    from diagnose.files.knowledge_files import load_knowledge
    from diagnose.files.resources import knowledge_folder

    return load_knowledge(knowledge_folder())


@pytest.fixture(scope="session")
def model(compiled_folder: Path) -> Model:
    """Return the hill climber, a small invented car, ready for diagnosis."""
    return _opened(TESTS / "cars" / "hill-climber.yaml", compiled_folder)


@pytest.fixture(scope="session")
def sedan_model(compiled_folder: Path) -> Model:
    """Return the shipped sedan, ready for diagnosis."""
    return _opened(TESTS.parent / "cases" / "cars" / "sedan.yaml", compiled_folder)


def _opened(path: Path, folder: Path) -> Model:
    # imported here, after the setting above
    from diagnose.files.car_file import load_car
    from diagnose.files.knowledge_files import load_knowledge
    from diagnose.files.resources import knowledge_folder
    from diagnose.session.model import open_model
    from diagnose.store.model_cache import ModelCache

    knowledge = load_knowledge(knowledge_folder())
    return open_model(load_car(path, knowledge), knowledge, cache=ModelCache(folder))
