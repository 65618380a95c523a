"""Operating states in their order: the fast path against one state after the other.

Random cars with relays that may feed themselves or each other, under random faults that
last through all states. The slow way solves each state from where the one before left
every relay; the fast one finds most points near the sound car. Both must end alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from diagnose.arrays import BoolArray, IntArray
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.changes.solved_points import SolvedPoints
from diagnose.circuit.model import CarModel
from diagnose.circuit.solver.network import (
    FORCED,
    OFF_VOLTS,
    ON_VOLTS,
    SIEMENS,
    Network,
    Slots,
    stacked,
)
from diagnose.circuit.solver.operating_point import OperatingPoint, Start
from diagnose.circuit.solver.point_solver import OperatingPointSolver
from diagnose.circuit.tolerance_draws import Sample
from tests.circuit.random_cars import entangled_parts
from tests.circuit.small_circuits import (
    CRANKING,
    GROUND,
    KEY_OFF,
    KEY_ON,
    make_car,
    make_resistor,
)
from tests.circuit.test_solver_properties import changed_curve

STATES = (
    KEY_ON,
    replace(CRANKING, after="key-on"),
    replace(KEY_ON, name="key-back-on", after="cranking"),
    replace(KEY_OFF, after="key-back-on"),
)
"""Each comes after the one before it here."""
N_CARS = 16
N_SETS = 25
N_DRAWS = 6
SPREAD = 0.06
# Of the resistances and of what relays pull in and let go at; that of usual relays.
TOLERANCE_VOLTS = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One random car under random faults, by the fast path and state by state."""

    network: Network
    draw: IntArray
    solved: SolvedPoints
    slow: OperatingPoint
    from_rest: OperatingPoint

    @property
    def is_near(self) -> BoolArray:
        result = np.ones(len(self.draw), dtype=np.bool_)
        result[self.solved.afresh.points] = False
        return result


def spread_network(generator: np.random.Generator) -> Network:
    """Return a random car in all states, each with the same draws.

    Dirt holds every place: one that picoamperes decide on has no answer.
    """
    parts = entangled_parts(generator)
    places = sorted({node for part in parts for node in part.terminals.values()})
    parts += [
        make_resistor(place, GROUND, 1e8, name=f"dirt-{place}")
        for place in places
        if place != GROUND
    ]
    car = make_car(parts, *STATES, body="body.metal")
    model = CarModel(car, Sample(n_draws=N_DRAWS))
    network = stacked([model.network(state) for state in STATES])
    factor = generator.lognormal(0.0, SPREAD, (N_DRAWS, len(network.branches), 1))
    factor = np.tile(factor, (len(STATES), 1, 1))
    curves = network.curves.copy()
    plain = ~network.is_active
    curves[:, plain, SIEMENS] *= factor[:, plain]
    curves[:, network.has_gate, ON_VOLTS] *= factor[:, network.has_gate, 0]
    curves[:, network.has_gate, OFF_VOLTS] *= factor[:, network.has_gate, 0]
    return replace(network, curves=curves)


def lasting_faults(
    network: Network, generator: np.random.Generator
) -> tuple[IntArray, Slots]:
    """Return one to three branches changed alike in all states, for many faults."""
    each = np.arange(N_DRAWS)
    wiring = [
        number
        for number, name in enumerate(network.branches)
        if not name.startswith("dirt-")
    ]
    faults = [
        (
            generator.choice(wiring, 3, replace=False),
            int(generator.integers(1, 4)),
            int(generator.integers(2**31)),
        )
        for _ in range(N_SETS)
    ]
    draws, branches, curves = [], [], []
    for state in range(len(STATES)):
        for branch, n_changed, seed in faults:
            draws.append(state * N_DRAWS + each)
            branches.append(np.tile(branch, (N_DRAWS, 1)))
            branches[-1][:, n_changed:] = -1
            curves.append(
                [
                    [
                        changed_curve(
                            network.curves[draw, b],
                            np.random.default_rng((seed, int(b))),
                        )
                        for b in branch
                    ]
                    for draw in draws[-1]
                ]
            )
    slots = Slots(branch=np.concatenate(branches), curves=np.concatenate(curves))
    return np.concatenate(draws), slots


def solved_in_order(
    solver: OperatingPointSolver, network: Network, draw: IntArray, slots: Slots
) -> OperatingPoint:
    """Solve each state from where the one before it left every gate."""
    forced = network.forced[draw]
    points, columns = np.nonzero(slots.branch >= 0)
    forced[points, slots.branch[points, columns]] = slots.curves[
        points, columns, FORCED
    ]
    size = len(draw) // len(STATES)
    result = OperatingPoint.empty(len(draw), network)
    start = None
    for state in range(len(STATES)):
        here = np.arange(state * size, (state + 1) * size)
        found = solver.solve(draw[here], slots.take(here), start=start)
        result.put(here, found)
        start = Start(found.segment, found.is_on & (forced[here] == 0.0))
    return result


def make_case(seed: int) -> Case:
    generator = np.random.default_rng(seed)
    network = spread_network(generator)
    draw, slots = lasting_faults(network, generator)
    size = len(draw) // len(STATES)

    def before(n_points: int) -> IntArray:
        rows = np.arange(len(STATES) * n_points) - n_points
        return np.where(rows < 0, -1, rows)

    solver = OperatingPointSolver(network)
    fast = CompensationSolver(network, before(N_DRAWS), block_length=N_DRAWS)
    return Case(
        network=network,
        draw=draw,
        solved=fast.solve(draw, slots, before(size), n_together=N_DRAWS),
        slow=solved_in_order(solver, network, draw, slots),
        from_rest=solver.solve(draw, slots),
    )


@pytest.fixture(scope="module")
def cases() -> tuple[Case, ...]:
    return tuple(make_case(seed) for seed in range(N_CARS))


def test_points_whose_way_decides_are_among_the_cases(cases: tuple[Case, ...]) -> None:
    # else the tests below would show nothing
    held = [case.slow.is_conducting != case.from_rest.is_conducting for case in cases]
    n_held = sum(int(differs.any(axis=1).sum()) for differs in held)

    assert n_held > 500
    assert sum(int(case.is_near.sum()) for case in cases) > 3000


def test_fast_path_ends_where_state_after_state_does(cases: tuple[Case, ...]) -> None:
    for case in cases:
        apart = np.abs(case.solved.volts - case.slow.volts).max(axis=1)
        assert apart[case.slow.is_settled].max() < TOLERANCE_VOLTS


def test_no_point_is_solved_from_the_start_twice(cases: tuple[Case, ...]) -> None:
    for case in cases:
        points = case.solved.afresh.points
        assert len(np.unique(points)) == len(points)


def test_fast_path_chatters_where_state_after_state_does(
    cases: tuple[Case, ...],
) -> None:
    n_chattering = 0
    for case in cases:
        assert (case.solved.is_settled == case.slow.is_settled).all()
        n_chattering += int((~case.slow.is_settled).sum())
    assert n_chattering > 30
