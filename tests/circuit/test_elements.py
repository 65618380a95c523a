"""What the table of kinds says of each kind as such."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.elements import CONSUMER_KINDS, ELEMENTS, LOAD_KINDS
from diagnose.circuit.model import CarModel
from diagnose.circuit.parts.branches import Branch, Values
from diagnose.circuit.tolerance_draws import Middle
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car

CARS = Path(__file__).resolve().parents[1] / "cars"


def test_every_load_takes_current() -> None:
    assert LOAD_KINDS < CONSUMER_KINDS


# Rule: what has a current of its own to take, whatever it is fed by. Batteries and
# alternators give it; wires, contacts and fuses pass it on.
def test_consumers_are_loads_coils_controllers_and_the_starter() -> None:
    assert {"coil", "controller", "starter"} == CONSUMER_KINDS - LOAD_KINDS


# Rule of the trade: lamps sit in sockets, motors and loads on plugs, relays in sockets,
# fuses in holders; the battery, the starter and the alternator are bolted on.
def test_what_has_a_plug_a_socket_or_a_holder_is_pluggable() -> None:
    pluggable = {kind for kind, element in ELEMENTS.items() if element.is_pluggable}

    in_sockets = {"coil", "contacts", "fuse", "slow-fuse", "breaker"}
    assert pluggable == LOAD_KINDS | in_sockets
    assert {"lamp", "led-lamp", "motor", "load", "electronics"} == LOAD_KINDS


# Rule: what is built to have one side on the car's metal, or counts which side that is.
# A motor, a coil or a wire does not care which way round it sits.
def test_what_is_turned_round_in_a_positive_ground_car() -> None:
    turned = {kind for kind, element in ELEMENTS.items() if element.has_ground_side}

    electronics = {"alternator", "controller", "driver"}
    assert turned == electronics | {"starter", "lamp", "led-lamp"}


def test_a_link_is_crimped_and_no_fuse_in_a_holder() -> None:
    pluggable = {kind for kind, element in ELEMENTS.items() if element.is_pluggable}

    assert {"fuse", "slow-fuse", "breaker"} < pluggable
    assert "fusible-link" not in pluggable


# Rule of the trade: between the pins of semiconductors an ohmmeter tells nothing.
def test_ohms_mean_nothing_at_semiconductors() -> None:
    electronic = {kind for kind, element in ELEMENTS.items() if element.is_electronic}

    assert electronic == {"controller", "driver", "electronics"}


@pytest.fixture(scope="module", params=["tourer", "hill-climber"])
def car_model(request: pytest.FixtureRequest, knowledge: Knowledge) -> CarModel:
    car = load_car(CARS / f"{request.param}.yaml", knowledge)
    return CarModel(car, Middle(n_draws=1))


def does(branch: Branch) -> tuple[list[object], ...]:
    """Return what a branch does, to be compared."""
    arrays = [branch.breaks, branch.siemens, branch.amps, branch.forced]
    if branch.protection is not None:
        arrays += [branch.protection.trip_amps, branch.protection.a2s]
    return tuple(array.tolist() for array in arrays)


# What follows no state is worked out once for all of them.
def test_a_kind_that_differs_between_states_says_so(car_model: CarModel) -> None:
    plugged = [state for state in car_model.car.states if not state.is_unplugged]
    for part in car_model.car.parts:
        branches = [
            [does(one) for one in car_model.part_branches(part, state)]
            for state in plugged
        ]
        differs = any(one != other for one, other in combinations(branches, 2))
        assert ELEMENTS[part.kind].follows_state or not differs, part.name


# 1 always on, -1 always off, 0 as the gate says: nothing else, whatever is the matter.
def test_a_branch_is_forced_on_or_off_or_left_to_its_gate(car_model: CarModel) -> None:
    for part in car_model.car.parts:
        sound = car_model.values[part.name]
        flags = [n for n in sound if n.startswith(("is_", "fails_"))]
        told: list[Values] = [sound]
        told += [{**sound, flag: np.full(1, v)} for flag in flags for v in (0.0, 1.0)]
        for values in told:
            for state in car_model.car.states:
                for branch in car_model.part_branches(part, state, {part.name: values}):
                    assert set(branch.forced.tolist()) <= {-1.0, 0.0, 1.0}, branch.name
                    if branch.gate is None:
                        assert 0.0 not in branch.forced.tolist(), branch.name
