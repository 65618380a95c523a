"""Settings that have to stand before numpy is imported; what is made once for all."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from diagnose.faults.knowledge import Knowledge
    from diagnose.session.ready_car import Model

# The matrices have about a hundred rows: several threads each take longer than one, by
# half on two cores that also do something else (timed on the shipped car's tests).
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

TESTS = Path(__file__).resolve().parent
MOST_WORKERS = 2
# Measured: each one more imports everything again, some ten seconds.
LONG = (
    "tests/trial/test_shipped_cases.py",
    "tests/test_architecture.py",
    "tests/terminal/test_evening.py",
    "tests/drawing/test_diagrams.py",
)
"""The modules that take longest. Begun first, so that the workers end together.

The first compiles the shipped car; the others do without it meanwhile.
"""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Return how many processes share the tests: one for tests asked for by name."""
    if config.args_source is not pytest.Config.ArgsSource.TESTPATHS:
        return 0
    n_processors = os.cpu_count() or 1
    return min(n_processors, MOST_WORKERS) if n_processors > 1 else 0


def pytest_collection_modifyitems(
    config: pytest.Config, items: list[pytest.Item]
) -> None:
    """Put the longest modules first where several processes share the tests."""
    if not hasattr(config, "workerinput"):
        return
    place = {module: number for number, module in enumerate(LONG)}
    items.sort(key=lambda item: place.get(item.nodeid.split("::")[0], len(LONG)))


@pytest.fixture(scope="session", autouse=True)
def compiled_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder in which the compiled forms of cars are kept, for all workers.

    The session's own folder lies in one that the workers share. Commands find it as the
    user's cache folder.
    """
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    os.environ["XDG_CACHE_HOME"] = str(folder / "cache")
    folder = folder / "cache" / "diagnose" / "compiled"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    """Return the knowledge that comes with the program."""
    # here and below imported late, after the setting above
    from diagnose.terminal.preparation.car_files import published_knowledge

    return published_knowledge()


@pytest.fixture(scope="session")
def model(knowledge: Knowledge, compiled_folder: Path) -> Model:
    """Return the hill climber, a small invented car, ready for diagnosis."""
    path = TESTS / "cars" / "hill-climber.yaml"
    return _opened(path, knowledge, compiled_folder)


@pytest.fixture(scope="session")
def sedan_model(knowledge: Knowledge, compiled_folder: Path) -> Model:
    """Return the shipped sedan, ready for diagnosis."""
    path = TESTS.parent / "cases" / "cars" / "sedan.yaml"
    return _opened(path, knowledge, compiled_folder)


@pytest.fixture(scope="session")
def tourer_model(knowledge: Knowledge, compiled_folder: Path) -> Model:
    """Return the tourer, an invented car for charging, ready for diagnosis."""
    return _opened(TESTS / "cars" / "tourer.yaml", knowledge, compiled_folder)


@pytest.fixture(scope="session")
def cluster_address() -> Iterator[str]:
    """Return the address of a Dask cluster of two workers, threads of this process."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=":0"
    ) as cluster:
        yield cluster.scheduler_address


def _opened(path: Path, knowledge: Knowledge, folder: Path) -> Model:
    """Return a car ready for diagnosis; one worker compiles it, the others wait."""
    from diagnose.files.car.car_file import load_car
    from diagnose.session.ready_car import open_model
    from diagnose.store.model_cache import ModelCache

    with (folder / f"{path.stem}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        car = load_car(path, knowledge)
        return open_model(car, knowledge, cache=ModelCache(folder))
