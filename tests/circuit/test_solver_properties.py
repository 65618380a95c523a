"""What must hold of every solved circuit, tried on random ones with random faults.

Each draw of a `Case` is an operating state of one random car; each of its points is
that car with up to three branches changed at random. The fast path solves them as small
changes, `OperatingPointSolver` from the start, and `dense_volts` by the full matrix.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.changes.solved_points import SolvedPoints
from diagnose.circuit.solver.factored import NodalPlan
from diagnose.circuit.solver.moving_points import MAX_FLIPS
from diagnose.circuit.solver.network import (
    AMPS,
    EDGES,
    FORCED,
    INVERTED,
    OFF_VOLTS,
    ON_VOLTS,
    SIEMENS,
    Network,
    Slots,
    stacked,
)
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import OperatingPointSolver
from tests.circuit.dense import dense_volts
from tests.circuit.random_cars import STATES, random_model
from tests.circuit.small_circuits import (
    GROUND,
    make_resistor,
    make_source,
    solve_circuit,
)

N_CARS = 16
N_SETS = 20
TOLERANCE_VOLTS = 1e-9
LAST_DIGITS_AMPS = 1e-15
# Derived: the lines of diodes and loads cross their axis at a few amperes, whose last
# digit is that. It counts where both ends hang on insulation: 20 nV across 20 Mohm.


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One random car under random faults, by the fast path and from the start."""

    network: Network
    draw: IntArray
    curves: FloatArray
    solved: SolvedPoints
    fresh: OperatingPoint

    @property
    def settled(self) -> BoolArray:
        return self.fresh.is_settled


def changed_curve(curve: FloatArray, generator: np.random.Generator) -> FloatArray:
    """Return what a branch does under a random fault."""
    changed = curve.copy()
    match generator.integers(4):
        case 0:
            changed[FORCED] = -1.0
        case 1:
            changed[FORCED] = 1.0
        case 2:
            factor = 10.0 ** generator.uniform(-6.0, 2.0)
            changed[SIEMENS] *= factor
            changed[AMPS] *= factor
        case _:
            factor = generator.uniform(0.5, 2.0)
            changed[EDGES] *= factor
            changed[AMPS] *= factor
            changed[ON_VOLTS] *= factor
            changed[OFF_VOLTS] *= factor
    return changed


def random_slots(
    network: Network, draw: IntArray, generator: np.random.Generator
) -> Slots:
    """Return one to three changed branches for each point."""
    n_branches = len(network.branches)
    branch = np.array(
        [generator.choice(n_branches, 3, replace=False) for _ in range(len(draw))]
    )
    curves = np.array(
        [
            [changed_curve(network.curves[number, b], generator) for b in row]
            for number, row in zip(draw, branch, strict=True)
        ]
    )
    n_changed = generator.integers(1, 4, len(draw))
    branch[np.arange(3) >= n_changed[:, None]] = -1
    return Slots(branch=branch, curves=curves)


def make_case(seed: int) -> Case:
    model = random_model(seed, is_faulty=bool(seed % 2), has_buzzer=seed % 3 == 0)
    network = stacked([model.network(state) for state in STATES])
    draw = np.tile(np.arange(network.n_draws), N_SETS)
    slots = random_slots(network, draw, np.random.default_rng(1000 + seed))
    curves = network.curves[draw]
    points, columns = np.nonzero(slots.branch >= 0)
    curves[points, slots.branch[points, columns]] = slots.curves[points, columns]
    return Case(
        network=network,
        draw=draw,
        curves=curves,
        solved=CompensationSolver(network).solve(draw, slots),
        fresh=OperatingPointSolver(network).solve(draw, slots),
    )


@pytest.fixture(scope="module")
def cases() -> tuple[Case, ...]:
    return tuple(make_case(seed) for seed in range(N_CARS))


def test_small_changes_and_events_are_among_the_cases(cases: tuple[Case, ...]) -> None:
    # else the tests below would show nothing
    n_points = sum(len(case.draw) for case in cases)
    n_fresh = sum(len(case.solved.afresh.points) for case in cases)
    n_events = sum(
        int((case.fresh.is_on != base_is_on(case)).any(axis=1).sum()) for case in cases
    )

    assert n_fresh < 0.5 * n_points
    assert n_events > 0.05 * n_points


def base_is_on(case: Case) -> BoolArray:
    return np.asarray(OperatingPointSolver(case.network).base.is_on[case.draw])


@pytest.mark.parametrize("seed", range(N_CARS))
def test_small_changes_give_the_volts_of_the_full_matrix(
    seed: int, cases: tuple[Case, ...]
) -> None:
    case = cases[seed]
    expected = dense_volts(case.network, case.fresh.siemens, case.fresh.amps)

    ohms = NodalPlan(case.network).factored(case.fresh.siemens.T).self_ohms().T
    allowed = np.maximum(TOLERANCE_VOLTS, LAST_DIGITS_AMPS * ohms)
    error_volts = np.abs(case.solved.volts - expected)[case.settled]
    assert (case.solved.is_settled == case.settled).all()
    assert (error_volts < allowed[case.settled]).all()


@pytest.mark.parametrize("seed", range(N_CARS))
def test_currents_at_every_node_sum_to_zero(seed: int, cases: tuple[Case, ...]) -> None:
    case = cases[seed]
    amps = case.fresh.branch_amps(case.network)

    total, size = np.zeros_like(case.fresh.volts), np.zeros_like(case.fresh.volts)
    for k, (a, b) in enumerate(case.network.output.tolist()):
        total[:, a] += amps[:, k]
        total[:, b] -= amps[:, k]
        size[:, [a, b]] += np.abs(amps[:, k, None])
    # the steepest branch, a kilosiemens, turns the last digit of 12 V into 2e-12 A
    assert (np.abs(total) <= 1e-10 + 1e-11 * size)[:, 1:].all()


@pytest.mark.parametrize("seed", range(N_CARS))
def test_what_sources_give_is_what_the_rest_takes(
    seed: int, cases: tuple[Case, ...]
) -> None:
    case = cases[seed]
    first, second = case.network.output.T
    across = case.fresh.volts[:, first] - case.fresh.volts[:, second]

    watts = across * case.fresh.branch_amps(case.network)
    # 12 V on a picosiemens at each of some thirty nodes take 5e-9 W
    assert np.abs(watts.sum(axis=1)) == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize("seed", range(N_CARS))
def test_settled_circuits_are_consistent(seed: int, cases: tuple[Case, ...]) -> None:
    case = cases[seed]
    rows = np.flatnonzero(case.settled)
    found, curves = case.fresh, case.curves[rows]
    each, every = np.arange(len(rows))[:, None], np.arange(len(case.network.branches))
    segment, is_on = found.segment[rows], found.is_on[rows]

    # a branch lies on the piece of its curve that its own volts select
    control = found.control_volts(case.network)[rows]
    low, high = curves[each, every, segment], curves[each, every, segment + 1]
    carries = found.is_conducting[rows]
    inside = (low - 1e-8 <= control) & (control <= high + 1e-8)
    assert (inside | ~carries).all()
    line = np.where(carries, curves[..., SIEMENS][each, every, segment], 0.0)
    assert (found.siemens[rows] == line).all()

    # a gate that is on has at least its release volts, one that is off less than its
    # pull-in volts
    first, second = case.network.watch.T
    watch = np.abs(found.volts[:, first] - found.volts[:, second])[rows]
    is_free = case.network.has_gate & (curves[..., FORCED] == 0.0)
    assert (watch >= curves[..., OFF_VOLTS] - 1e-8)[is_free & is_on].all()
    assert (watch < curves[..., ON_VOLTS] + 1e-8)[is_free & ~is_on].all()

    # and a branch carries as its gate says, unless it is held
    by_gate = is_on != (curves[..., INVERTED] > 0.0)
    expected = np.where(is_free, by_gate, curves[..., FORCED] > 0.0)
    is_live = case.network.is_active
    assert (carries == expected)[:, is_live].all()


def test_what_does_not_settle_says_which_gate_chatters(
    cases: tuple[Case, ...],
) -> None:
    flips = np.concatenate([case.fresh.flips.max(axis=1) for case in cases])
    settled = np.concatenate([case.settled for case in cases])

    assert 0.02 < (~settled).mean() < 0.2
    assert (flips[~settled] >= MAX_FLIPS).all()


@pytest.mark.parametrize("seed", range(N_CARS))
def test_volts_of_two_sources_add_up(seed: int, cases: tuple[Case, ...]) -> None:
    # the linear part: every branch held on its line, the sources split at random
    case = cases[seed]
    generator = np.random.default_rng(seed)
    factored = NodalPlan(case.network).factored(case.fresh.siemens.T)
    n_nodes, n_points = len(case.network.nodes), len(case.draw)
    first = generator.uniform(-10.0, 10.0, (n_nodes, 1, n_points))
    second = generator.uniform(-10.0, 10.0, (n_nodes, 1, n_points))

    every = range(n_nodes)
    apart = factored.volts(first.copy(), every) + factored.volts(second.copy(), every)
    together = factored.volts(first + second, every)
    size = np.abs(apart).max(axis=0)
    assert (np.abs(together - apart) <= 1e-12 * size).all()


@pytest.mark.parametrize("seed", range(N_CARS))
def test_a_reading_and_a_source_may_change_places(
    seed: int, cases: tuple[Case, ...]
) -> None:
    # reciprocity: the volts of one node per amp into another, and the other way round
    case = cases[seed]
    factored = NodalPlan(case.network).factored(case.fresh.siemens.T)
    nodes = np.arange(len(case.network.nodes))

    ohms = factored.response_volts(np.stack([nodes, np.zeros_like(nodes)], axis=1))
    assert not factored.has_controls
    assert ohms == pytest.approx(ohms.transpose(1, 0, 2), rel=1e-9)


# One source and resistors, one of them raised step by step (Rayleigh's monotonicity
# law, from memory). The current of a branch beside it may well rise.
@pytest.mark.parametrize("seed", range(6))
def test_more_resistance_raises_neither_its_own_current_nor_the_sources(
    seed: int,
) -> None:
    generator = np.random.default_rng(seed)
    nodes = ["a", "b", "c", "d", "e", "f", GROUND]
    links = list(pairwise(nodes))
    for _ in range(7):
        first, second = generator.choice(len(nodes), 2, replace=False).tolist()
        links.append((nodes[first], nodes[second]))
    ohms = 10.0 ** generator.uniform(-2.0, 3.0, len(links))
    raised = int(generator.integers(len(links)))
    own_amps, source_amps = [], []
    for _ in range(5):
        parts = [
            make_resistor(*ends, value, name=f"link-{number}")
            for number, (ends, value) in enumerate(zip(links, ohms, strict=True))
        ]
        solved = solve_circuit([make_source("a", 12.0, ohms=0.02), *parts])
        own_amps.append(abs(solved.branch_amps[f"link-{raised}"]))
        source_amps.append(-solved.branch_amps["source-a"])
        ohms[raised] *= 10.0

    # 1e-9: the last digits of an ampere that does not change
    assert np.diff(own_amps).max() <= 1e-9
    assert np.diff(source_amps).max() <= 1e-9
    assert source_amps[0] > 0.0
