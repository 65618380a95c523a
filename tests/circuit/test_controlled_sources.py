"""Sources that volts elsewhere control, as in a boat: two alternators, two sense wires.

A regulator that senses at the battery makes its source no resistor, and the car's
responses are no longer the same both ways. With two of them each moves the other. Under
random faults all must be as the full matrix has it, by Gauss and Jordan.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.changes.base_case import BaseCase
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.changes.solved_points import SolvedPoints
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.solver.factored import NodalPlan
from diagnose.circuit.solver.network import SIEMENS, Network
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import OperatingPointSolver
from diagnose.circuit.tolerance_draws import Sample
from tests.circuit.dense import dense_volts
from tests.circuit.nodal import transfer_ohms
from tests.circuit.small_circuits import GROUND, make_car, make_part, make_resistor
from tests.circuit.test_parts_by_hand import make_alternator
from tests.circuit.test_solver_properties import random_slots

N_DRAWS = 8
N_SETS = 60
# Of the resistances; wide, so that one regulator or the other, or both, regulate.
SPREAD = 0.3
# Nodes that nothing holds leave a double-precision matrix no digits.
HELD_OHMS = 1e4
IDLE = OperatingState(
    name="idle", label="idling", switch_positions={"key": "run"}, engine_rpm=800.0
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Random faults, as small changes and from the start."""

    network: Network
    draw: IntArray
    base_case: BaseCase
    solved: SolvedPoints
    fresh: OperatingPoint

    def full_ohms(self) -> FloatArray:
        """Return volts of each node per amp into each, by the full matrix. [Ω]."""
        return transfer_ohms(self.network, self.fresh.siemens)


def two_alternators() -> Network:
    """Return a battery, its loads and two alternators that sense there, idling."""
    parts = [
        make_part(
            "battery",
            "battery",
            "battery.plus",
            GROUND,
            state_of_charge=1.0,
            empty_volts=11.8,
            full_volts=12.6,
            internal_ohms=0.009,
            acceptance_ohms=0.05,
            surface_volts=0.0,
            surface_ohms=0.1,
        ),
        make_resistor("battery.plus", "panel", 0.02, name="feed"),
        make_resistor("panel", GROUND, 0.7, name="loads"),
        make_resistor("panel", "lamp.a", 0.3, name="lamp-wire"),
        make_resistor("lamp.a", GROUND, 3.0, name="lamp"),
    ]
    for number, set_volts in enumerate((14.2, 14.15)):
        one = make_alternator("sense", set_volts=set_volts, droop_volts=0.6)
        name = f"alternator-{number}"
        nodes = {
            terminal: node.replace("alternator", name)
            for terminal, node in one.terminals.items()
        }
        parts += [
            replace(one, name=name, assembly=name, terminals=nodes),
            make_resistor(nodes["output"], "battery.plus", 0.02, name=f"{name}-charge"),
            make_resistor(
                nodes["sense"],
                ("battery.plus", "panel")[number],
                20.0,
                name=f"{name}-sense",
            ),
        ]
    network = CarModel(make_car(parts, IDLE), Sample(n_draws=N_DRAWS)).network(IDLE)
    curves = network.curves.copy()
    plain = ~network.is_active
    generator = np.random.default_rng(5)
    curves[:, plain, SIEMENS] *= generator.lognormal(
        0.0, SPREAD, (N_DRAWS, int(plain.sum()), 1)
    )
    return replace(network, curves=curves)


@pytest.fixture(scope="module")
def case() -> Case:
    network = two_alternators()
    draw = np.tile(np.arange(N_DRAWS), N_SETS)
    slots = random_slots(network, draw, np.random.default_rng(17))
    solver = CompensationSolver(network)
    return Case(
        network=network,
        draw=draw,
        base_case=solver.base_case,
        solved=solver.solve(draw, slots),
        fresh=OperatingPointSolver(network).solve(draw, slots),
    )


def test_both_regulate_in_some_points_and_one_alone_in_others(case: Case) -> None:
    # else the tests below would show nothing
    controlled = list(NodalPlan(case.network).controlled)
    regulates = (case.fresh.siemens[:, controlled] > 0.0)[case.fresh.is_settled]
    is_afresh = np.zeros(len(case.draw), dtype=np.bool_)
    is_afresh[case.solved.afresh.points] = True

    assert len(controlled) == 2
    assert regulates.all(axis=1).sum() > 50
    assert (regulates.sum(axis=1) == 1).sum() > 50
    assert is_afresh.sum() > 50
    assert (~is_afresh).sum() > 50


def test_volts_are_those_of_the_full_matrix(case: Case) -> None:
    expected = dense_volts(case.network, case.fresh.siemens, case.fresh.amps)

    rests = case.fresh.is_settled
    assert (case.solved.is_settled == rests).all()
    held = np.diagonal(case.full_ohms(), axis1=1, axis2=2) < HELD_OHMS
    for volts in (case.solved.volts, case.fresh.volts):
        apart = np.where(held, np.abs(volts - expected), 0.0)
        assert apart[rests].max() < 1e-8


def test_nodes_show_the_ohms_of_the_full_matrix(case: Case) -> None:
    expected = np.diagonal(case.full_ohms(), axis1=1, axis2=2)
    alone = NodalPlan(case.network).factored(case.fresh.siemens.T).self_ohms().T

    rests = case.fresh.is_settled
    held = (expected < HELD_OHMS) & rests[:, None]
    assert held.mean() > 0.7
    shown = np.full_like(expected, np.nan)
    for points, ohms in case.solved.source_ohms():
        shown[points] = ohms
    for found in (shown, alone):
        np.testing.assert_allclose(found[held], expected[held], rtol=1e-5, atol=1e-8)


@pytest.mark.parametrize(
    ("red", "black"),
    [("panel", "alternator-0.output"), ("lamp.a", "alternator-1.sense")],
)
def test_pairs_of_nodes_show_the_ohms_of_the_full_matrix(
    red: str, black: str, case: Case
) -> None:
    ohms, index = case.full_ohms(), case.network.node_indices()
    a, b = index[red], index[black]
    # an ampere into one and out of the other: the volts between them
    expected = ohms[:, a, a] - ohms[:, a, b] - ohms[:, b, a] + ohms[:, b, b]
    # a source that pushes against the meter shows it nothing
    expected = np.maximum(expected, 0.0)

    found = case.solved.between_ohms(a, b)
    held = (ohms[:, [a, b], [a, b]] < HELD_OHMS).all(axis=1) & case.fresh.is_settled
    assert held.mean() > 0.5
    np.testing.assert_allclose(found[held], expected[held], rtol=1e-5, atol=1e-8)


def test_responses_and_readings_are_the_rows_and_columns_of_the_inverse(
    case: Case,
) -> None:
    base, network = case.base_case, case.network
    ohms = transfer_ohms(network, base.base.siemens)
    (a, b), (c, d) = network.output.T, network.control.T
    response = (ohms[:, :, a] - ohms[:, :, b]).transpose(2, 0, 1)
    reading = (ohms[:, c] - ohms[:, d]).transpose(1, 0, 2)

    held = np.diagonal(ohms, axis1=1, axis2=2) < HELD_OHMS
    every = np.arange(len(network.branches))[:, None], np.arange(network.n_draws)
    found = base.responses.volts(*every)
    np.testing.assert_allclose(found[:, held], response[:, held], atol=1e-8)
    read = base.responses.readings(*every, found)
    np.testing.assert_allclose(read[:, held], reading[:, held], atol=1e-8)
    # the other way round they differ, for the sources are controlled
    assert np.abs(response - reading)[:, held].max() > 1e-3


def test_currents_are_those_of_each_branch_on_its_line(case: Case) -> None:
    every = np.arange(len(case.network.branches))
    rests = case.fresh.is_settled

    found = case.solved.branch_amps(every)[rests]
    expected = case.fresh.branch_amps(case.network)[rests]
    assert (np.abs(found - expected) <= 1e-6 + 1e-6 * np.abs(expected)).all()
    # a branch on a line without slope or current says nothing by being on or off
    base = case.base_case.base
    counts = ((base.siemens != 0.0) | (base.amps != 0.0))[case.draw]
    counts |= (case.fresh.siemens != 0.0) | (case.fresh.amps != 0.0)
    differs = case.solved.branch_conducts(every) != case.fresh.is_conducting
    assert counts[rests].mean() > 0.5
    assert not (differs & counts)[rests].any()
