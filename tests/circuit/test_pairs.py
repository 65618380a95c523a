"""All pairs of changes of a car, against each pair solved state after state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from diagnose.circuit.compensation import Compensated
from diagnose.circuit.model import CarModel
from diagnose.circuit.nodal import (
    FORCED,
    BoolArray,
    IntArray,
    Network,
    Slots,
    stacked,
)
from diagnose.circuit.operating_point import OperatingPoint
from diagnose.circuit.pairs import Pairs
from diagnose.circuit.sample import Sample
from diagnose.circuit.singles import Singles
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car_file import load_car
from tests.circuit.in_order import solved_in_order
from tests.circuit.test_following import N_DRAWS as N_RANDOM_DRAWS
from tests.circuit.test_following import N_SETS as N_RANDOM_CHANGES
from tests.circuit.test_following import lasting_faults, spread_network
from tests.circuit.test_solver_properties import changed_curve

CAR = Path(__file__).resolve().parents[1] / "cars" / "tourer.yaml"
N_DRAWS = 8
N_CHANGES = 70
N_RANDOM_CARS = 8
TOLERANCE_VOLTS = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Changes of one car, alone and in pairs.

    `slots` has them by state, change and draw; `came` is the state each state comes
    after, -1 for rest, and those are in order.
    """

    solver: Compensated
    pairs: Pairs
    slots: Slots
    came: Sequence[int]
    length: int

    @property
    def n_changes(self) -> int:
        return len(self.slots.branch) // (len(self.came) * self.length)

    def points(self, state: int, changes: IntArray) -> IntArray:
        """Return the points of some changes in a state, all draws of each in turn."""
        first = (state * self.n_changes + changes) * self.length
        return np.asarray((first[:, None] + np.arange(self.length)).ravel())

    def slow(self, first: IntArray, second: IntArray) -> list[OperatingPoint]:
        """Return pairs by state, each state solved from how the one before left it."""
        states = range(len(self.came))
        one, other = (
            np.concatenate([self.points(state, changes) for state in states])
            for changes in (first, second)
        )
        blocks = np.arange(self.solver.network.n_draws).reshape(-1, 1, self.length)
        draw = np.tile(blocks, (1, len(first), 1)).ravel()
        slots = self.slots.take(one).beside(self.slots.take(other))
        return solved_in_order(self.solver, self.came, draw, slots)


def make_case(network: Network, came: Sequence[int], slots: Slots, length: int) -> Case:
    """Return pairs of changes that are given by state, change and draw."""

    def before(n_points: int) -> IntArray:
        first = np.array(came)[:, None] * n_points
        return np.where(first >= 0, first + np.arange(n_points), -1).ravel()

    solver = Compensated(network, before(length), n_alike=length)
    n_changes = len(slots.branch) // (len(came) * length)
    blocks = np.arange(network.n_draws).reshape(len(came), 1, length)
    draw = np.tile(blocks, (1, n_changes, 1)).ravel()
    singles = Singles(solver, n_changes, length)
    came_points = before(n_changes * length)
    solved = solver.solve(draw, slots, came_points, n_together=length)
    singles.add(np.arange(n_changes), solved, slots, came_points)
    return Case(
        solver=solver, pairs=Pairs(singles), slots=slots, came=came, length=length
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """A whole car before anything is changed; `came` as in `Case`, `states` by name."""

    network: Network
    came: tuple[int, ...]
    states: tuple[str, ...]

    @property
    def draw(self) -> IntArray:
        """The draws of each state, shape (n_states, N_DRAWS)."""
        return np.arange(self.network.n_draws).reshape(-1, N_DRAWS)


@pytest.fixture(scope="module")
def plain(knowledge: Knowledge) -> Plain:
    model = CarModel(load_car(CAR, knowledge), Sample(n_draws=N_DRAWS))
    states = [state for state in model.car.states if not state.is_unplugged]
    names = tuple(state.name for state in states)
    return Plain(
        network=stacked([model.network(state) for state in states]),
        came=tuple(names.index(s.after) if s.after in names else -1 for s in states),
        states=names,
    )


@pytest.fixture(scope="module")
def tourer(plain: Plain) -> Case:
    """Return a whole car under random changes, the last of nothing."""
    network, n_states = plain.network, len(plain.states)
    generator = np.random.default_rng(11)
    n_branches = len(network.branches)
    branch = np.full((N_CHANGES, 2), -1)
    branch[:-1, 0] = generator.integers(n_branches, size=N_CHANGES - 1)
    branch[1, 0] = branch[0, 0]
    more = np.arange(2, N_CHANGES - 1, 5)
    branch[more, 1] = generator.permutation(n_branches)[: len(more)]
    branch[branch[:, 1] == branch[:, 0], 1] = -1
    every = np.tile(branch.repeat(N_DRAWS, axis=0), (n_states, 1))
    draw = np.tile(plain.draw[:, None], (1, N_CHANGES, 1)).ravel()
    curves = np.array(
        [
            [
                changed_curve(
                    network.curves[row, b], np.random.default_rng((13, b + 1))
                )
                for b in pair
            ]
            for row, pair in zip(draw, every, strict=True)
        ]
    )
    slots = Slots(branch=every, curves=curves)
    return make_case(network, plain.came, slots, N_DRAWS)


@pytest.fixture(scope="module")
def random_cars() -> tuple[Case, ...]:
    """Return cars with relays that may feed themselves or each other."""
    cases = []
    for seed in range(100, 100 + N_RANDOM_CARS):
        generator = np.random.default_rng(seed)
        network = spread_network(generator)
        _, slots = lasting_faults(network, generator)
        came = [-1, 0, 1, 2]
        cases.append(make_case(network, came, slots, N_RANDOM_DRAWS))
    return tuple(cases)


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Pairs of a case in one state, as they are answered and as they are.

    Parameters
    ----------
    is_held, is_settled : BoolArray
        Points that follow from what each change does alone, and those that were
        settled, shape (n_points,).
    apart_volts : NDArray
        How far the volts lie from those of the slow way, same shape.
    rests, rests_slowly : BoolArray
    """

    is_held: BoolArray
    is_settled: BoolArray
    apart_volts: np.ndarray
    rests: BoolArray
    rests_slowly: BoolArray


def compared(case: Case, first: IntArray, second: IntArray) -> Compared:
    """Compare those of some pairs that are answered with volts of their own."""
    parts = []
    slow, pairs = case.slow(first, second), case.pairs
    is_left = pairs.is_left
    for state, point in enumerate(slow):
        held = np.unpackbits(
            pairs.held[state, first, second], axis=1, bitorder="little"
        )[:, : case.length]
        for number, pair in enumerate(
            zip(first.tolist(), second.tolist(), strict=True)
        ):
            volts = None if is_left[state][pair] else pairs.volts(state, *pair)
            if volts is None:
                continue
            rows = np.arange(number * case.length, (number + 1) * case.length)
            is_held = held[number] > 0
            parts.append(
                (
                    is_held,
                    ~is_held,
                    np.abs(volts - point.volts[rows]).max(axis=1),
                    ~np.isnan(volts[:, 0]),
                    point.is_settled[rows],
                )
            )
    names = ("is_held", "is_settled", "apart_volts", "rests", "rests_slowly")
    arrays = (np.concatenate(part) for part in zip(*parts, strict=True))
    return Compared(**dict(zip(names, arrays, strict=True)))


@pytest.fixture(scope="module")
def of_tourer(tourer: Case) -> Compared:
    generator = np.random.default_rng(5)
    first, second = np.triu_indices(N_CHANGES, 1)
    some = generator.permutation(len(first))[:500]
    return compared(tourer, first[some], second[some])


@pytest.fixture(scope="module")
def of_random_cars(random_cars: tuple[Case, ...]) -> tuple[Compared, ...]:
    every = np.triu_indices(N_RANDOM_CHANGES, 1)
    return tuple(compared(case, *every) for case in random_cars)


def test_pairs_are_answered_in_every_way(
    of_tourer: Compared, of_random_cars: tuple[Compared, ...]
) -> None:
    # else the tests below would show nothing
    for found, n_least in ((of_tourer, 2000), (of_random_cars[0], 400)):
        assert (found.is_held & found.rests).sum() > n_least
        assert (found.is_settled & found.rests).sum() > n_least
    assert sum(int((~each.rests).sum()) for each in of_random_cars) > 10


def test_pairs_of_a_whole_car_are_as_solved_state_after_state(
    of_tourer: Compared,
) -> None:
    assert (of_tourer.rests == of_tourer.rests_slowly).all()
    assert of_tourer.apart_volts[of_tourer.rests].max() < TOLERANCE_VOLTS


def test_pairs_of_random_cars_are_as_solved_state_after_state(
    of_random_cars: tuple[Compared, ...],
) -> None:
    for found in of_random_cars:
        assert (found.rests == found.rests_slowly).all()
        assert found.apart_volts[found.rests].max() < TOLERANCE_VOLTS


def test_most_pairs_of_a_whole_car_need_no_settling(tourer: Case) -> None:
    assert tourer.pairs.is_held.mean() > 0.5


def test_a_pair_is_left_where_both_change_one_branch(tourer: Case) -> None:
    branch = tourer.slots.branch[: N_CHANGES * N_DRAWS : N_DRAWS]
    meets = (branch[:, None, :, None] == branch[None, :, None, :]) & (
        branch[:, None, :, None] >= 0
    )
    meets = meets.any(axis=(2, 3))

    assert meets.sum() > N_CHANGES
    np.fill_diagonal(meets, val=True)
    assert (tourer.pairs.is_left == meets).all()


def test_pairs_have_no_order(tourer: Case) -> None:
    pairs = tourer.pairs

    assert (pairs.held == pairs.held.swapaxes(1, 2)).all()
    for rests in pairs.rests.values():
        assert (rests.pair == rests.pair.T).all()
    volts, swapped = pairs.volts(3, 4, 9), pairs.volts(3, 9, 4)
    assert volts is not None
    assert swapped is not None
    assert np.array_equal(volts, swapped, equal_nan=True)


def test_what_one_change_shows_alone_is_not_told_again(tourer: Case) -> None:
    nothing = N_CHANGES - 1

    assert not tourer.pairs.changes_both(0, 0, nothing)
    assert tourer.pairs.volts(0, 0, nothing) is None


def test_a_relay_that_two_faults_let_feed_itself_stays_on_with_the_key_off(
    plain: Plain,
) -> None:
    # 87 touches 86 and feeds the coil; a shorted output grounds it. Each alone lets go.
    network = plain.network
    names = ("fuel-pump-relay.contacts/bridge", "engine-controller.pump-output")
    branch = np.array([network.branch_indices()[name] for name in names])
    curves = network.curves[plain.draw[:, None], branch[:, None]].copy()
    curves[..., FORCED] = 1.0
    slots = Slots(
        branch=np.tile(branch.repeat(N_DRAWS), len(plain.states))[:, None],
        curves=curves.reshape(-1, 1, curves.shape[-1]),
    )
    case = make_case(network, plain.came, slots, N_DRAWS)

    volts = case.pairs.volts(plain.states.index("key-off"), 0, 1)

    assert volts is not None
    assert volts[:, network.node_indices()["fuel-pump.plus"]].min() > 10.0
