"""A car made ready for diagnosis for a command, with its progress on a terminal.

Leaves the work to `session.ready_car` and the cache to `store.model_cache`.

Decision that binds this module: what can be made anew lies in the user's cache folder,
not beside the cases, which people back up.
"""

from __future__ import annotations

import sys
from pathlib import Path

from platformdirs import user_cache_path

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.session.ready_car import Model, open_model
from diagnose.store.case_store import default_data_folder
from diagnose.store.model_cache import ModelCache

# Where compiled cars are kept, in the user's cache folder for this program.
CACHE_FOLDER = "compiled"


def data_folder_of(given: Path | None) -> Path:
    """Return where cases are kept: the folder given, or the user's data folder."""
    return given or default_data_folder()


def compiled_cars() -> ModelCache:
    """Return what is kept of cars that were made ready before."""
    folder = user_cache_path("diagnose", appauthor=False) / CACHE_FOLDER
    return ModelCache(folder)


def prepared_model(car: Car, knowledge: Knowledge, *, is_silent: bool = False) -> Model:
    """Return a car ready for diagnosis, from the cache when it has been seen before.

    Parameters
    ----------
    is_silent : bool
        Show no progress, not even on a terminal.

    Raises
    ------
    UnsolvableCircuitError
        If the healthy car has no steady operating point in some state.
    """
    cache = compiled_cars()
    if is_silent or not sys.stderr.isatty():
        return open_model(car, knowledge, cache=cache, progress=_show_nothing)
    from diagnose.terminal.progress import Progress

    with Progress(sys.stderr) as progress:
        return open_model(car, knowledge, cache=cache, progress=progress.show)


def _show_nothing(_fraction: float, _words: str) -> None:
    """Take progress and show none."""
