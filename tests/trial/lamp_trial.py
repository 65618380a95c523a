"""The lamp car ready for trials; importable where a worker makes its model."""

from __future__ import annotations

from diagnose.faults.signatures import effect_signature
from diagnose.session.ready_car import Model
from diagnose.trial.running import TrialPlan
from tests.lamp_car import CAR, compiled_car, make_knowledge

PLAN = TrialPlan(n_games=3, first_seed=7, batch=1)


def lamp_model() -> Model:
    """Return the lamp car ready for diagnosis."""
    _, compiled = compiled_car(16)
    alike: dict[object, list[int]] = {}
    for number, cause in enumerate(compiled.causes):
        alike.setdefault(effect_signature(cause), []).append(number)
    lines = tuple(tuple(line) for line in alike.values())
    return Model(car=CAR, knowledge=make_knowledge(), compiled=compiled, lines=lines)
