"""Predicted readings: every node of a car, in every state, under every fault set.

Turns fault sets into changed branches, has them solved, opens what they overload, and
keeps what readings and symptoms are made of. Leaves probabilities to `inference`.

All reading tables come from here and none is written by hand, so that the probabilities
follow from the wires of this car, and a new kind of part needs no new table. Tolerance
draws are shared by all faults: differences between causes are then physics. Pairs of
causes are solved when facts ask for them, not all ahead: those of the sedan would take
a quarter of an hour and 40 GB.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.model import CarModel
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.solver.network import Network, Slots
from diagnose.faults.causes import Cause, FaultSet, Severity
from diagnose.faults.predictions.changed_branches import (
    ChangedBranches,
    Scenario,
    scenarios_of,
)
from diagnose.faults.predictions.overloads import MAX_TRIPS, ProtectiveParts, Tripped
from diagnose.faults.predictions.predicted import Prediction, PredictionInMaking
from diagnose.faults.predictions.recorder import Recorder
from diagnose.faults.predictions.second_process import (
    can_fork,
    start_in_child,
)
from diagnose.measurement.quantities import Probe

# Volts of nodes that are solved together. [1] Measured: the more, the fewer rounds of
# solving in all; with two thirds of it a sedan takes 3 % longer, and with two thirds
# more 7 % less time and 40 MB more.
CHUNK_VALUES = 1_800_000

# Fault sets that are solved together, however large the car. [1] Measured: with ten at
# a time a car of 200 wires takes a quarter longer than with sixteen.
LEAST_CHUNK_SETS = 16

# Points from which on a second process helps. [1] Derived: that pays from some seconds
# of work on.
LEAST_SHARED_POINTS = 16384


class Predictor:
    """One car and its causes, ready to say what fault sets would show.

    Parameters
    ----------
    model : CarModel
        The car with its drawn values.
    causes : Sequence[Cause]
        What the numbers of a fault set stand for.
    probes : Sequence[Probe]
        The currents and on/off facts that symptoms and clamp readings need.

    Attributes
    ----------
    model : CarModel
    causes : tuple[Cause, ...]
    probes : tuple[Probe, ...]
    states : tuple[OperatingState, ...]
        The car's states; predictions have them in this order.
    state_index : dict[str, int]
        Name of a state to its place among them.
    networks : tuple[Network, ...]
        The sound car in each state.
    nodes : tuple[str, ...]
        The car's nodes; predictions have them in this order.
    node_index, branch_index : Mapping[str, int]
        Name of a node or branch to its place.
    """

    def __init__(
        self, model: CarModel, causes: Sequence[Cause], probes: Sequence[Probe]
    ) -> None:
        self.model = model
        self.causes = tuple(causes)
        self.probes = tuple(probes)
        self.states: tuple[OperatingState, ...] = model.car.states
        self.state_index = {state.name: i for i, state in enumerate(self.states)}
        self._network = model.networks(self.states)
        self.networks: tuple[Network, ...] = self._network.apart(len(self.states))
        self._solver: CompensationSolver | None = None
        self._lock = threading.Lock()
        self._changed = ChangedBranches(model, self.causes, self.networks)
        self._protective = ProtectiveParts(self.networks)
        first = self.networks[0]
        self.nodes = first.nodes
        self.node_index = first.node_indices()
        self.branch_index = first.branch_indices()
        self._recorder = Recorder(
            self.states, self.probes, self.branch_index, self._protective.branches
        )

    def solver(self) -> CompensationSolver:
        """Return the sound car in all its states, solved when first asked for.

        Returns
        -------
        CompensationSolver
            State and draw are one axis there, all draws of the first state first: a
            pair of causes asked for in the middle of a diagnosis is some hundred
            points, and alone in its state each would cost as many calls as ten
            thousand.

        Raises
        ------
        UnsolvableCircuitError
            If the sound car has no operating point in some state.
        """
        with self._lock:
            if self._solver is None:
                n_draws = self.model.sample.n_draws
                before = self.points_before(n_draws)
                self._solver = CompensationSolver(self._network, before, n_draws)
            return self._solver

    def points_before(self, n_points: int) -> IntArray:
        """Return from which point each point comes: a state starts as one before left.

        What a hysteresis ends in depends on the way there: a relay pulled in at key-on
        stays in while cranking, and a backfed coil holds it with the key off.

        Parameters
        ----------
        n_points : int
            Points of each state.

        Returns
        -------
        IntArray
            Shape (n_states n_points,), all points of a state in turn; -1 for those
            that start from rest.
        """
        came = [self.state_index.get(state.after, -1) for state in self.states]
        first = np.array(came, dtype=np.int64)[:, None] * n_points
        rows = np.where(first >= 0, first + np.arange(n_points), -1)
        return np.asarray(rows.ravel())

    def healthy_flips(self, state: int) -> IntArray | None:
        """Return how often gates changed, if the sound car never comes to rest.

        Parameters
        ----------
        state : int
            Number of the state.

        Returns
        -------
        IntArray or None
            Most changes of each branch's gate in any draw, shape (n_branches,); None
            if some draw comes to rest in this state.
        """
        n_draws = self.model.sample.n_draws
        draws = slice(state * n_draws, (state + 1) * n_draws)
        base = self.solver().base
        if base.is_settled[draws].any():
            return None
        return np.asarray(base.flips[draws].max(axis=0).astype(np.int64))

    def predict(
        self,
        sets: Sequence[FaultSet],
        *,
        severities: Sequence[tuple[Severity, ...]] | None = None,
        every: int = 1,
        is_compact: bool = False,
        progress: Callable[[float], None] | None = None,
    ) -> Prediction:
        """Return what each fault set would show in every state, for every draw.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            The fault sets.
        severities : Sequence[tuple[Severity, ...]] or None
            How severe causes of each set are; others are drawn.
        every : int
            Solve only every so many-th draw and let it stand for those between.
        is_compact : bool
            Return only the draws that were solved: four times as many sets of a
            diagnosis are then kept in the same memory.
        progress : Callable or None
            Called with the share done, 0 to 1.

        Returns
        -------
        Prediction
            In the order of `sets`.

        Raises
        ------
        UnsolvableCircuitError
            If the sound car has no operating point in some state.
        """
        draws = np.arange(0, self.model.sample.n_draws, every)
        making = self._making(len(sets), len(draws), is_shared=True)
        places = np.arange(len(sets) * len(draws)).reshape(len(sets), -1)
        scenarios = scenarios_of(sets, severities)
        self._fill_all(making, places, scenarios, draws, tell=progress or _tell_nobody)
        self._changed.forget_passing()
        n_shown = len(draws) if is_compact else self.model.sample.n_draws
        every = 1 if is_compact else every
        return making.finished(len(sets), np.arange(n_shown) // every)

    def solved(self, sets: Sequence[FaultSet]) -> Prediction:
        """Return what fault sets would show in every draw, solved in this process.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            The fault sets, few enough to be solved together.

        Returns
        -------
        Prediction
            In the order of `sets`.

        Raises
        ------
        UnsolvableCircuitError
            If the sound car has no operating point in some state.
        """
        draws, scenarios = (
            np.arange(self.model.sample.n_draws),
            scenarios_of(sets, None),
        )
        making = self._making(len(scenarios), len(draws), is_shared=False)
        places = np.arange(len(scenarios) * len(draws))
        self._fill(making, places, scenarios, draws)
        return making.finished(len(scenarios), draws)

    def forget_passing(self) -> None:
        """Forget the changed branches that were built for what was solved last."""
        self._changed.forget_passing()

    def _making(
        self, n_sets: int, n_draws: int, *, is_shared: bool
    ) -> PredictionInMaking:
        return PredictionInMaking.empty(
            len(self.states),
            n_sets * n_draws,
            n_nodes=len(self.nodes),
            n_probes=len(self.probes),
            is_shared=is_shared,
        )

    def chunks(self, n_sets: int, n_draws: int, *, n_workers: int) -> list[slice]:
        """Return which sets are solved together, as equal shares for every worker.

        Parameters
        ----------
        n_sets, n_draws, n_workers : int
            How many sets are solved, in how many draws, by how many processes. [1]

        Returns
        -------
        list[slice]
            Of the sets, a multiple of `n_workers` where there are enough sets.
        """
        per_set = n_draws * len(self.states) * len(self.nodes)
        per_chunk = max(LEAST_CHUNK_SETS, CHUNK_VALUES // per_set)
        return _chunks(n_sets, per_chunk, n_workers=n_workers)

    def between_ohms(
        self, sets: Sequence[FaultSet], state: int, red: int, black: int
    ) -> FloatArray:
        """Return the resistance between two nodes, sources at rest.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            The fault sets.
        state : int
            Number of a state with the battery disconnected.
        red, black : int
            Numbers of the nodes.

        Returns
        -------
        FloatArray
            Shape (n_sets, n_draws). [Ω]
        """
        n_draws = self.model.sample.n_draws
        result = np.empty((len(sets), n_draws))
        per_chunk = max(1, CHUNK_VALUES // (n_draws * len(self.nodes)))
        solver = self.solver()
        for start in range(0, len(sets), per_chunk):
            chunk = scenarios_of(sets[start : start + per_chunk], None)
            draw, slots = self._changed.points((state,), chunk, np.arange(n_draws))
            points = solver.solve(draw, slots, n_together=n_draws)
            ohms = points.between_ohms(red, black)
            result[start : start + len(chunk)] = ohms.reshape(len(chunk), n_draws)
        self._changed.forget_passing()
        return result

    def points(
        self, scenarios: Sequence[Scenario], draws: IntArray
    ) -> tuple[IntArray, Slots]:
        """Return the points to solve for fault sets, in all states.

        Parameters
        ----------
        scenarios : Sequence[Scenario]
            The fault sets, with how severe their causes are.
        draws : IntArray
            Which tolerance draws, shape (n_draws,).

        Returns
        -------
        tuple[IntArray, Slots]
            Draw and changed branches of each point, as for `CompensationSolver.solve`.
        """
        return self._changed.points(range(len(self.states)), scenarios, draws)

    def _fill_all(
        self,
        making: PredictionInMaking,
        places: IntArray,
        scenarios: Sequence[Scenario],
        draws: IntArray,
        *,
        tell: Callable[[float], None],
    ) -> None:
        """Fill a prediction chunk by chunk, by two processes when it is much.

        Parameters
        ----------
        places : IntArray
            The point in `making` of each scenario and draw, shape
            (n_scenarios, n_draws).
        """
        is_shared = places.size >= LEAST_SHARED_POINTS and can_fork()
        n_workers = 2 if is_shared else 1
        chunks = self.chunks(len(scenarios), len(draws), n_workers=n_workers)

        def fill(wanted: Sequence[slice], tell: Callable[[float], None]) -> None:
            for number, chunk in enumerate(wanted):
                self._fill(making, places[chunk].ravel(), scenarios[chunk], draws)
                tell((number + 1) / len(wanted))

        if not is_shared:
            fill(chunks, tell)
            return
        self.solver()
        wait = start_in_child(lambda: fill(chunks[1::2], _tell_nobody))
        fill(chunks[::2], tell)
        wait()

    def _fill(
        self,
        making: PredictionInMaking,
        places: IntArray,
        scenarios: Sequence[Scenario],
        draws: IntArray,
    ) -> None:
        """Solve all states; what a fault overloads opens, and stays open.

        Parameters
        ----------
        places : IntArray
            The point in `making` of each draw of each scenario in turn.
        """
        n_states, solver = len(self.states), self.solver()
        protective = self._protective.branches
        draw, slots = self.points(scenarios, draws)
        points = np.arange(len(draw) // n_states)
        tripped = Tripped.none(n_states, len(points))
        n_together = len(draws)
        for _ in range(MAX_TRIPS + 1):
            changed = tripped.opened(solver, draw, slots)
            before = self.points_before(len(points))
            solved = solver.solve(draw, changed, before, n_together=n_together)
            n_together = 1
            amps = self._recorder.keep(making, places[points], solved)
            del solved  # as large as all that is kept of it
            self._recorder.mark_cycling(making, places[points], tripped)
            seconds = self._protective.opening_seconds(draw, changed, amps)
            seconds = seconds.reshape(n_states, len(points), -1)
            is_tripped = tripped.branch[:, :, None] == protective
            seconds[:, is_tripped.any(axis=1)] = np.inf
            hit = np.flatnonzero(np.isfinite(seconds).any(axis=(0, 2)))
            if not len(hit):
                break
            tripped = tripped.and_first_of(
                seconds[:, hit],
                hit,
                protective,
                resets=self._protective.resets(draw[hit]),
            )
            again = (np.arange(n_states)[:, None] * len(points) + hit).ravel()
            points, draw, slots = points[hit], draw[again], slots.take(again)


def _chunks(n_sets: int, per_chunk: int, *, n_workers: int) -> list[slice]:
    """Return equal shares for every worker, none much above a size."""
    n_chunks = n_workers * max(1, -(-n_sets // (per_chunk * n_workers)))
    ends = [n_sets * number // n_chunks for number in range(n_chunks + 1)]
    return [slice(start, end) for start, end in pairwise(ends) if end > start]


def _tell_nobody(share: float) -> None:
    del share
