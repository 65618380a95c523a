"""Gates of points by hand: two relays, three contacts, two cars of one kind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.circuit.car import Part
from diagnose.circuit.changes.states.gates import Gates, StatePoints, WiderHysteresis
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.network import (
    FORCED,
    OFF_VOLTS,
    ON_VOLTS,
    Network,
    Slots,
)
from diagnose.circuit.solver.point_solver import OperatingPointSolver
from diagnose.circuit.tolerance_draws import Sample
from tests.circuit.small_circuits import (
    GROUND,
    KEY_ON,
    make_car,
    make_part,
    make_resistor,
    make_source,
    with_values,
)


def make_relay(name: str, feed: str, *outs: str) -> list[Part]:
    """Return a coil from `feed` to ground, and contacts from ``plus`` to each out."""
    coil = make_part(
        "coil",
        f"{name}.coil",
        feed,
        GROUND,
        coil_ohms=85.0,
        coil_rise_celsius=0.0,
        pull_in_volts=7.0,
        release_volts=2.0,
        is_elsewhere=0.0,
    )
    stays = ("is_stuck_closed", "is_stuck_open", "is_on_other_contact")
    sound = dict.fromkeys(
        (*stays, "is_feed_swapped", "is_bridged", "is_other_layout"), 0.0
    )
    contacts = [
        make_part("contacts", f"{name}.{out}", "plus", out, gate=f"{name}.coil")
        for out in outs
    ]
    return [
        coil,
        *(
            with_values(one, {**sound, "contact_ohms": 0.01, "bridge_ohms": 0.02})
            for one in contacts
        ),
    ]


@pytest.fixture(scope="module")
def network() -> Network:
    """Return a relay of two contacts and one of one; the second car's pull in later.

    By hand: 12 V; the second relay's coil has 6 V behind as many ohms as its own.
    """
    parts = [
        make_source("plus", 12.0),
        *make_relay("pump", "plus", "a", "b"),
        make_resistor("plus", "half", 85.0),
        *make_relay("fan", "half", "c"),
        *(make_resistor(out, GROUND, 10.0, name=f"load-{out}") for out in "abc"),
    ]
    one = CarModel(make_car(parts), Sample(n_draws=2)).network(KEY_ON)
    curves = one.curves.copy()
    curves[1, one.has_gate, ON_VOLTS] = 8.0
    curves[1, one.has_gate, OFF_VOLTS] = 3.0
    return replace(one, curves=curves)


def solved_points(network: Network, slots: Slots) -> StatePoints:
    draw = np.array([0, 1])
    solution = OperatingPointSolver(network).solve(draw, slots)
    return StatePoints(
        draw, slots, np.full(2, -1), solution.volts, np.ones(2, dtype=np.bool_)
    )


def changed(network: Network, name: str, place: int, value: float) -> Slots:
    """Return one branch changed in one place of its curve, in both cars."""
    branch = np.full((2, 1), network.branch_indices()[name])
    curves = network.curves[np.arange(2)[:, None], branch].copy()
    curves[..., place] = value
    return Slots(branch=branch, curves=curves)


def nothing_changed(network: Network) -> Slots:
    width = network.curves.shape[2]
    return Slots(branch=np.full((2, 0), -1), curves=np.zeros((2, 0, width)))


def test_contacts_of_one_coil_follow_its_first(network: Network) -> None:
    gates = Gates(network)

    names = [network.branches[branch] for branch in gates.branches]
    assert names == ["pump.a", "pump.b", "fan.c"]
    assert gates.leader.tolist() == [0, 0, 2]
    whole = gates.whole(np.array([[True, False, True]]))
    assert [network.branches[b] for b in whole[0].nonzero()[0]] == ["pump.a", "fan.c"]


def test_coils_at_another_pull_in_do_not_lead_each_other(network: Network) -> None:
    curves = network.curves.copy()
    curves[1, network.branch_indices()["pump.b"], ON_VOLTS] = 8.5

    assert Gates(replace(network, curves=curves)).leader.tolist() == [0, 1, 2]


def test_gates_have_their_pull_in_volts_or_not(network: Network) -> None:
    gates, both = Gates(network), np.arange(2)
    points = solved_points(network, nothing_changed(network))

    is_free, is_on = gates.by_volts(points, both)
    assert is_free.all()
    assert is_on.tolist() == [[True, True, False]] * 2
    # 12 V and 6 V over 7 V in the first car, over 8 V in the second
    ratio = gates.pull_in_ratio(points, both)
    expected = [[12 / 7, 12 / 7, 6 / 7], [12 / 8, 12 / 8, 6 / 8]]
    np.testing.assert_allclose(ratio, expected, rtol=1e-4)


def test_a_gate_that_pulls_in_sooner_is_asked_by_its_own_volts(
    network: Network,
) -> None:
    gates, both = Gates(network), np.arange(2)
    points = solved_points(network, changed(network, "fan.c", ON_VOLTS, 4.0))

    is_free, is_on = gates.by_volts(points, both)
    assert is_free.all()
    assert is_on.all()
    ratio = gates.pull_in_ratio(points, both)
    np.testing.assert_allclose(ratio[:, 2], [1.5, 1.5], rtol=1e-4)


@pytest.mark.parametrize("forced", [-1.0, 1.0])
def test_a_contact_that_is_stuck_leaves_the_state_as_its_leader_does(
    forced: float, network: Network
) -> None:
    gates, both = Gates(network), np.arange(2)
    points = solved_points(network, changed(network, "pump.b", FORCED, forced))

    is_free, is_on = gates.by_volts(points, both)
    assert is_free.tolist() == [[True, False, True]] * 2
    assert is_on.tolist() == [[True, False, False]] * 2
    carried = gates.carried_over(np.ones((2, 3), dtype=np.bool_), is_free)
    assert carried.all()
    left = gates.carried_over(np.array([[False, True, True]]), is_free[:1])
    assert left.tolist() == [[False, False, True]]


def test_a_leader_that_is_stuck_leaves_those_it_leads_as_they_are(
    network: Network,
) -> None:
    is_free = np.array([[False, True, True]])

    carried = Gates(network).carried_over(np.array([[True, True, False]]), is_free)

    # a gate that is held is on for nobody
    assert carried.tolist() == [[False, True, False]]


# By hand: pull-in up to that of the car that takes most, 8 V, and a fifth more, 9.6 V;
# release down to 2 V over 1.2. A little: a twentieth of each car's own.
@pytest.mark.parametrize(
    ("is_for_all", "on_volts", "off_volts"),
    [
        (True, (9.6, 9.6), (2 / 1.2, 2 / 1.2)),
        (False, (7.35, 8.4), (2 / 1.05, 3 / 1.05)),
    ],
)
def test_a_wider_hysteresis_holds_for_all_cars_or_for_those_nearby(
    is_for_all: bool,
    on_volts: tuple[float, float],
    off_volts: tuple[float, float],
    network: Network,
) -> None:
    wider = WiderHysteresis(Gates(network), 2)
    slots = changed(network, "pump.b", FORCED, 1.0)

    found = wider.slots(np.arange(2), slots, is_for_all=is_for_all)

    # the changed contact, then all three with the wider volts, that one as changed
    index = network.branch_indices()
    named = [index[name] for name in ("pump.a", "pump.b", "fan.c")]
    for row in range(2):
        places = {int(b): k for k, b in enumerate(found.branch[row])}
        curves = [found.curves[row, places[b]] for b in named]
        assert [one[ON_VOLTS] for one in curves] == pytest.approx([on_volts[row]] * 3)
        assert [one[OFF_VOLTS] for one in curves] == pytest.approx([off_volts[row]] * 3)
        assert [one[FORCED] for one in curves] == [0.0, 1.0, 0.0]


def test_cars_of_another_block_do_not_widen_a_hysteresis(network: Network) -> None:
    wider = WiderHysteresis(Gates(network), 1)

    found = wider.slots(np.arange(2), nothing_changed(network), is_for_all=True)

    assert found.branch.shape == (2, 3)
    assert found.curves[0, :, ON_VOLTS].tolist() == pytest.approx([8.4] * 3)
    assert found.curves[1, :, ON_VOLTS].tolist() == pytest.approx([9.6] * 3)
    assert found.curves[1, :, OFF_VOLTS].tolist() == pytest.approx([2.5] * 3)
