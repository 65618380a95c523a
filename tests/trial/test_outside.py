"""What is wrong outside the model, as it is drawn."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.session.ready_car import Model
from diagnose.trial.hidden.hidden_car import HiddenCars
from diagnose.trial.hidden.outside import drawn_wiring, is_unlike_all


@pytest.fixture(scope="module")
def drawn(model: Model) -> list[tuple[Car, str]]:
    random = np.random.default_rng(3)
    draws = [drawn_wiring(model.car, random) for _ in range(60)]
    return [draw for draw in draws if draw is not None]


def test_no_node_is_lost(model: Model, drawn: list[tuple[Car, str]]) -> None:
    assert drawn
    assert all(set(car.nodes) == set(model.car.nodes) for car, _ in drawn)


def test_one_wire_is_moved_or_one_bridge_added(
    model: Model, drawn: list[tuple[Car, str]]
) -> None:
    old = {(part.name, tuple(part.terminals.items())) for part in model.car.parts}
    changes = [
        len({(p.name, tuple(p.terminals.items())) for p in car.parts} - old)
        for car, _ in drawn
    ]

    assert set(changes) == {1}


def test_nothing_is_bridged_to_ground(
    model: Model, drawn: list[tuple[Car, str]]
) -> None:
    # A short to ground is a cause of the model.
    bridges = [
        part for car, _ in drawn for part in car.parts if part.kind == "resistor"
    ]
    bridges = [part for part in bridges if part.name == "touching-points"]

    ground = {model.car.reference, model.car.body}
    assert bridges
    assert not any(ground & set(part.terminals.values()) for part in bridges)


def test_sound_car_is_like_one_of_the_model(model: Model) -> None:
    assert not is_unlike_all(model, HiddenCars(model, n_cars=1, seed=1))
