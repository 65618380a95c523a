"""Events: segments and gates moved until a network is consistent with itself.

Segments settle first, gates follow; a gate that keeps changing is a chattering relay.
Leaves to others what the voltages are for given segments and gates. Arrays are
(active branch, point); an active branch is one that is bent or gated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.solver.network import (
    AMPS,
    EDGES,
    FORCED,
    INVERTED,
    OFF_VOLTS,
    ON_VOLTS,
    SIEMENS,
)

BREAK_VOLTS = 1e-9
# Derived: far under a millivolt, far over rounding of a 12 V solution.
BREAK_AMPS = 1e-11
LEAST_BREAK_VOLTS = 1e-12
# Derived: what a segment may carry beyond its edge. More, and a diode would hold up a
# node that only its insulation holds: 20 nA are .4 V across 20 Mohm.
NEWTON_ROUNDS = 5
# Measured: most points settle in three; what has not in eight goes round in circles.
MAX_FLIPS = 4
# Derived: pull in, drop out, pull in, drop out without settling is chatter.


def conducting(is_on: BoolArray, forced: FloatArray, inverted: FloatArray) -> BoolArray:
    """Return whether branches carry current; all arguments broadcast."""
    by_gate = is_on != (inverted > 0.0)
    return np.where(forced == 0.0, by_gate, forced > 0.0)


@dataclass(frozen=True, slots=True)
class Curves:
    """Curves of branches in many points, looked up in one table and not copied.

    `curves[place]` is what stands in one place of every curve, shaped as `row`.

    Parameters
    ----------
    table : FloatArray
        Shape (CURVE_LENGTH, n_rows), places as in `Network`.
    row : IntArray
        The row of each curve, shape (...,), the points along the last axis.
    """

    table: FloatArray
    row: IntArray

    @staticmethod
    def of(curves: FloatArray) -> Curves:
        """Return curves that all stand in one array, shape (CURVE_LENGTH, ...)."""
        shape = curves.shape[1:]
        table = curves.reshape(len(curves), -1)
        return Curves(table, np.arange(table.shape[1]).reshape(shape))

    def __getitem__(self, place: int) -> FloatArray:
        return np.asarray(self.table[place].take(self.row))

    def along(self, first: int, segment: IntArray) -> FloatArray:
        """Return what stands as many places behind the first as segments say."""
        places = segment + first
        places *= self.table.shape[1]
        places += self.row
        return self.table.reshape(-1).take(places)

    def take(self, points: IntArray) -> Curves:
        """Return the curves of some of the points."""
        return Curves(self.table, self.row.take(points, axis=-1))


@dataclass(frozen=True, slots=True)
class Segments:
    """The segments in force: within which volts, and on which line.

    Parameters
    ----------
    low, high : FloatArray
        The control volts they hold for. [V]
    siemens, amps : FloatArray
        All of one shape. [S], [A]
    """

    low: FloatArray
    high: FloatArray
    siemens: FloatArray
    amps: FloatArray

    @staticmethod
    def of(curves: Curves, segment: IntArray) -> Segments:
        """Return the segments of curves, all of one shape."""
        siemens = curves.along(SIEMENS.start, segment)
        beyond = np.clip(
            BREAK_AMPS / np.maximum(siemens, BREAK_AMPS),
            LEAST_BREAK_VOLTS,
            BREAK_VOLTS,
        )
        return Segments(
            low=curves.along(EDGES.start, segment) - beyond,
            high=curves.along(EDGES.start + 1, segment) + beyond,
            siemens=siemens,
            amps=curves.along(AMPS.start, segment),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """Points on their way, the points along the last axis of every array.

    Parameters
    ----------
    point : IntArray
        Number of each point in its batch.
    draw : IntArray
        Its tolerance draw.
    curves : Curves
        Shape (n_active, n_points).
    segment : IntArray
        Shape (n_active, n_points).
    is_on : BoolArray
        Gate position.
    flips : IntArray
        How often each gate has changed.
    stage : IntArray
        How often gates have turned, shape (n_points,).
    rounds : IntArray
        Solutions since then, shape (n_points,).
    reached : FloatArray
        The control volts that partial steps have got to. [V]
    last_segment : IntArray
        Where segments were when gates last turned.
    last_is_on : BoolArray
        And the gates, before they did.
    """

    point: IntArray
    draw: IntArray
    curves: Curves
    segment: IntArray
    is_on: BoolArray
    flips: IntArray
    stage: IntArray
    rounds: IntArray
    reached: FloatArray
    last_segment: IntArray
    last_is_on: BoolArray

    @staticmethod
    def start(
        draw: IntArray,
        curves: Curves,
        segment: IntArray,
        is_on: BoolArray,
    ) -> Moving:
        """Return points that have not moved yet."""
        return Moving(
            point=np.arange(len(draw)),
            draw=draw,
            curves=curves,
            segment=segment,
            is_on=is_on,
            flips=np.zeros(segment.shape, dtype=np.int64),
            stage=np.zeros_like(draw),
            rounds=np.zeros(len(draw), dtype=np.int64),
            reached=np.zeros(segment.shape),
            last_segment=segment,
            last_is_on=is_on,
        )

    def take(self, columns: IntArray) -> Moving:
        """Return some of the points."""
        return Moving(
            curves=self.curves.take(columns),
            **{name: getattr(self, name).take(columns, axis=-1) for name in _NAMES},
        )


_NAMES = tuple(field.name for field in fields(Moving) if field.name != "curves")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a solution shows of the active branches.

    Parameters
    ----------
    control_volts, watch_volts : FloatArray
        Shape (n_active, n_points). [V]
    kept : FloatArray
        What else to keep of points at rest, shape (n_kept, n_points).
    is_lost : BoolArray
        Points that can't be solved, and are given up, shape (n_points,).
    """

    control_volts: FloatArray
    watch_volts: FloatArray
    kept: FloatArray
    is_lost: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Where points came to rest, as in `Moving`; False in `is_settled` where none.

    `is_moving` says where points were given up that still moved, shape (n_points,).
    """

    segment: IntArray
    is_on: BoolArray
    flips: IntArray
    watch_volts: FloatArray
    kept: FloatArray
    is_settled: BoolArray
    is_moving: BoolArray

    @staticmethod
    def unknown(n_active: int, n_points: int, n_kept: int) -> Rest:
        """Return room for points."""
        shape = (n_active, n_points)
        return Rest(
            segment=np.zeros(shape, dtype=np.int64),
            is_on=np.zeros(shape, dtype=np.bool_),
            flips=np.zeros(shape, dtype=np.int64),
            watch_volts=np.zeros(shape),
            kept=np.zeros((n_kept, n_points)),
            is_settled=np.zeros(n_points, dtype=np.bool_),
            is_moving=np.zeros(n_points, dtype=np.bool_),
        )

    def put(
        self,
        moving: Moving,
        seen: Seen,
        columns: IntArray,
        is_consistent: BoolArray,
    ) -> None:
        """Note where some of the moving points are."""
        points, flips = moving.point[columns], moving.flips[:, columns]
        self.segment[:, points] = moving.segment[:, columns]
        self.is_on[:, points] = moving.is_on[:, columns]
        self.flips[:, points] = flips
        self.watch_volts[:, points] = seen.watch_volts[:, columns]
        self.kept[:, points] = seen.kept[:, columns]
        is_calm = (flips < MAX_FLIPS).all(axis=0)
        self.is_settled[points] = is_consistent[columns] & is_calm
        self.is_moving[points] = ~(is_consistent | seen.is_lost)[columns]

    def arrive(self, points: IntArray, goal: BoolArray) -> None:
        """Note that the gates of points are where they rest."""
        self.is_on[:, points] = goal[:, points]
        self.is_settled[points] = True
        self.is_moving[points] = False


Look = Callable[[Moving, FloatArray, FloatArray], Seen]
"""Solves points with the siemens and amps of their active branches."""


@dataclass(frozen=True, slots=True)
class Guesses:
    """Segments to start each stage from, noted from one solution for the next.

    Parameters
    ----------
    segment : IntArray
        Shape (n_stages, n_active, n_ways).
    way : IntArray
        Which of them each point goes, shape (n_points,).
    """

    segment: IntArray
    way: IntArray

    def take(self, points: IntArray | slice) -> Guesses:
        """Return the guesses of some of the points, to be noted in the same place."""
        return Guesses(self.segment, self.way[points])

    def note(self, moving: Moving, is_quiet: BoolArray) -> None:
        """Keep the segments of points at rest for this stage and those to come."""
        last = len(self.segment) - 1
        stages = np.minimum(moving.stage, last)
        for stage in np.unique(stages[is_quiet]).tolist():
            points = np.flatnonzero(is_quiet & (stages == stage))
            ways = self.way[moving.point[points]]
            self.segment[stage:, :, ways] = moving.segment[:, points]

    def of(self, point: IntArray, stage: IntArray) -> IntArray:
        """Return the segments of points in a stage, shape (n_active, n_points)."""
        stages = np.minimum(stage, len(self.segment) - 1)
        return np.ascontiguousarray(self.segment[stages, :, self.way[point]].T)


@dataclass(frozen=True, slots=True)
class Stage:
    """Where points rest before their gates turn, or at the end.

    Parameters
    ----------
    segment : IntArray
        Shape (n_active, n_points).
    is_on, wants : BoolArray
        The gates, and how they turn there; same shape.
    """

    segment: IntArray
    is_on: BoolArray
    wants: BoolArray

    def take(self, points: IntArray) -> Stage:
        """Return the stage of some of the points."""
        return Stage(*(getattr(self, name).take(points, axis=1) for name in _STAGE))


_STAGE = tuple(field.name for field in fields(Stage))


@dataclass(frozen=True, slots=True)
class Stages:
    """The stages of points, arrays as in `Stage`, each behind a first axis of stages.

    Once a point rests, all stages that follow are as its last. `count` is the number
    of each, shape (n_points,): more than there is room for where the way is longer.
    """

    segment: IntArray
    is_on: BoolArray
    wants: BoolArray
    count: IntArray

    @staticmethod
    def empty(n_stages: int, n_active: int, n_points: int) -> Stages:
        """Return room for the stages of points."""
        shape = (n_stages, n_active, n_points)
        return Stages(
            segment=np.zeros(shape, dtype=np.int64),
            is_on=np.zeros(shape, dtype=np.bool_),
            wants=np.zeros(shape, dtype=np.bool_),
            count=np.zeros(n_points, dtype=np.int64),
        )

    @staticmethod
    def joined(parts: Sequence[Stages]) -> Stages:
        """Return the stages of the points of all parts in turn."""

        def whole(name: str) -> Any:
            return np.concatenate([getattr(part, name) for part in parts], axis=-1)

        return Stages(**{field.name: whole(field.name) for field in fields(Stages)})

    def note(self, moving: Moving, wants: BoolArray, is_quiet: BoolArray) -> None:
        """Write down points at rest; `wants` is how their gates turn."""
        self.count[moving.point[is_quiet]] = moving.stage[is_quiet] + 1
        first = int(moving.stage[is_quiet].min(initial=len(self.segment)))
        for stage in range(first, len(self.segment)):
            some = np.flatnonzero(is_quiet & (moving.stage <= stage))
            points = moving.point[some]
            self.segment[stage][:, points] = moving.segment[:, some]
            self.is_on[stage][:, points] = moving.is_on[:, some]
            self.wants[stage][:, points] = wants[:, some]

    def take(self, points: IntArray) -> Stages:
        """Return the stages of some of the points."""
        arrays = {name: getattr(self, name).take(points, axis=2) for name in _STAGE}
        return Stages(**arrays, count=self.count[points])

    def until(self, chosen: BoolArray) -> Stages:
        """Return as many stages as some of the points have."""
        last = int(self.count[chosen].max(initial=0))
        arrays = {name: getattr(self, name)[:last] for name in _STAGE}
        return Stages(**arrays, count=self.count)

    def __getitem__(self, stage: int) -> Stage:
        return Stage(*(getattr(self, name)[stage] for name in _STAGE))

    def __len__(self) -> int:
        return len(self.segment)

    @property
    def is_whole(self) -> BoolArray:
        """Points all of whose stages are there, shape (n_points,)."""
        return np.asarray((self.count > 0) & (self.count <= len(self.segment)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """How points of one network settle.

    Parameters
    ----------
    has_gate : BoolArray
        Of the active branches, shape (n_active, 1).
    max_rounds : int
        Solutions after which a point is given up.
    """

    has_gate: BoolArray
    max_rounds: int

    def settle(
        self,
        moving: Moving,
        look: Look,
        *,
        guesses: Guesses | None = None,
        notes: Guesses | None = None,
        stages: Stages | None = None,
        goal: BoolArray | None = None,
    ) -> Rest:
        """Move points until nothing changes.

        Parameters
        ----------
        guesses : Guesses or None
            Where segments start when gates have turned; where they are when None.
        notes : Guesses or None
            What is written down for others to start from.
        stages : Stages or None
            What is written down of each stage.
        goal : BoolArray or None
            Gates known to rest there, shape (n_active, n_points): a point whose gates
            turn into that has settled, and only its gates are written down.
        """
        rest: Rest | None = None
        n_points = len(moving.point)
        for round_number in range(1, self.max_rounds + 1):
            carries = self.conducts(moving.curves, moving.is_on)
            segments = Segments.of(moving.curves, moving.segment)
            seen = look(moving, segments.siemens * carries, segments.amps * carries)
            if rest is None:
                rest = Rest.unknown(len(moving.segment), n_points, len(seen.kept))
            is_quiet, has_turned, moved = self._moved(moving, seen, segments, carries)
            if notes is not None:
                notes.note(moving, is_quiet)
            if stages is not None:
                stages.note(moving, moved.is_on, is_quiet)
            if has_turned.any():
                moved = _turned(moving, moved, np.flatnonzero(has_turned), guesses)
            is_consistent = is_quiet & ~has_turned & ~seen.is_lost
            is_done = is_consistent | seen.is_lost | (round_number == self.max_rounds)
            rest.put(moving, seen, np.flatnonzero(is_done), is_consistent)
            if goal is not None:
                wanted = goal.take(moving.point, axis=1)
                is_there = has_turned & ~seen.is_lost
                is_there &= (moved.is_on == wanted).all(axis=0)
                is_there &= (moved.flips < MAX_FLIPS).all(axis=0)
                rest.arrive(moving.point[is_there], goal)
                is_done |= is_there
            alive = np.flatnonzero(~is_done)
            if not len(alive):
                break
            moving = moved if len(alive) == len(is_done) else moved.take(alive)
        assert rest is not None
        return rest

    def conducts(self, curves: Curves, is_on: BoolArray) -> BoolArray:
        """Return which branches carry current, (n_active, n_points)."""
        return conducting(is_on, curves[FORCED], curves[INVERTED])

    def _moved(
        self, moving: Moving, seen: Seen, segments: Segments, carries: BoolArray
    ) -> tuple[BoolArray, BoolArray, Moving]:
        """Return where segments rest, where gates turn, and the points moved on."""
        segment, reached = _next_segments(moving, seen.control_volts, segments, carries)
        is_quiet = (segment == moving.segment).all(axis=0)
        turns = self._turns(moving, seen.watch_volts) & is_quiet
        has_turned = turns.any(axis=0)
        moved = replace(
            moving,
            segment=segment,
            is_on=moving.is_on ^ turns,
            flips=moving.flips + turns,
            stage=moving.stage + has_turned,
            rounds=np.where(has_turned, 0, moving.rounds + 1),
            reached=reached,
        )
        return is_quiet, has_turned, moved

    def _turns(self, moving: Moving, watch_volts: FloatArray) -> BoolArray:
        """Return which gates would turn, (n_active, n_points)."""
        curves = moving.curves
        threshold = np.where(moving.is_on, curves[OFF_VOLTS], curves[ON_VOLTS])
        wanted = np.abs(watch_volts) >= threshold
        is_free = self.has_gate & (curves[FORCED] == 0.0) & (moving.flips < MAX_FLIPS)
        return np.asarray((wanted != moving.is_on) & is_free)


def _turned(
    moving: Moving, moved: Moving, turned: IntArray, guesses: Guesses | None
) -> Moving:
    """Return points moved on, those whose gates have turned on other segments.

    A gate that turns back finds the segments as it left them.
    """
    segment = moved.segment
    if guesses is not None:
        segment[:, turned] = guesses.of(moving.point[turned], moved.stage[turned])
    is_back = (moved.is_on[:, turned] == moving.last_is_on[:, turned]).all(axis=0)
    back = turned[is_back]
    segment[:, back] = moving.last_segment[:, back]
    last_segment, last_is_on = moving.last_segment.copy(), moving.last_is_on.copy()
    last_segment[:, turned] = moving.segment[:, turned]
    last_is_on[:, turned] = moving.is_on[:, turned]
    return replace(moved, last_segment=last_segment, last_is_on=last_is_on)


def _next_segments(
    moving: Moving, x: FloatArray, segments: Segments, carries: BoolArray
) -> tuple[IntArray, FloatArray]:
    """Return the segments that follow from control volts, and where steps got to.

    Newton's method, all branches at once, but one segment at a time: that keeps it from
    jumping over the regulating segment of an alternator. Where it still goes round in
    circles, partial steps from there on.
    """
    over, under = (x > segments.high) & carries, (x < segments.low) & carries
    segment = moving.segment + over - under
    is_late = (moving.rounds >= NEWTON_ROUNDS) & (over | under).any(axis=0)
    if not is_late.any():
        return segment, moving.reached
    reached = moving.reached.copy()
    first = np.flatnonzero(is_late & (moving.rounds == NEWTON_ROUNDS))
    curves = moving.curves.take(first)
    breaks = range(EDGES.start + 1, EDGES.stop - 1)
    here = np.sum([x[:, first] >= curves[place] for place in breaks], axis=0)
    segment[:, first] = np.where(carries[:, first], here, moving.segment[:, first])
    reached[:, first] = x[:, first]
    later = np.flatnonzero(is_late & (moving.rounds > NEWTON_ROUNDS))
    if len(later):
        edge = np.where(over, segments.high, segments.low)
        edge = np.where(over | under, edge, np.nan)
        share, crossing = _first_crossing(
            reached[:, later], x[:, later], edge[:, later]
        )
        segment[:, later] = moving.segment[:, later]
        segment[crossing, later] += np.where(over[crossing, later], 1, -1)
        reached[:, later] += share * (x[:, later] - reached[:, later])
    return segment, reached


def _first_crossing(
    start: FloatArray, goal: FloatArray, edge: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Return how far to go until the first branch meets its edge, and which one does.

    Parameters
    ----------
    edge : FloatArray
        nan where a branch meets none; each point has one that does.

    References
    ----------
    J. Katzenelson, "An algorithm for solving nonlinear resistor networks", Bell System
    Technical Journal 44, 1965 (from memory).
    """
    share = np.full(start.shape, np.inf)
    meets = ~np.isnan(edge)
    np.divide(edge - start, goal - start, out=share, where=meets & (goal != start))
    share[meets & (goal == start)] = 0.0
    crossing = share.argmin(axis=0)
    return np.clip(share.min(axis=0), 0.0, 1.0), crossing
