"""Predicted readings: every node of the car, in every state, under every fault set.

Turns causes into changed branches, lets `compensation` solve them, opens the protective
part that a fault overloads (it stays open in every state), and keeps what readings and
symptoms are made of. Leaves probabilities to `inference`.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray, OperatingState
from diagnose.circuit.compensation import CompensatedState, Slots, Solved
from diagnose.circuit.elements import Branch, Values
from diagnose.circuit.model import CarModel
from diagnose.circuit.nodal import IntArray, Network, padded_curve
from diagnose.faults.causes import Cause, FaultSet, changed_values
from diagnose.measurement.quantities import Probe

StoredArray = npt.NDArray[np.float32]
"""Predictions are held in single precision: microvolts of 12 V, half the memory."""

HalfArray = npt.NDArray[np.float16]
SOURCE_UNIT_OHMS = 1e5
MOST_SOURCE_OHMS = 6.5e9
# Derived: half precision then spans 6 mohm to 6.5 Gohm, leads to insulation.

CHUNK_POINTS = 6000
MAX_TRIPS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What a list of fault sets would show.

    Parameters
    ----------
    volts : StoredArray
        Open-circuit voltage of each node against the reference, shape
        (n_states, n_sets, n_draws, n_nodes), float32. [V]
    source_units : HalfArray
        Resistance each node shows to the reference in units of `SOURCE_UNIT_OHMS`, same
        shape, float16.
    probes : StoredArray
        Currents and on/off facts, shape (n_sets, n_draws, n_probes), float32; columns
        as in `Predictor.probes`.
    is_settled : StoredArray
        Shape (n_states, n_sets, n_draws); 0 where a gate chatters.
    """

    volts: StoredArray
    source_units: HalfArray
    probes: StoredArray
    is_settled: StoredArray

    def joined(self, other: Prediction) -> Prediction:
        """Return the fault sets of both, in order."""
        return Prediction(
            volts=np.concatenate([self.volts, other.volts], axis=1),
            source_units=np.concatenate(
                [self.source_units, other.source_units], axis=1
            ),
            probes=np.concatenate([self.probes, other.probes], axis=0),
            is_settled=np.concatenate([self.is_settled, other.is_settled], axis=1),
        )

    def kept(self, rows: IntArray) -> Prediction:
        """Return some of the fault sets."""
        return Prediction(
            volts=self.volts[:, rows],
            source_units=self.source_units[:, rows],
            probes=self.probes[rows],
            is_settled=self.is_settled[:, rows],
        )


@dataclass(frozen=True, slots=True)
class _Override:
    """One changed branch of one cause; shapes as in `Network` less the branch axis."""

    branch: int
    breaks: FloatArray
    siemens: FloatArray
    amps: FloatArray
    forced: FloatArray
    on_volts: FloatArray
    off_volts: FloatArray


_Scenario = tuple[FaultSet, int]


class Predictor:
    """One car, its causes, and its operating states ready for low-rank changes.

    Parameters
    ----------
    model : CarModel
    causes : Sequence[Cause]
    probes : Sequence[Probe]
        The currents and on/off facts that symptoms and clamp readings need.
    """

    def __init__(
        self, model: CarModel, causes: Sequence[Cause], probes: Sequence[Probe]
    ) -> None:
        self.model = model
        self.causes = tuple(causes)
        self.probes = tuple(probes)
        self.states: tuple[OperatingState, ...] = model.car.states
        self.state_index = {state.name: i for i, state in enumerate(self.states)}
        self._solvers: dict[int, CompensatedState] = {}
        self._lock = threading.Lock()
        self._values: dict[_Scenario, Mapping[str, Values]] = {}
        self._overrides: dict[tuple[int, FaultSet, int], tuple[_Override, ...]] = {}
        first = self.solver(0).network
        self.nodes = first.nodes
        self.node_index = first.node_indices()
        self._protective = np.flatnonzero(np.isfinite(first.trip_amps).all(axis=0))

    def solver(self, state: int) -> CompensatedState:
        """Return the solver of one state, made when first asked for."""
        with self._lock:
            if state not in self._solvers:
                network = self.model.network(self.states[state])
                self._solvers[state] = CompensatedState(network)
            return self._solvers[state]

    def warm_up(self) -> None:
        """Make every solver; may run beside a diagnosis that waits for its owner."""
        for state in range(len(self.states)):
            self.solver(state)

    def predict(
        self,
        sets: Sequence[FaultSet],
        *,
        replicates: Sequence[int] | None = None,
        every: int = 1,
        progress: Callable[[float], None] | None = None,
    ) -> Prediction:
        """Return what each fault set would show in every state, for every draw.

        Parameters
        ----------
        sets : Sequence[FaultSet]
        replicates : Sequence[int] or None
            Which severities each set is solved with, see `causes.changed_values`.
        every : int
            Solve only every so many-th draw and let it stand for those between.
        progress : Callable or None
            Called with the share done, 0 to 1.
        """
        scenarios = _scenarios(sets, replicates)
        draws = np.arange(0, self.model.sample.n_draws, every)
        n_draws, n_states, n_nodes = len(draws), len(self.states), len(self.nodes)
        shape = (n_states, len(sets), n_draws, n_nodes)
        volts = np.empty(shape, dtype=np.float32)
        source_units = np.empty(shape, dtype=np.float16)
        probes = np.zeros((len(sets), n_draws, len(self.probes)), dtype=np.float32)
        settled = np.empty(shape[:3], dtype=np.float32)
        per_chunk = max(1, CHUNK_POINTS // n_draws)
        for start in range(0, len(sets), per_chunk):
            rows = slice(start, min(start + per_chunk, len(sets)))
            chunk = scenarios[rows]
            solved = self._solve_chunk(chunk, draws)
            for state, points in enumerate(solved):
                solver = self.solver(state)
                size = (len(chunk), n_draws, -1)
                volts[state, rows] = solver.volts(points).reshape(size)
                source_units[state, rows] = _in_units(
                    solver.source_ohms(points)
                ).reshape(size)
                settled[state, rows] = points.is_settled.reshape(size[:2])
                self._fill_probes(state, points, probes[rows])
            if progress is not None:
                progress(rows.stop / len(sets))
        stands_for = np.arange(self.model.sample.n_draws) // every
        if every > 1:
            volts, source_units = (
                volts[:, :, stands_for],
                source_units[:, :, stands_for],
            )
            probes, settled = probes[:, stands_for], settled[:, :, stands_for]
        return Prediction(
            volts=volts, source_units=source_units, probes=probes, is_settled=settled
        )

    def between_ohms(
        self, sets: Sequence[FaultSet], state: int, red: int, black: int
    ) -> FloatArray:
        """Return the resistance between two nodes, sources at rest.

        Parameters
        ----------
        state : int
            Index of a state with the battery disconnected.
        red, black : int
            Node indices.

        Returns
        -------
        FloatArray
            Shape (n_sets, n_draws). [Ω]
        """
        n_draws = self.model.sample.n_draws
        result = np.empty((len(sets), n_draws))
        per_chunk = max(1, CHUNK_POINTS // n_draws)
        solver = self.solver(state)
        for start in range(0, len(sets), per_chunk):
            chunk = _scenarios(sets[start : start + per_chunk], None)
            draw = np.tile(np.arange(n_draws), len(chunk))
            points = solver.solve(draw, self._slots(state, chunk, np.arange(n_draws)))
            ohms = solver.between_ohms(points, red, black)
            result[start : start + len(chunk)] = ohms.reshape(len(chunk), n_draws)
        return result

    def _solve_chunk(
        self, scenarios: Sequence[_Scenario], draws: IntArray
    ) -> list[Solved]:
        """Solve all states; what a fault overloads opens, and stays open."""
        n_states = len(self.states)
        draw = np.tile(draws, len(scenarios))
        slots = [self._slots(state, scenarios, draws) for state in range(n_states)]
        solved = [self.solver(s).solve(draw, slots[s]) for s in range(n_states)]
        tripped = np.full((len(draw), 0), -1, dtype=np.int64)
        for _ in range(MAX_TRIPS):
            worst = self._worst_overload(solved, draw, tripped)
            hit = np.flatnonzero(worst >= 0)
            if not len(hit):
                break
            tripped = np.concatenate([tripped, worst[:, None]], axis=1)
            for state in range(n_states):
                again = self._opened(
                    state, draw[hit], slots[state].take(hit), tripped[hit]
                )
                solved[state] = _put(solved[state], hit, again)
        return solved

    def _opened(
        self, state: int, draw: IntArray, slots: Slots, tripped: IntArray
    ) -> Solved:
        solver = self.solver(state)
        is_present = (tripped[:, :, None] == slots.branch[:, None, :]).any(axis=2)
        extra = solver.base_slots(draw, np.where(is_present, -1, tripped))
        extra.forced[:] = -1.0
        slots.forced[(slots.branch[:, :, None] == tripped[:, None, :]).any(axis=2)] = -1
        return solver.solve(draw, slots.beside(extra))

    def _worst_overload(
        self, solved: list[Solved], draw: IntArray, tripped: IntArray
    ) -> IntArray:
        """Return the protective branch most over its limit in any state, or -1."""
        worst = np.zeros((len(draw), len(self._protective)))
        for state, points in enumerate(solved):
            solver = self.solver(state)
            amps = np.abs(solver.branch_amps(points, self._protective))
            limit = solver.network.trip_amps[draw][:, self._protective]
            worst = np.maximum(worst, amps / limit)
        for column in range(tripped.shape[1]):
            worst[tripped[:, column, None] == self._protective[None, :]] = 0.0
        choice = worst.argmax(axis=1)
        is_over = worst[np.arange(len(draw)), choice] > 1.0
        return np.where(is_over, self._protective[choice], -1)

    def _fill_probes(self, state: int, points: Solved, probes: StoredArray) -> None:
        """Put the currents and on/off facts of one state into their columns."""
        solver = self.solver(state)
        index = solver.network.branch_indices()
        name = self.states[state].name
        shape = (*probes.shape[:2], -1)
        for is_current in (True, False):
            columns = [
                column
                for column, probe in enumerate(self.probes)
                if probe.state == name and probe.is_current is is_current
            ]
            if not columns:
                continue
            branches = np.array([index[self.probes[c].branch] for c in columns])
            read = solver.branch_amps if is_current else solver.branch_conducts
            probes[:, :, columns] = read(points, branches).reshape(shape)

    def _slots(
        self, state: int, scenarios: Sequence[_Scenario], draws: IntArray
    ) -> Slots:
        """Return the changed branches of every (set, draw), points set-major."""
        n_draws = len(draws)
        lists = [self._set_overrides(state, *scenario) for scenario in scenarios]
        width = max((len(overrides) for overrides in lists), default=0)
        shape = (len(scenarios), n_draws, width)
        segments = self.solver(state).network.siemens.shape[2]
        branch = np.full(shape, -1, dtype=np.int64)
        arrays = {
            "breaks": np.full((*shape, segments - 1), np.inf),
            "siemens": np.zeros((*shape, segments)),
            "amps": np.zeros((*shape, segments)),
            "forced": np.zeros(shape),
            "on_volts": np.zeros(shape),
            "off_volts": np.zeros(shape),
        }
        for row, overrides in enumerate(lists):
            for column, override in enumerate(overrides):
                branch[row, :, column] = override.branch
                for name, array in arrays.items():
                    array[row, :, column] = getattr(override, name)[draws]
        n_points = len(scenarios) * n_draws
        return Slots(
            branch=branch.reshape(n_points, width),
            **{
                name: array.reshape(n_points, width, *array.shape[3:])
                for name, array in arrays.items()
            },
        )

    def _set_overrides(
        self, state: int, fault_set: FaultSet, replicate: int
    ) -> tuple[_Override, ...]:
        """Return the overrides of a set: those of its causes, unless they meet."""
        if replicate:
            return self._cause_overrides(state, fault_set, replicate)
        single = [self._cause_overrides(state, (cause,), 0) for cause in fault_set]
        together = tuple(override for overrides in single for override in overrides)
        branches = [override.branch for override in together]
        if len(set(branches)) == len(branches):
            return together
        return self._cause_overrides(state, fault_set, 0)

    def _changed(self, fault_set: FaultSet, replicate: int) -> Mapping[str, Values]:
        key = (fault_set, replicate)
        if key not in self._values:
            causes = [self.causes[cause] for cause in fault_set]
            self._values[key] = changed_values(self.model, causes, replicate)
        return self._values[key]

    def _cause_overrides(
        self, state: int, fault_set: FaultSet, replicate: int
    ) -> tuple[_Override, ...]:
        key = (state, fault_set, replicate)
        if key not in self._overrides:
            values = self._changed(fault_set, replicate)
            network = self.solver(state).network
            index = network.branch_indices()
            overrides = []
            for part in self.model.touched_parts(values):
                for branch in self.model.part_branches(
                    part, self.states[state], values
                ):
                    override = _override(branch, index[branch.name])
                    if _differs(network, override):
                        overrides.append(override)
            self._overrides[key] = tuple(overrides)
        return self._overrides[key]


def _in_units(ohms: FloatArray) -> HalfArray:
    """Return resistances in units of `SOURCE_UNIT_OHMS`, in half precision."""
    # by way of single precision: processors convert that to half, numpy does the rest
    units = np.minimum(ohms, MOST_SOURCE_OHMS).astype(np.float32)
    units *= np.float32(1.0 / SOURCE_UNIT_OHMS)
    return units.astype(np.float16)


def _scenarios(
    sets: Sequence[FaultSet], replicates: Sequence[int] | None
) -> list[_Scenario]:
    numbers = [0] * len(sets) if replicates is None else replicates
    return list(zip(sets, numbers, strict=True))


def _override(branch: Branch, index: int) -> _Override:
    breaks, siemens, amps = padded_curve(branch)
    never = np.zeros(len(branch.forced))
    gate = branch.gate
    return _Override(
        branch=index,
        breaks=breaks,
        siemens=siemens,
        amps=amps,
        forced=branch.forced,
        on_volts=gate.on_volts if gate else never,
        off_volts=gate.off_volts if gate else never,
    )


def _differs(network: Network, override: _Override) -> bool:
    return any(
        not np.array_equal(
            getattr(network, name)[:, override.branch], getattr(override, name)
        )
        for name in ("breaks", "siemens", "amps", "forced", "on_volts", "off_volts")
    )


def _put(whole: Solved, rows: IntArray, part: Solved) -> Solved:
    """Return `whole` with some of its points replaced."""
    width = max(whole.branch.shape[1], part.branch.shape[1])

    def merged(name: str, fill: float) -> npt.NDArray[Any]:
        old: npt.NDArray[Any] = getattr(whole, name)
        new: npt.NDArray[Any] = getattr(part, name)
        if old.ndim == 1:
            result = old.copy()
            result[rows] = new
            return result
        result = np.full((len(old), width), fill, dtype=old.dtype)
        result[:, : old.shape[1]] = old
        result[rows] = fill
        result[rows[:, None], np.arange(new.shape[1])] = new
        return result

    return Solved(
        draw=merged("draw", 0),
        branch=merged("branch", -1),
        extra_amps=merged("extra_amps", 0.0),
        slope_change=merged("slope_change", 0.0),
        is_conducting=merged("is_conducting", 0),
        is_settled=merged("is_settled", 0),
    )


def probe_columns(probes: Sequence[Probe]) -> Mapping[Probe, int]:
    """Return probe to its column in `Prediction.probes`."""
    return {probe: column for column, probe in enumerate(probes)}
