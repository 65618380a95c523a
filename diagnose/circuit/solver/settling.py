"""How segments and gates move until a network is consistent with itself.

Events are solved, not assumed: segments settle first, gates follow, and a gate that
keeps turning is a chattering relay. Chattering contacts count as half closed later on,
for neither open nor closed is what a person sees. Leaves to its caller what the volts
are for given segments and gates. Arrays are (active branch, point).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.solver.moving_points import (
    MAX_FLIPS,
    Guesses,
    Moving,
    Rest,
    Seen,
)
from diagnose.circuit.solver.network import (
    EDGES,
    FORCED,
    INVERTED,
    OFF_VOLTS,
    ON_VOLTS,
)
from diagnose.circuit.solver.segments import Curves, Segments, conducting

# Rounds of Newton's method before partial steps: most points settle in three; what has
# not in eight goes round in circles (measured).
NEWTON_ROUNDS = 5

# What solves points, given the slopes [S] and currents [A] of their active branches,
# shape (n_active, n_points).
Look = Callable[[Moving, FloatArray, FloatArray], Seen]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """How points of one network settle.

    Parameters
    ----------
    has_gate : BoolArray
        Which active branches have a gate, shape (n_active, 1).
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
        goal: BoolArray | None = None,
    ) -> Rest:
        """Move points until nothing changes.

        With a goal, a point counts as settled as soon as its gates are where they are
        known to rest: segments follow from gates, so the rounds left show nothing new.

        Parameters
        ----------
        moving : Moving
            Points that have not moved yet.
        look : Look
            Solves them.
        guesses : Guesses or None
            Where segments start when gates have turned; where they are when None.
        notes : Guesses or None
            What is written down for others to start from.
        goal : BoolArray or None
            Gates known to rest there, shape (n_active, n_points): a point whose gates
            turn into that has settled, and only its gates are written down.

        Returns
        -------
        Rest
            Of all points.
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
            if has_turned.any():
                moved = _turned(moving, moved, np.flatnonzero(has_turned), guesses)
            is_consistent = is_quiet & ~has_turned & ~seen.is_lost
            is_done = is_consistent | seen.is_lost | (round_number == self.max_rounds)
            rest.put(moving, seen, np.flatnonzero(is_done), is_consistent)
            if goal is not None:
                is_there = has_turned & ~seen.is_lost & _has_arrived(moved, goal)
                rest.arrive(moving.point[is_there], goal)
                is_done |= is_there
            alive = np.flatnonzero(~is_done)
            if not len(alive):
                break
            moving = moved if len(alive) == len(is_done) else moved.take(alive)
        assert rest is not None
        return rest

    def conducts(self, curves: Curves, is_on: BoolArray) -> BoolArray:
        """Return which active branches carry current.

        Parameters
        ----------
        curves : Curves
            Shape (n_active, n_points).
        is_on : BoolArray
            Their gates, same shape.

        Returns
        -------
        BoolArray
            Same shape.
        """
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


def _has_arrived(moved: Moving, goal: BoolArray) -> BoolArray:
    """Return which points have all gates where they rest, and none that chatters."""
    is_there = (moved.is_on == goal.take(moved.point, axis=1)).all(axis=0)
    return np.asarray(is_there & (moved.flips < MAX_FLIPS).all(axis=0))


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
