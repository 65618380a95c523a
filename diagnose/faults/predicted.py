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

from diagnose.circuit.car import FloatArray, OperatingState, Part
from diagnose.circuit.compensation import CompensatedState, Solved
from diagnose.circuit.elements import ELEMENTS, Values
from diagnose.circuit.model import CarModel
from diagnose.circuit.nodal import (
    CURVE_LENGTH,
    FORCED,
    IntArray,
    Network,
    Slots,
    curve,
)
from diagnose.faults.beside import beside, can_fork, shared_array
from diagnose.faults.causes import Cause, FaultSet, changed_values
from diagnose.measurement.quantities import Probe

StoredArray = npt.NDArray[np.float32]
"""Predictions are held in single precision: microvolts of 12 V, half the memory."""

HalfArray = npt.NDArray[np.float16]
SOURCE_UNIT_OHMS = 1e5
MOST_SOURCE_OHMS = 6.5e9
# Derived: half precision then spans 6 mohm to 6.5 Gohm, leads to insulation.

LEAST_NORMAL_HALF = np.float32(2.0**-14)
_DROPPED = np.uint32(13)
_NEARLY_HALF_STEP = np.uint32(2**12 - 1)
_EXPONENT_SHIFT = np.uint32((127 - 15) << 10)
_HALF_BITS = np.float32(0.5).view(np.uint32)
# IEEE 754-2008: binary16 has 10 digits behind the point where binary32 has 23, and its
# exponent counts from 15 where the other's counts from 127.

CHUNK_POINTS = 24576
# Measured: the more points are solved together, the fewer rounds it takes in all; these
# take some 100 MB.
BLOCK_POINTS = 256
# Measured: what is stored in smaller pieces stays in the processor's cache meanwhile.
LEAST_SHARED_POINTS = 16384
# Derived: a second process pays from some seconds of work on.
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
    """One changed branch: its index and its curve, shape (n_draws, CURVE_LENGTH)."""

    branch: int
    curve: FloatArray


@dataclass(frozen=True, slots=True)
class _Room:
    """A prediction being made: `Prediction` with fault sets and draws in one axis."""

    volts: StoredArray
    source_units: HalfArray
    probes: StoredArray
    is_settled: StoredArray

    @staticmethod
    def empty(n_states: int, n_points: int, *, n_nodes: int, n_probes: int) -> _Room:
        """Return room for points."""
        return _Room(
            volts=shared_array((n_states, n_points, n_nodes), np.float32),
            source_units=shared_array((n_states, n_points, n_nodes), np.float16),
            probes=shared_array((n_points, n_probes), np.float32),
            is_settled=shared_array((n_states, n_points), np.float32),
        )

    def prediction(self, n_sets: int, stands_for: IntArray) -> Prediction:
        """Return the prediction, with the draw that stands for each draw."""

        def apart(array: Any, axis: int) -> Any:
            shape = array.shape
            apart = array.reshape(*shape[:axis], n_sets, -1, *shape[axis + 1 :])
            if len(stands_for) == apart.shape[axis + 1]:
                return apart
            return apart.take(stands_for, axis=axis + 1)

        return Prediction(
            volts=apart(self.volts, 1),
            source_units=apart(self.source_units, 1),
            probes=apart(self.probes, 0),
            is_settled=apart(self.is_settled, 1),
        )


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
        self._overrides: dict[tuple[int, _Scenario, str], tuple[_Override, ...]] = {}
        first = self.solver(0).network
        self.nodes = first.nodes
        self.node_index = first.node_indices()
        self.branch_index = first.branch_indices()
        self._probed = [
            (self._probe_branches(state, True), self._probe_branches(state, False))
            for state in range(len(self.states))
        ]
        self._protective = np.flatnonzero(np.isfinite(first.trip_amps).all(axis=0))

    def _probe_branches(
        self, state: int, is_current: bool
    ) -> tuple[IntArray, IntArray]:
        """Return the columns of one state's probes, and the branches they look at."""
        columns = [
            column
            for column, probe in enumerate(self.probes)
            if probe.state == self.states[state].name and probe.is_current is is_current
        ]
        branches = [self.branch_index[self.probes[column].branch] for column in columns]
        return np.array(columns, dtype=np.int64), np.array(branches, dtype=np.int64)

    def solver(self, state: int) -> CompensatedState:
        """Return the solver of one state, made when first asked for."""
        with self._lock:
            if state not in self._solvers:
                network = self.model.network(self.states[state])
                self._solvers[state] = CompensatedState(network)
            return self._solvers[state]

    def warm_up(self, is_over: Callable[[], bool] = lambda: False) -> None:
        """Make every solver; may run beside a diagnosis that waits for its owner.

        Parameters
        ----------
        is_over : Callable
            Asked before each state; True stops here.
        """
        for state in range(len(self.states)):
            if is_over():
                return
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
        room = _Room.empty(
            len(self.states),
            len(sets) * len(draws),
            n_nodes=len(self.nodes),
            n_probes=len(self.probes),
        )
        is_shared = len(sets) * len(draws) >= LEAST_SHARED_POINTS and can_fork()
        per_chunk = max(1, CHUNK_POINTS // len(draws))
        if is_shared:
            per_chunk = min(per_chunk, -(-len(sets) // 2))
        starts = range(0, len(sets), per_chunk)

        def fill(wanted: Sequence[int], tell: Callable[[float], None]) -> None:
            for number, start in enumerate(wanted):
                chunk = scenarios[start : start + per_chunk]
                tell_part = _part_of(tell, number=number, n_parts=len(wanted))
                self._fill(room, start * len(draws), chunk, draws, tell_part)

        tell = progress or _tell_nobody
        if not is_shared:
            fill(starts, tell)
        else:
            self.warm_up()
            wait = beside(lambda: fill(starts[1::2], _tell_nobody))
            fill(starts[::2], tell)
            wait()
        return room.prediction(len(sets), np.arange(self.model.sample.n_draws) // every)

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

    def _fill(
        self,
        room: _Room,
        first: int,
        scenarios: Sequence[_Scenario],
        draws: IntArray,
        tell: Callable[[float], None],
    ) -> None:
        """Solve all states; what a fault overloads opens, and stays open.

        Parameters
        ----------
        first : int
            The point in `room` of the first scenario's first draw.
        """
        n_states = len(self.states)
        draw = np.tile(draws, len(scenarios))
        slots = [self._slots(state, scenarios, draws) for state in range(n_states)]
        points = np.arange(len(draw))
        tripped = np.full((len(draw), 0), -1, dtype=np.int64)
        for _ in range(MAX_TRIPS + 1):
            load = np.zeros((len(points), len(self._protective)))
            for state, whole in enumerate(slots):
                solver = self.solver(state)
                changed = _opened(solver, draw, whole.take(points), tripped)
                solved = solver.solve(draw, changed)
                amps = np.abs(self._kept(room, state, first + points, solved))
                limit = solver.network.trip_amps[:, self._protective][draw]
                np.maximum(load, amps / limit, out=load)
                if not tripped.shape[1]:
                    tell((state + 1) / (n_states + 1))
            is_open = (tripped[:, :, None] == self._protective).any(axis=1)
            load[is_open] = 0.0
            hit = np.flatnonzero(load.max(axis=1) > 1.0)
            if not len(hit):
                break
            worst = self._protective[load[hit].argmax(axis=1)]
            tripped = np.concatenate([tripped[hit], worst[:, None]], axis=1)
            points, draw = points[hit], draw[hit]
        tell(1.0)

    def _kept(
        self, room: _Room, state: int, points: IntArray, solved: Solved
    ) -> FloatArray:
        """Keep what readings and symptoms are made of.

        Returns
        -------
        FloatArray
            The currents of the protective parts, shape (n_points, n_protective). [A]
        """
        solver = self.solver(state)
        room.volts[state, points] = solved.volts
        ohms = solver.source_ohms(solved)
        for start in range(0, len(points), BLOCK_POINTS):
            some = slice(start, start + BLOCK_POINTS)
            room.source_units[state, points[some]] = _in_units(ohms[some])
        room.is_settled[state, points] = solved.is_settled
        (current_columns, measured), (gate_columns, watched) = self._probed[state]
        branches = np.union1d(measured, self._protective)
        amps = solver.branch_amps(solved, branches)
        room.probes[points[:, None], current_columns] = amps[
            :, np.searchsorted(branches, measured)
        ]
        room.probes[points[:, None], gate_columns] = solver.branch_conducts(
            solved, watched
        )
        return amps[:, np.searchsorted(branches, self._protective)]

    def _slots(
        self, state: int, scenarios: Sequence[_Scenario], draws: IntArray
    ) -> Slots:
        """Return the changed branches of every (set, draw), points set-major."""
        n_draws = len(draws)
        lists = [self._set_overrides(state, *scenario) for scenario in scenarios]
        width = max((len(overrides) for overrides in lists), default=0)
        shape = (len(scenarios), n_draws, width)
        branch = np.full(shape, -1, dtype=np.int64)
        curves = np.zeros((*shape, CURVE_LENGTH))
        for row, overrides in enumerate(lists):
            for column, override in enumerate(overrides):
                branch[row, :, column] = override.branch
                curves[row, :, column] = override.curve[draws]
        n_points = len(scenarios) * n_draws
        return Slots(
            branch=branch.reshape(n_points, width),
            curves=curves.reshape(n_points, width, CURVE_LENGTH),
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
        values = self._changed(fault_set, replicate)
        return tuple(
            override
            for part in self.model.touched_parts(values)
            for override in self._part_overrides(
                state, part, scenario=(fault_set, replicate), values=values
            )
        )

    def _part_overrides(
        self,
        state: int,
        part: Part,
        *,
        scenario: _Scenario,
        values: Mapping[str, Values],
    ) -> tuple[_Override, ...]:
        """Return the changed branches of a part, worked out once where states agree."""
        key = (state if ELEMENTS[part.kind].follows_state else -1, scenario, part.name)
        if key not in self._overrides:
            network = self.solver(state).network
            branches = self.model.part_branches(part, self.states[state], values)
            overrides = (
                _Override(self.branch_index[branch.name], curve(branch))
                for branch in branches
            )
            self._overrides[key] = tuple(
                override for override in overrides if _differs(network, override)
            )
        return self._overrides[key]


def _scenarios(
    sets: Sequence[FaultSet], replicates: Sequence[int] | None
) -> list[_Scenario]:
    numbers = [0] * len(sets) if replicates is None else replicates
    return list(zip(sets, numbers, strict=True))


def _tell_nobody(share: float) -> None:
    del share


def _part_of(
    tell: Callable[[float], None], *, number: int, n_parts: int
) -> Callable[[float], None]:
    """Return what tells the share of the whole, given that of one part."""
    return lambda share: tell((number + share) / n_parts)


def _in_units(ohms: FloatArray) -> HalfArray:
    """Return resistances in units of `SOURCE_UNIT_OHMS`, in half precision.

    Rounded to nearest and even as by `astype`, which takes eight times as long
    (measured), because most are below the least normal half-precision number. Those
    are multiples of 2^-24, which is the last digit of a single-precision number between
    a half and one.
    """
    units = np.minimum(ohms, MOST_SOURCE_OHMS).astype(np.float32)
    units *= np.float32(1.0 / SOURCE_UNIT_OHMS)
    low = (units + np.float32(0.5)).view(np.uint32) - _HALF_BITS
    bits = units.view(np.uint32)
    last = (bits >> _DROPPED) & np.uint32(1)
    high = ((bits + _NEARLY_HALF_STEP + last) >> _DROPPED) - _EXPONENT_SHIFT
    halves = np.where(units < LEAST_NORMAL_HALF, low, high)
    return halves.astype(np.uint16).view(np.float16)


def _opened(
    solver: CompensatedState, draw: IntArray, slots: Slots, tripped: IntArray
) -> Slots:
    """Return the changed branches with tripped protective parts open."""
    if not tripped.shape[1]:
        return slots
    is_tripped = (slots.branch[:, :, None] == tripped[:, None, :]).any(axis=2)
    slots.curves[is_tripped, FORCED] = -1.0
    is_present = (tripped[:, :, None] == slots.branch[:, None, :]).any(axis=2)
    extra = solver.base_slots(draw, np.where(is_present, -1, tripped))
    extra.curves[..., FORCED] = -1.0
    return slots.beside(extra)


def _differs(network: Network, override: _Override) -> bool:
    """Return whether an override changes anything in a state."""
    base = network.curves[:, override.branch]
    if (base == override.curve).all():
        return False
    # what carries in neither is no difference
    return bool(base[:, FORCED].max() >= 0.0 or override.curve[:, FORCED].max() >= 0.0)


def probe_columns(probes: Sequence[Probe]) -> Mapping[Probe, int]:
    """Return probe to its column in `Prediction.probes`."""
    return {probe: column for column, probe in enumerate(probes)}
