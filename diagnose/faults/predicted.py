"""Predicted readings: every node of the car, in every state, under every fault set.

Turns causes into changed branches, lets `compensation` solve them, opens the protective
part that a fault overloads (it stays open in every state), and keeps what readings and
symptoms are made of. Leaves probabilities to `inference`.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, HalfArray, IntArray, StoredArray
from diagnose.circuit.car import (
    OperatingState,
    Part,
)
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.changes.solved_points import SolvedPoints
from diagnose.circuit.elements import ELEMENTS
from diagnose.circuit.model import CarModel
from diagnose.circuit.parts.branches import Values
from diagnose.circuit.solver.network import (
    CURVE_LENGTH,
    FORCED,
    RESETS_ITSELF,
    TRIP_A2S,
    TRIP_AMPS,
    Network,
    Slots,
    curve,
    stacked,
)
from diagnose.faults.causes import Cause, FaultSet, Severity, changed_values
from diagnose.faults.second_process import beside, can_fork, shared_array
from diagnose.measurement.quantities import Probe

SOURCE_UNIT_OHMS = 1e5
MOST_SOURCE_OHMS = 6.5e9
# Derived: half precision then spans 6 mohm to 6.5 Gohm, leads to insulation.

LEAST_NORMAL_HALF = np.float32(2.0**-14)
_DROPPED = np.uint32(13)
_NEARLY_HALF_STEP = np.uint32(2**12 - 1)
_EXPONENT_SHIFT = np.uint32((127 - 15) << 10)
_HALF_BITS = np.float32(0.5).view(np.uint32)
_SINGLE_OF = np.arange(2**16, dtype=np.uint16).view(np.float16).astype(np.float32)
# IEEE 754-2008: binary16 has 10 digits behind the point where binary32 has 23, and its
# exponent counts from 15 where the other's counts from 127.

CHUNK_POINTS = 65536
# Measured: the more points are solved together, the fewer rounds it takes in all; these
# take some 400 MB.
BLOCK_POINTS = 256
# Measured: what is stored in smaller pieces stays in the processor's cache meanwhile.
LEAST_SHARED_POINTS = 16384
# Derived: a second process pays from some seconds of work on.
MAX_TRIPS = 3
OPEN_SHARE = 0.7
# From memory: a breaker trips on a short in a moment and cools for ten times as long;
# on a light overload the two are alike. What it shows open is mostly noted.


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
        Shape (n_states, n_sets, n_draws): the share of time in which `volts` hold; 1 at
        rest, 0 where a gate chatters (they are a mean), `OPEN_SHARE` where a breaker
        cycles (they are those with it open).
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

    def prediction(self, n_rows: int, stands_for: IntArray) -> Prediction:
        """Return the prediction, with the draw that stands for each draw."""

        def apart(array: Any, axis: int) -> Any:
            shape = array.shape
            apart = array.reshape(*shape[:axis], n_rows, -1, *shape[axis + 1 :])
            if len(stands_for) == apart.shape[axis + 1]:
                return apart
            return apart.take(stands_for, axis=axis + 1)

        return Prediction(
            volts=apart(self.volts, 1),
            source_units=apart(self.source_units, 1),
            probes=apart(self.probes, 0),
            is_settled=apart(self.is_settled, 1),
        )


@dataclass(frozen=True, slots=True)
class _Tripped:
    """Protective parts that too much current has opened.

    Parameters
    ----------
    branch : IntArray
        Shape (n_points, n_tripped).
    is_open : BoolArray
        In which states, shape (n_states, n_points, n_tripped): in all, unless the part
        closes again by itself.
    is_cycling : BoolArray
        Where it does so, same shape.
    """

    branch: IntArray
    is_open: BoolArray
    is_cycling: BoolArray

    @staticmethod
    def none(n_states: int, n_points: int) -> _Tripped:
        """Return that nothing has tripped."""
        nowhere = np.zeros((n_states, n_points, 0), dtype=np.bool_)
        return _Tripped(np.zeros((n_points, 0), dtype=np.int64), nowhere, nowhere)

    def opened(self, solver: CompensationSolver, draw: IntArray, slots: Slots) -> Slots:
        """Return the changed branches, a state after the other, with these open."""
        n_tripped = self.branch.shape[1]
        if not n_tripped:
            return slots
        tripped = np.where(self.is_open, self.branch, -1).reshape(-1, n_tripped)
        meets = slots.branch[:, :, None] == tripped[:, None, :]
        meets &= tripped[:, None, :] >= 0
        slots.curves[meets.any(axis=2), FORCED] = -1.0
        extra = solver.base_slots(draw, np.where(meets.any(axis=1), -1, tripped))
        extra.curves[..., FORCED] = -1.0
        return slots.beside(extra)

    def and_first_of(
        self,
        seconds: FloatArray,
        hit: IntArray,
        protective: IntArray,
        *,
        resets: BoolArray,
    ) -> _Tripped:
        """Return the points that go on, with what opens first there.

        Parameters
        ----------
        seconds : FloatArray
            How soon each part opens, shape (n_states, n_hit, n_protective). [s]
        hit : IntArray
            The points that go on.
        protective : IntArray
            Branch of each protective part.
        resets : BoolArray
            Which of them close again by themselves, shape (n_hit, n_protective).
        """
        first = seconds.min(axis=0).argmin(axis=1)
        every = np.arange(len(hit))
        is_over = np.isfinite(seconds[:, every, first])
        cycles = is_over & resets[every, first]
        is_open = is_over | ~resets[every, first]
        return _Tripped(
            np.concatenate([self.branch[hit], protective[first][:, None]], axis=1),
            np.concatenate([self.is_open[:, hit], is_open[..., None]], axis=2),
            np.concatenate([self.is_cycling[:, hit], cycles[..., None]], axis=2),
        )


_Scenario = tuple[FaultSet, tuple[Severity, ...]]


@dataclass(frozen=True, slots=True)
class _Changes:
    """What causes change, worked out once.

    `overrides` are by state (-1 where states agree), scenario and part.
    """

    values: dict[_Scenario, Mapping[str, Values]] = field(default_factory=dict)
    overrides: dict[tuple[int, _Scenario, str], tuple[_Override, ...]] = field(
        default_factory=dict
    )


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
        self.networks: tuple[Network, ...] = tuple(
            model.network(state) for state in self.states
        )
        self._solver: CompensationSolver | None = None
        self._lock = threading.Lock()
        self._lasting, self._passing = _Changes(), _Changes()
        first = self.networks[0]
        self.nodes = first.nodes
        self.node_index = first.node_indices()
        self.branch_index = first.branch_indices()
        self._protective = np.flatnonzero(np.isfinite(first.trip_amps).all(axis=0))
        probed = [self.branch_index[probe.branch] for probe in self.probes]
        self._measured = np.union1d(np.array(probed, dtype=np.int64), self._protective)
        self._probed = [
            (self._probe_columns(state, True), self._probe_columns(state, False))
            for state in range(len(self.states))
        ]
        self._resets = first.curves[:, self._protective, RESETS_ITSELF] > 0.5

    def _probe_columns(self, state: int, is_current: bool) -> tuple[IntArray, IntArray]:
        """Return the columns of one state's probes, and their places in `_measured`."""
        columns = [
            column
            for column, probe in enumerate(self.probes)
            if probe.state == self.states[state].name and probe.is_current is is_current
        ]
        branches = [self.branch_index[self.probes[column].branch] for column in columns]
        places = np.searchsorted(self._measured, np.array(branches, dtype=np.int64))
        return np.array(columns, dtype=np.int64), places

    def solver(self) -> CompensationSolver:
        """Return the car in all its states, solved when first asked for.

        State and draw are one axis there, all draws of the first state first: many
        points are solved together, however few each state has.
        """
        with self._lock:
            if self._solver is None:
                n_draws = self.model.sample.n_draws
                before = self._before(n_draws)
                self._solver = CompensationSolver(
                    stacked(self.networks), before, n_draws
                )
            return self._solver

    def _before(self, n_points: int) -> IntArray:
        """Return where points come from, all points of a state in turn; -1: rest."""
        came = [self.state_index.get(state.after, -1) for state in self.states]
        first = np.array(came, dtype=np.int64)[:, None] * n_points
        rows = np.where(first >= 0, first + np.arange(n_points), -1)
        return np.asarray(rows.ravel())

    def healthy_flips(self, state: int) -> IntArray | None:
        """Return how often gates changed in a state in which no draw comes to rest.

        Returns
        -------
        IntArray or None
            Shape (n_branches,); None if any draw comes to rest.
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
        rows: IntArray | None = None,
        n_rows: int | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> Prediction:
        """Return what each fault set would show in every state, for every draw.

        Parameters
        ----------
        sets : Sequence[FaultSet]
        severities : Sequence[tuple[Severity, ...]] or None
            How severe causes of each set are; others are drawn.
        every : int
            Solve only every so many-th draw and let it stand for those between.
        is_compact : bool
            Return only the draws that were solved.
        rows : IntArray or None
            Where in the prediction each set goes; in order when None.
        n_rows : int or None
            How many rows the prediction has, one for each set when None; those without
            a set hold zeros.
        progress : Callable or None
            Called with the share done, 0 to 1.
        """
        scenarios = _scenarios(sets, severities)
        draws = np.arange(0, self.model.sample.n_draws, every)
        rows = np.arange(len(sets)) if rows is None else rows
        n_rows = len(sets) if n_rows is None else n_rows
        room = _Room.empty(
            len(self.states),
            n_rows * len(draws),
            n_nodes=len(self.nodes),
            n_probes=len(self.probes),
        )
        is_shared = len(sets) * len(draws) >= LEAST_SHARED_POINTS and can_fork()
        per_chunk = max(1, CHUNK_POINTS // (len(draws) * len(self.states)))
        chunks = _chunks(len(sets), per_chunk, n_workers=2 if is_shared else 1)

        def fill(wanted: Sequence[slice], tell: Callable[[float], None]) -> None:
            for number, chunk in enumerate(wanted):
                places = rows[chunk, None] * len(draws) + np.arange(len(draws))
                self._fill(room, places.ravel(), scenarios[chunk], draws)
                tell((number + 1) / len(wanted))

        tell = progress or _tell_nobody
        if not is_shared:
            fill(chunks, tell)
        else:
            self.solver()
            wait = beside(lambda: fill(chunks[1::2], _tell_nobody))
            fill(chunks[::2], tell)
            wait()
        self._passing = _Changes()
        n_shown = len(draws) if is_compact else self.model.sample.n_draws
        every = 1 if is_compact else every
        return room.prediction(n_rows, np.arange(n_shown) // every)

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
        solver = self.solver()
        for start in range(0, len(sets), per_chunk):
            chunk = _scenarios(sets[start : start + per_chunk], None)
            draw, slots = self._points((state,), chunk, np.arange(n_draws))
            points = solver.solve(draw, slots, n_together=n_draws)
            ohms = points.between_ohms(red, black)
            result[start : start + len(chunk)] = ohms.reshape(len(chunk), n_draws)
        self._passing = _Changes()
        return result

    def _fill(
        self,
        room: _Room,
        places: IntArray,
        scenarios: Sequence[_Scenario],
        draws: IntArray,
    ) -> None:
        """Solve all states; what a fault overloads opens, and stays open.

        Parameters
        ----------
        places : IntArray
            The point in `room` of each draw of each scenario in turn.
        """
        n_states, solver = len(self.states), self.solver()
        draw, slots = self._points(range(n_states), scenarios, draws)
        points = np.arange(len(draw) // n_states)
        tripped = _Tripped.none(n_states, len(points))
        n_together = len(draws)
        for _ in range(MAX_TRIPS + 1):
            changed = tripped.opened(solver, draw, slots)
            solved = solver.solve(
                draw, changed, self._before(len(points)), n_together=n_together
            )
            n_together = 1
            amps = self._kept(room, places[points], solved)
            self._mark_cycling(room, places[points], tripped)
            seconds = self._opening_seconds(draw, changed, amps)
            seconds = seconds.reshape(n_states, len(points), -1)
            is_tripped = tripped.branch[:, :, None] == self._protective
            seconds[:, is_tripped.any(axis=1)] = np.inf
            hit = np.flatnonzero(np.isfinite(seconds).any(axis=(0, 2)))
            if not len(hit):
                break
            tripped = tripped.and_first_of(
                seconds[:, hit], hit, self._protective, resets=self._resets[draw[hit]]
            )
            again = (np.arange(n_states)[:, None] * len(points) + hit).ravel()
            points, draw, slots = points[hit], draw[again], slots.take(again)

    def _opening_seconds(
        self, draw: IntArray, slots: Slots, amps: FloatArray
    ) -> FloatArray:
        """Return how soon each protective part opens, inf where it holds. [s]."""
        curves = self.solver().network.curves[:, self._protective]
        limits = curves[..., TRIP_AMPS : TRIP_A2S + 1][draw]
        column = np.full(len(self.branch_index) + 1, -1)
        column[self._protective] = np.arange(len(self._protective))
        points, places = np.nonzero(column[slots.branch] >= 0)
        changed = slots.curves[points, places, TRIP_AMPS : TRIP_A2S + 1]
        limits[points, column[slots.branch[points, places]]] = changed
        seconds = np.full(amps.shape, np.inf)
        is_over = np.abs(amps) > limits[..., 0]
        np.divide(limits[..., 1], amps**2, out=seconds, where=is_over)
        return seconds

    def _mark_cycling(self, room: _Room, points: IntArray, tripped: _Tripped) -> None:
        """Note what opens and closes over and over; it rests for a share of time."""
        for state, place in np.ndindex(len(self.states), tripped.branch.shape[1]):
            rows = np.flatnonzero(tripped.is_cycling[state, :, place])
            room.is_settled[state, points[rows]] = OPEN_SHARE
            columns, places = self._probed[state][1]
            found = tripped.branch[rows, place][:, None] == self._measured[places]
            hit, probe = np.nonzero(found)
            room.probes[points[rows[hit]], columns[probe]] = 0.5

    def _kept(self, room: _Room, points: IntArray, solved: SolvedPoints) -> FloatArray:
        """Keep what readings and symptoms are made of.

        Parameters
        ----------
        points : IntArray
            Points in `room`; `solved` has them for every state in turn.

        Returns
        -------
        FloatArray
            The currents of the protective parts, shape (n_states n_points,
            n_protective). [A]
        """
        n_states, ohms = len(self.states), solved.source_ohms()
        amps = solved.branch_amps(self._measured)
        conducts = solved.branch_conducts(self._measured)
        for state in range(n_states):
            here = slice(state * len(points), (state + 1) * len(points))
            room.volts[state, points] = solved.volts[here]
            room.is_settled[state, points] = solved.is_settled[here]
            for start in range(0, len(points), BLOCK_POINTS):
                some = slice(start, start + BLOCK_POINTS)
                room.source_units[state, points[some]] = _in_units(ohms[here][some])
            currents, gates = self._probed[state]
            for (columns, places), seen in ((currents, amps), (gates, conducts)):
                room.probes[points[:, None], columns] = seen[here, places]
        return amps[:, np.searchsorted(self._measured, self._protective)]

    def _points(
        self, states: Sequence[int], scenarios: Sequence[_Scenario], draws: IntArray
    ) -> tuple[IntArray, Slots]:
        """Return the points of every (state, set, draw) in turn.

        Returns
        -------
        tuple
            The draw of each point for the solver, shape (n_points,), and its changed
            branches.
        """
        n_draws, n_all = len(draws), self.model.sample.n_draws
        lists = [
            self._set_overrides(state, *scenario)
            for state in states
            for scenario in scenarios
        ]
        width = max((len(overrides) for overrides in lists), default=0)
        branch = np.full((len(lists), n_draws, width), -1, dtype=np.int64)
        curves = np.zeros((len(lists), n_draws, width, CURVE_LENGTH))
        for row, overrides in enumerate(lists):
            for column, override in enumerate(overrides):
                branch[row, :, column] = override.branch
                curves[row, :, column] = override.curve[draws]
        slots = Slots(
            branch=branch.reshape(len(lists) * n_draws, width),
            curves=curves.reshape(len(lists) * n_draws, width, CURVE_LENGTH),
        )
        in_state = np.repeat(np.array(states) * n_all, len(scenarios) * n_draws)
        return in_state + np.tile(draws, len(lists)), slots

    def _set_overrides(
        self, state: int, fault_set: FaultSet, severities: tuple[Severity, ...]
    ) -> tuple[_Override, ...]:
        """Return the overrides of a set: those of its causes, unless they meet."""
        single = [
            self._cause_overrides(
                state, ((cause,), tuple(s for s in severities if s.cause == cause))
            )
            for cause in fault_set
        ]
        together = tuple(override for overrides in single for override in overrides)
        branches = [override.branch for override in together]
        if len(set(branches)) == len(branches):
            return together
        return self._cause_overrides(state, (fault_set, severities))

    def _held(self, scenario: _Scenario) -> _Changes:
        """Return where to look: single causes as drawn are asked for over and over."""
        fault_set, severities = scenario
        is_passing = len(fault_set) > 1 or severities
        return self._passing if is_passing else self._lasting

    def _changed(self, scenario: _Scenario) -> Mapping[str, Values]:
        held = self._held(scenario).values
        if scenario not in held:
            fault_set, severities = scenario
            causes = [self.causes[cause] for cause in fault_set]
            levels = {self.causes[s.cause].name: s.level for s in severities}
            held[scenario] = changed_values(self.model, causes, levels)
        return held[scenario]

    def _cause_overrides(
        self, state: int, scenario: _Scenario
    ) -> tuple[_Override, ...]:
        values = self._changed(scenario)
        return tuple(
            override
            for part in self.model.touched_parts(values)
            for override in self._part_overrides(
                state, part, scenario=scenario, values=values
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
        follows = ELEMENTS[part.kind].follows_state or self.states[state].is_unplugged
        key = (state if follows else -1, scenario, part.name)
        held = self._held(scenario).overrides
        if key not in held:
            network = self.networks[state]
            branches = self.model.part_branches(part, self.states[state], values)
            overrides = (
                _Override(self.branch_index[branch.name], curve(branch))
                for branch in branches
            )
            held[key] = tuple(
                override for override in overrides if _differs(network, override)
            )
        return held[key]


def _scenarios(
    sets: Sequence[FaultSet], severities: Sequence[tuple[Severity, ...]] | None
) -> list[_Scenario]:
    if severities is None:
        return [(fault_set, ()) for fault_set in sets]
    return list(zip(sets, severities, strict=True))


def _chunks(n_sets: int, per_chunk: int, *, n_workers: int) -> list[slice]:
    """Return equal shares for every worker, none much above a size."""
    n_chunks = n_workers * max(1, -(-n_sets // (per_chunk * n_workers)))
    ends = [n_sets * number // n_chunks for number in range(n_chunks + 1)]
    return [slice(start, end) for start, end in pairwise(ends) if end > start]


def _tell_nobody(share: float) -> None:
    del share


def in_single(units: HalfArray) -> StoredArray:
    """Return half-precision numbers in single precision, by a table.

    `astype` takes five times as long (measured) where most are below the least normal
    number.
    """
    return _SINGLE_OF.take(units.view(np.uint16))


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
