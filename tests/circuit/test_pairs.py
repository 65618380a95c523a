"""Pairs held by what each change shows alone, against each pair settled from rest."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.compensation import Compensated
from diagnose.circuit.model import CarModel
from diagnose.circuit.nodal import TRIP_AMPS, BoolArray, IntArray, Slots, stacked
from diagnose.circuit.operating_point import OperatingPoint, OperatingPointSolver
from diagnose.circuit.pairs import Pairs
from diagnose.circuit.sample import Sample
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car_file import load_car
from tests.circuit.test_solver_properties import changed_curve

CAR = Path(__file__).resolve().parents[1] / "cars" / "tourer.yaml"
N_DRAWS = 8
N_CHANGES = 70
TOLERANCE_VOLTS = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Random changes of one car; `slots` has them by state, change and draw.

    `is_near` says which are small changes in every draw, shape (n_states, N_CHANGES).
    """

    solver: Compensated
    pairs: Pairs
    slots: Slots
    is_near: BoolArray

    def points(self, state: int, change: int) -> IntArray:
        """Return the points of one change in a state."""
        first = (state * N_CHANGES + change) * N_DRAWS
        return np.arange(first, first + N_DRAWS)

    def settled(self, state: int, first: int, second: int) -> OperatingPoint:
        """Return all draws of a pair from rest, every segment and gate looked for."""
        both = self.slots.take(self.points(state, first)).beside(
            self.slots.take(self.points(state, second))
        )
        draw = np.arange(state * N_DRAWS, (state + 1) * N_DRAWS)
        return OperatingPointSolver(self.solver.network).solve(draw, both)


@pytest.fixture(scope="module")
def case(knowledge: Knowledge) -> Case:
    model = CarModel(load_car(CAR, knowledge), Sample(n_draws=N_DRAWS))
    plugged = [state for state in model.car.states if not state.is_unplugged]
    network = stacked([model.network(state) for state in plugged])
    solver = Compensated(network, n_alike=N_DRAWS)
    generator = np.random.default_rng(11)
    chosen = generator.integers(len(network.branches), size=N_CHANGES)
    # the last of them changes nothing
    branch = np.where(np.arange(N_CHANGES) < N_CHANGES - 1, chosen, -1)
    branch[1] = branch[0]
    # and some change a second branch
    second = np.full(N_CHANGES, -1)
    second[2:N_CHANGES:5] = generator.permutation(len(network.branches))[
        : len(second[2:N_CHANGES:5])
    ]
    second[second == branch] = -1
    second[branch < 0] = -1
    blocks = np.arange(network.n_draws).reshape(-1, 1, N_DRAWS)
    draw = np.tile(blocks, (1, N_CHANGES, 1)).ravel()
    both = np.stack([branch, second], axis=1)
    branches = np.tile(both.repeat(N_DRAWS, axis=0), (len(plugged), 1))
    curves = np.array(
        [
            [
                changed_curve(
                    network.curves[row, b], np.random.default_rng((13, b + 1))
                )
                for b in pair
            ]
            for row, pair in zip(draw, branches, strict=True)
        ]
    )
    slots = Slots(branch=branches, curves=curves)
    pairs = Pairs(solver, N_CHANGES, N_DRAWS)
    solved = solver.solve(draw, slots, n_together=N_DRAWS)
    is_near = np.ones(len(draw), dtype=np.bool_)
    is_near[solved.fresh[0]] = False
    pairs.add(np.arange(N_CHANGES), draw, slots, is_near=is_near)
    pairs.check()
    near = np.asarray(is_near.reshape(-1, N_CHANGES, N_DRAWS).all(axis=2))
    return Case(solver=solver, pairs=pairs, slots=slots, is_near=near)


def held(
    case: Case, n_wanted: int, is_asked: BoolArray | None = None
) -> list[tuple[int, int, int]]:
    """Return some of the held pairs of two changes that change something."""
    is_held = case.pairs.is_held[:, :-1, :-1]
    found = np.argwhere(np.triu(is_held if is_asked is None else is_held & is_asked))
    chosen = np.linspace(0, len(found) - 1, n_wanted).astype(int)
    return [(int(s), int(a), int(b)) for s, a, b in found[chosen]]


def test_many_pairs_are_held_and_many_are_not(case: Case) -> None:
    # else the tests below would show nothing
    share = case.pairs.is_held.mean()

    assert 0.2 < share < 0.9


def moves_more(case: Case) -> BoolArray:
    """Return which changes move a gate or a segment, or change two branches.

    Shape (n_states, n_changes - 1).
    """
    solver, slots = case.solver, case.slots
    draw = np.tile(
        np.arange(solver.network.n_draws).reshape(-1, 1, N_DRAWS), (1, N_CHANGES, 1)
    ).ravel()
    point = OperatingPointSolver(solver.network).solve(draw, slots)
    base = solver.base
    moved = point.is_on != base.is_on[draw]
    moved |= point.segment != base.segment[draw]
    moves = moved.any(axis=1) | (slots.branch[:, 1] >= 0)
    return np.asarray(moves.reshape(-1, N_CHANGES, N_DRAWS).any(axis=2)[:, :-1])


@pytest.mark.parametrize("one_moves_more", [False, True])
def test_held_pairs_have_the_volts_of_each_settled_alone(
    case: Case, *, one_moves_more: bool
) -> None:
    more = moves_more(case)
    is_asked = (more[:, :, None] | more[:, None, :]) == one_moves_more
    n_compared = 0
    for state, first, second in held(case, 120, is_asked):
        volts = case.pairs.volts(state, first, second)
        if volts is None:
            continue
        settled = case.settled(state, first, second)
        n_compared += 1

        assert settled.is_settled.all()
        assert np.abs(volts - settled.volts).max() < TOLERANCE_VOLTS
    assert n_compared > 60


def test_held_pairs_open_no_fuse(case: Case) -> None:
    network = case.solver.network
    for state, first, second in held(case, 40):
        draw = state * N_DRAWS + np.arange(N_DRAWS)
        amps = case.settled(state, first, second).branch_amps(network)
        limit = network.curves[draw, :, TRIP_AMPS].copy()
        for change, column in np.ndindex(2, 2):
            points = case.points(state, (first, second)[change])
            own = case.slots.branch[points[0], column]
            if own >= 0:
                limit[:, own] = case.slots.curves[points, column, TRIP_AMPS]

        assert (np.abs(amps) <= limit).all()


def test_a_change_of_nothing_is_held_beside_every_small_change(case: Case) -> None:
    nothing = case.pairs.is_held[:, -1]

    assert (nothing[:, :-1] == case.is_near[:, :-1]).all()
    assert not nothing[:, -1].any()
    assert (case.pairs.is_held == case.pairs.is_held.swapaxes(1, 2)).all()


def test_what_was_solved_from_the_start_is_in_no_held_pair(case: Case) -> None:
    again = Pairs(case.solver, N_CHANGES, N_DRAWS)
    n_draws = case.solver.network.n_draws
    blocks = np.arange(n_draws).reshape(-1, 1, N_DRAWS)
    draw = np.tile(blocks, (1, N_CHANGES, 1)).ravel()
    is_near = np.ones((n_draws // N_DRAWS, N_CHANGES, N_DRAWS), dtype=np.bool_)
    first, second = held(case, 1)[0][1:]
    is_near[:, first, -1] = False
    again.add(np.arange(N_CHANGES), draw, case.slots, is_near=is_near.ravel())
    again.check()

    assert not again.is_held[:, first].any()
    assert again.is_held[:, second].any()


def test_changes_of_one_branch_are_never_held_together(case: Case) -> None:
    branch = case.slots.branch[: N_CHANGES * N_DRAWS : N_DRAWS, 0]
    same = branch[:-1, None] == branch[:-1]
    second = case.slots.branch[: N_CHANGES * N_DRAWS : N_DRAWS, 1][:-1]
    same |= (second[:, None] == branch[:-1]) | (branch[:-1, None] == second)

    assert same.sum() > len(same)
    assert not case.pairs.is_held[:, :-1, :-1][:, same].any()
