"""A car made ready for diagnosis for a command, with its progress on a terminal.

Leaves the work to `session.ready_car` and the cache to `store.model_cache`.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.faults.knowledge import Knowledge
from diagnose.session.ready_car import Model, open_model
from diagnose.store.model_cache import ModelCache
from diagnose.terminal.opening import Opening
from diagnose.terminal.opening import opening as opening_line
from diagnose.terminal.preparation.compiled_cars import compiled_folder


def prepared_model(
    car: Car, knowledge: Knowledge, *, opening: Opening | None = None
) -> Model:
    """Return a car ready for diagnosis, from the cache when it has been seen before.

    Parameters
    ----------
    opening : Opening or None
        What shows how far it is; None for one of its own, on a terminal.

    Raises
    ------
    UnsolvableCircuitError
        If the healthy car has no steady operating point in some state.
    """
    cache = ModelCache(compiled_folder())
    if opening is not None:
        return open_model(car, knowledge, cache=cache, progress=opening.show)
    with opening_line(is_plain=False, is_json=False) as line:
        return open_model(car, knowledge, cache=cache, progress=line.show)
