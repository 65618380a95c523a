"""A car's parts, states and nodes by name, and its branches as arrays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.car import Car
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.network import CURVE_LENGTH, Slots, stacked
from diagnose.circuit.tolerance_draws import Sample
from tests.circuit.small_circuits import (
    GROUND,
    KEY_OFF,
    KEY_ON,
    make_car,
    make_part,
    make_resistor,
    make_source,
)


@pytest.fixture
def car() -> Car:
    coil = make_part(
        "coil",
        "relay.coil",
        "a",
        GROUND,
        coil_ohms=85.0,
        coil_rise_celsius=0.0,
        pull_in_volts=7.0,
        release_volts=2.0,
        is_elsewhere=0.0,
    )
    contacts = make_part("contacts", "relay.contacts", "a", "b", gate="relay.coil")
    parts = [make_source("a", 12.0), coil, contacts, make_resistor("b", GROUND, 3.0)]
    return make_car(parts, KEY_OFF, KEY_ON, body="body")


def test_parts_and_states_are_found_by_name_or_not_at_all(car: Car) -> None:
    assert car.part("relay.coil").kind == "coil"
    assert car.state("key-on") is KEY_ON
    assert car.state("key-off") is KEY_OFF
    with pytest.raises(KeyError, match="relay"):
        car.part("relay")
    with pytest.raises(KeyError, match="cranking"):
        car.state("cranking")


def test_nodes_come_with_the_reference_first_and_once_each(car: Car) -> None:
    assert car.nodes == (GROUND, "a", "b")


def test_the_grounded_post_is_that_of_the_battery(car: Car) -> None:
    turned = replace(
        car,
        parts=(
            replace(car.parts[0], terminals={"plus": GROUND, "minus": "a"}),
            *car.parts[1:],
        ),
    )

    assert not car.is_positive_ground
    assert turned.is_positive_ground
    assert not replace(car, parts=car.parts[1:]).is_positive_ground


def test_a_changed_coil_touches_its_contacts_too(car: Car) -> None:
    model = CarModel(car, Sample(n_draws=1))

    def touched(*names: str) -> list[str]:
        return [part.name for part in model.touched_parts(names)]

    assert touched("relay.coil") == ["relay.coil", "relay.contacts"]
    assert touched("relay.contacts") == ["relay.contacts"]
    assert touched("relay.contacts", "relay.coil") == ["relay.contacts", "relay.coil"]
    assert touched() == []


def make_slots(*branches: tuple[int, ...]) -> Slots:
    """Return points with these changed branches, the number of each in its curve."""
    branch = np.array(branches)
    curves = np.zeros((*branch.shape, CURVE_LENGTH)) + branch[..., None]
    return Slots(branch=branch, curves=curves)


def test_slots_of_some_points_are_as_many_as_one_of_them_uses() -> None:
    slots = make_slots((3, 5, -1), (4, -1, -1), (1, 2, 6))

    some = slots.take(np.array([1, 0]))

    assert some.branch.tolist() == [[4, -1], [3, 5]]
    assert some.curves[..., 0].tolist() == [[4.0, -1.0], [3.0, 5.0]]
    assert slots.take(np.array([2])).branch.tolist() == [[1, 2, 6]]
    assert slots.take(np.array([], dtype=np.int64)).branch.shape == (0, 0)


def test_slots_beside_others_leave_the_unused_ones_to_the_end() -> None:
    both = make_slots((3, -1), (-1, -1)).beside(make_slots((7, 8), (9, -1)))

    assert both.branch.tolist() == [[3, 7, 8, -1], [9, -1, -1, -1]]
    assert (both.curves[..., 0] == both.branch).all()


def test_states_of_one_car_are_stacked_and_other_cars_are_not(car: Car) -> None:
    plain = replace(car, parts=(car.parts[0], car.parts[3]))
    model = CarModel(plain, Sample(n_draws=2))
    off, on = model.network(KEY_OFF), model.network(KEY_ON)
    other = replace(plain, parts=(*plain.parts, make_resistor("b", "a", 1.0)))

    both = stacked([off, on])

    assert both.n_draws == 4
    assert (both.curves[2:] == on.curves).all()
    assert both.branches == off.branches
    more = CarModel(other, Sample(n_draws=2)).network(KEY_ON)
    fewer = replace(more, branches=("aa", "b", "c"))
    for unlike in (more, fewer, replace(on, nodes=("a", *on.nodes[1:]))):
        with pytest.raises(ValueError, match="can't be stacked"):
            stacked([off, unlike])
        with pytest.raises(ValueError, match="can't be stacked"):
            stacked([unlike, off])


def test_an_active_branch_is_bent_gated_controlled_or_a_source(car: Car) -> None:
    parts = (car.parts[0], *(make_resistor("a", "b", 2.0), car.parts[3]))
    network = CarModel(replace(car, parts=parts), Sample(n_draws=1)).network(KEY_ON)
    plain = replace(network, curves=network.curves.copy())

    assert network.is_active.tolist() == [True, False, False]
    assert network.branch_indices() == {"source-a": 0, "a-b": 1, f"b-{GROUND}": 2}
    assert network.node_indices() == {GROUND: 0, "a": 1, "b": 2, "body": 3}
    plain.amps[0, 1, 0] = 1.0
    assert plain.is_active.tolist() == [True, True, False]
    gated = replace(network, has_gate=np.array([False, False, True]))
    assert gated.is_active.tolist() == [True, False, True]
    control = network.control.copy()
    control[1] = control[2]
    assert replace(network, control=control).is_active.tolist() == [True, True, False]
    plain = replace(network, curves=network.curves.copy())
    plain.breaks[0, 2, 0] = 5.0
    assert plain.is_active.tolist() == [True, False, True]
