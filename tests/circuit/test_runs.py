"""Points that differ in nothing but the draw, solved side by side.

A whole car under random faults, every one of them in all states and draws: solved in
runs it must show what each point shows by itself, from the start and by the full
matrix.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit import compensation
from diagnose.circuit.compensation import Compensated, Solved
from diagnose.circuit.model import CarModel
from diagnose.circuit.nodal import IntArray, Network, Slots, stacked
from diagnose.circuit.operating_point import OperatingPoint, OperatingPointSolver
from diagnose.circuit.runs import Runs, in_blocks
from diagnose.circuit.sample import Sample
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car_file import load_car
from tests.circuit.dense import dense_volts
from tests.circuit.test_solver_properties import changed_curve

CAR = Path(__file__).resolve().parents[1] / "cars" / "tourer.yaml"
N_DRAWS = 8
N_SETS = 280
TOLERANCE_VOLTS = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Random faults of one car, in runs and each point from the start."""

    network: Network
    draw: IntArray
    slots: Slots
    solver: Compensated
    solved: Solved
    fresh: OperatingPoint


def random_slots(
    network: Network, draw: IntArray, generator: np.random.Generator
) -> Slots:
    """Return one to three changed branches for each run, the same way in each draw."""
    branches, curves = [], []
    for run in draw.reshape(-1, N_DRAWS):
        chosen = generator.choice(len(network.branches), 3, replace=False)
        seed = int(generator.integers(2**31))
        rows = [
            [changed_curve(network.curves[number, b], np.random.default_rng((seed, b)))]
            for number in run
            for b in chosen
        ]
        chosen[int(generator.integers(1, 4)) :] = -1
        branches.append(np.tile(chosen, (N_DRAWS, 1)))
        curves.append(np.array(rows).reshape(N_DRAWS, 3, -1))
    return Slots(branch=np.concatenate(branches), curves=np.concatenate(curves))


@pytest.fixture(scope="module")
def case(knowledge: Knowledge) -> Case:
    model = CarModel(load_car(CAR, knowledge), Sample(n_draws=N_DRAWS))
    # unplugged, wires float: a full matrix has no digits left for what is forced there
    plugged = [state for state in model.car.states if not state.is_unplugged]
    network = stacked([model.network(state) for state in plugged])
    draw = np.tile(np.arange(network.n_draws), N_SETS)
    slots = random_slots(network, draw, np.random.default_rng(3))
    solver = Compensated(network, n_alike=N_DRAWS)
    return Case(
        network=network,
        draw=draw,
        slots=slots,
        solver=solver,
        solved=solver.solve(draw, slots, n_together=N_DRAWS),
        fresh=OperatingPointSolver(network).solve(draw, slots),
    )


def test_runs_of_every_kind_are_among_the_cases(case: Case) -> None:
    # else the tests below would show nothing
    base = case.solver.base
    moves = (case.fresh.is_on != base.is_on[case.draw]).any(axis=1)
    moves |= (case.fresh.segment != base.segment[case.draw]).any(axis=1)
    is_fresh = np.zeros(len(case.draw), dtype=np.bool_)
    is_fresh[case.solved.fresh[0]] = True

    # enough that one of a run is solved from the start before the others
    assert is_fresh.sum() > compensation.FEW_POINTS
    assert (moves & ~is_fresh).mean() > 0.1
    assert (~moves & ~is_fresh).mean() > 0.3
    assert (~case.fresh.is_settled).any()


def test_runs_give_the_volts_of_the_full_matrix(case: Case) -> None:
    rests = case.fresh.is_settled
    some = np.flatnonzero(rests)[::23]
    expected = dense_volts(
        case.network, case.fresh.siemens[some], case.fresh.amps[some]
    )

    assert (case.solved.is_settled == rests).all()
    assert np.abs(case.solved.volts[some] - expected).max() < TOLERANCE_VOLTS
    apart = np.abs(case.solved.volts - case.fresh.volts)[rests]
    assert apart.max() < TOLERANCE_VOLTS


def test_runs_show_the_currents_of_each_point_alone(case: Case) -> None:
    every = np.arange(len(case.network.branches))
    rests = case.fresh.is_settled
    found = case.solver.branch_amps(case.solved, every)[rests]
    expected = case.fresh.branch_amps(case.network)[rests]

    # a kilosiemens turns the last digits of 12 V into some 1e-8 A
    assert (np.abs(found - expected) <= 1e-6 + 1e-6 * np.abs(expected)).all()


def test_points_of_a_run_may_be_some_of_the_draws(case: Case) -> None:
    some = np.flatnonzero(case.draw % N_DRAWS % 2 == 1)
    found = case.solver.solve(
        case.draw[some], case.slots.take(some), n_together=N_DRAWS // 2
    )

    rests = case.fresh.is_settled[some]
    assert (found.is_settled == rests).all()
    apart = np.abs(found.volts - case.fresh.volts[some])[rests]
    assert apart.max() < TOLERANCE_VOLTS


def test_points_one_by_one_are_what_they_are_in_runs(case: Case) -> None:
    some = np.arange(0, len(case.draw), 29)
    found = case.solver.solve(case.draw[some], case.slots.take(some))

    rests = case.fresh.is_settled[some]
    assert (found.is_settled == rests).all()
    apart = np.abs(found.volts - case.fresh.volts[some])[rests]
    assert apart.max() < TOLERANCE_VOLTS


def test_points_do_not_depend_on_what_is_solved_beside_them(case: Case) -> None:
    # to the last digit: the same seeds give the same games, whoever plays beside them
    some = np.arange(len(case.draw)).reshape(-1, N_DRAWS)[::17].ravel()
    found = case.solver.solve(
        case.draw[some], case.slots.take(some), n_together=N_DRAWS
    )

    rests = case.fresh.is_settled[some]
    assert (found.volts[rests] == case.solved.volts[some][rests]).all()


def test_points_of_two_blocks_are_no_run() -> None:
    with pytest.raises(ValueError, match="one block"):
        Runs.of_points(np.array([2, 3, 4, 5]), 4, 4)


def test_rows_of_a_table_are_found_for_runs_and_for_points() -> None:
    table = in_blocks(np.arange(24).reshape(3, 8), 4).reshape(-1, 4)  # row, draw
    draw = np.array([4, 6, 0, 2])

    in_runs = Runs.of_points(draw, 4, 2)
    one_by_one = Runs.of_points(draw, 4, 1)
    # number 1 of three rows: 8 to 15 in the draws 0 to 7
    assert in_runs.of(table, in_runs.block * 3 + 1).tolist() == [[12, 14], [8, 10]]
    found = one_by_one.of(table, one_by_one.block * 3 + 1)
    assert found.tolist() == [[12], [14], [8], [10]]
