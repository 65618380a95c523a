"""Points on their way to rest: where they are, what they show, where they end.

An active branch is one that is bent or gated; the others have one line for good. Leaves
to `settling` how points move. Arrays are (active branch, point).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.solver.segments import Curves

# Turns of one gate that are chatter: pull in, drop out, pull in, drop out without
# settling (derived).
MAX_FLIPS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Moving:
    """Points that have not come to rest; they lie along the last axis of every array.

    Parameters
    ----------
    point : IntArray
        Number of each point in its batch, shape (n_points,).
    draw : IntArray
        Its tolerance draw, shape (n_points,).
    curves : Curves
        What its active branches do, shape (n_active, n_points).
    segment : IntArray
        The segment each is on, shape (n_active, n_points).
    is_on : BoolArray
        Where each gate is, shape (n_active, n_points).
    flips : IntArray
        How often each gate has turned, shape (n_active, n_points).
    stage : IntArray
        In how many rounds any gate of the point has turned, shape (n_points,).
    rounds : IntArray
        Solutions since the last of those, shape (n_points,).
    reached : FloatArray
        The control volts that partial steps have got to, shape (n_active, n_points).
        [V]
    last_segment : IntArray
        Where segments were when gates last turned, shape (n_active, n_points).
    last_is_on : BoolArray
        Where gates were before they last turned, shape (n_active, n_points).
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
        """Return points that have not moved yet.

        Parameters
        ----------
        draw : IntArray
            Shape (n_points,).
        curves, segment, is_on
            As in `Moving`.

        Returns
        -------
        Moving
            Numbered in turn.
        """
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
        """Return some of the points.

        Parameters
        ----------
        columns : IntArray
            Their places along the last axis, shape (n_some,).

        Returns
        -------
        Moving
            In that order.
        """
        return Moving(
            curves=self.curves.take(columns),
            **{name: getattr(self, name).take(columns, axis=-1) for name in _NAMES},
        )


# The fields of `Moving` that are taken along the last axis.
_NAMES = tuple(field.name for field in fields(Moving) if field.name != "curves")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a solution shows of the active branches.

    Parameters
    ----------
    control_volts, watch_volts : FloatArray
        Volts that control them, and that their gates watch, shape
        (n_active, n_points). [V]
    kept : FloatArray
        What else to keep of points at rest, shape (n_kept, n_points).
    is_lost : BoolArray
        Points that can't be solved and are given up, shape (n_points,).
    """

    control_volts: FloatArray
    watch_volts: FloatArray
    kept: FloatArray
    is_lost: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Where points came to rest.

    Parameters
    ----------
    segment, is_on, flips
        As in `Moving`, for every point of the batch.
    watch_volts, kept : FloatArray
        As in `Seen`, of the last solution. [V]
    is_settled : BoolArray
        Points that rest, shape (n_points,); False too where a gate chatters.
    is_moving : BoolArray
        Points that were given up while they still moved, shape (n_points,).
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
        """Return room for points of which nothing is known yet.

        Parameters
        ----------
        n_active, n_points, n_kept : int
            The shapes of `Moving` and `Seen`.

        Returns
        -------
        Rest
            No point settled.
        """
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
        """Write down where some of the moving points are.

        Parameters
        ----------
        moving : Moving
            The points.
        seen : Seen
            Their solution.
        columns : IntArray
            Which of them, places along the last axis.
        is_consistent : BoolArray
            Whether segments and gates fit the solution, for all of `moving`.
        """
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
        """Write down that points rest with their gates where they are known to.

        Parameters
        ----------
        points : IntArray
            Numbers of points in the batch.
        goal : BoolArray
            Gates that rest, shape (n_active, n_all_points).
        """
        self.is_on[:, points] = goal[:, points]
        self.is_settled[points] = True
        self.is_moving[points] = False


@dataclass(frozen=True, slots=True)
class Guesses:
    """Segments of leading points in each stage, for others to start from.

    A leader is a point that is settled first, as one draw of a fault for all its draws;
    the others nearly always move as it did. A stage is what lies between one turn of
    gates and the next. A guess only saves rounds: the others settle by themselves.

    Parameters
    ----------
    segment : IntArray
        What each leader rested on, shape (n_stages, n_active, n_leaders).
    leader : IntArray
        Which of them each point follows, or writes down as; shape (n_points,).
    """

    segment: IntArray
    leader: IntArray

    def take(self, points: IntArray | slice) -> Guesses:
        """Return the guesses of some of the points.

        Parameters
        ----------
        points : IntArray or slice
            Which.

        Returns
        -------
        Guesses
            In that order; what they write down goes to the same place.
        """
        return Guesses(self.segment, self.leader[points])

    def note(self, moving: Moving, is_quiet: BoolArray) -> None:
        """Write down segments of leaders, for this stage and those to come.

        Parameters
        ----------
        moving : Moving
            Leaders on their way.
        is_quiet : BoolArray
            Those whose segments rest, shape (n_moving,).
        """
        last = len(self.segment) - 1
        stages = np.minimum(moving.stage, last)
        for stage in np.unique(stages[is_quiet]).tolist():
            points = np.flatnonzero(is_quiet & (stages == stage))
            leaders = self.leader[moving.point[points]]
            self.segment[stage:, :, leaders] = moving.segment[:, points]

    def of(self, point: IntArray, stage: IntArray) -> IntArray:
        """Return the segments to start from.

        Parameters
        ----------
        point : IntArray
            Numbers of points in the batch, shape (n_some,).
        stage : IntArray
            The stage each is in, same shape.

        Returns
        -------
        IntArray
            Shape (n_active, n_some).
        """
        stages = np.minimum(stage, len(self.segment) - 1)
        return np.ascontiguousarray(self.segment[stages, :, self.leader[point]].T)
