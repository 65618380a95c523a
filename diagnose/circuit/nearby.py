"""Operating points near a solved one: few branches changed, few others affected.

In most points nothing but the changed branches moves. In others some branch leaves its
segment or some gate turns, and joins the changed ones. Points are given up where the
way there matters: a gate that neither pulls in nor lets go by itself, a system without
digits to spare, too many changes. `operating_point` finds those from the start.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.linearised import BLOCK_POINTS, Changes, Linearised
from diagnose.circuit.nodal import (
    FORCED,
    INVERTED,
    OFF_VOLTS,
    ON_VOLTS,
    BoolArray,
    IntArray,
    Slots,
)
from diagnose.circuit.operating_point import OperatingPointSolver, fixed_siemens
from diagnose.circuit.settling import (
    Moving,
    Rest,
    Seen,
    Segments,
    Settling,
    conducting,
)

WIDTHS = (1, 2, 3, 4, 6, 8, 12, 16)
# Numbers of changes that are solved together; with more than the last, elimination
# from the start is quicker (measured).
MAX_ROUNDS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Points that lie near the base.

    Parameters
    ----------
    groups : tuple[tuple[IntArray, Changes], ...]
        Points and their changes; a point in none is the base itself.
    is_found : BoolArray
        Shape (n_points,).
    """

    groups: tuple[tuple[IntArray, Changes], ...]
    is_found: BoolArray


class Nearby:
    """Finds points near one solved state.

    Parameters
    ----------
    linear : Linearised
    must_start : BoolArray or None
        Gates that have to find their pull-in volts though they are forced off here,
        shape (n_draws, n_branches).
    """

    def __init__(self, linear: Linearised, must_start: BoolArray | None = None) -> None:
        self._linear, self._base = linear, linear.base
        self._solver, self._network = linear.solver, linear.network
        network, base, active = self._network, self._base, self._solver.plan.active
        self._active = active
        starts = np.zeros((network.n_draws, len(network.branches)), dtype=np.bool_)
        self._must_start = (starts if must_start is None else must_start)[:, active].T
        settling = self._solver.settling
        self._settling = Settling(
            has_gate=settling.has_gate,
            max_rounds=MAX_ROUNDS,
        )
        self._segment, self._is_on = base.segment[:, active].T, base.is_on[:, active].T
        self._siemens, self._amps = base.siemens[:, active].T, base.amps[:, active].T
        first, second = np.concatenate(
            [network.control[active], network.watch[active]]
        ).T
        self._looks = np.ascontiguousarray(base.volts[:, first] - base.volts[:, second])
        response = linear.response
        # fancy indexing leaves an order in memory that rows can't be taken from fast
        self._look_response = np.ascontiguousarray(
            response[:, :, first] - response[:, :, second]
        )
        every = np.arange(network.n_draws)
        self._prepare_limits(self._solver.active_curves(every, None))

    def _prepare_limits(self, curves: FloatArray) -> None:
        """Note within what volts each branch stays as it is, (n_draws, n_active)."""
        carries = self._settling.conducts(curves, self._is_on)
        segments = Segments.of(curves, self._segment)
        self._low = np.where(carries, segments.low, -np.inf).T.copy()
        self._high = np.where(carries, segments.high, np.inf).T.copy()
        is_free = self._settling.has_gate & (curves[FORCED] == 0.0)
        pulls_in = self._must_start | (is_free & self._is_on)
        self._least_watch = np.where(pulls_in, curves[ON_VOLTS], -np.inf).T.copy()
        lets_go = is_free & ~self._is_on
        self._most_watch = np.where(lets_go, curves[OFF_VOLTS], np.inf).T.copy()

    def find(
        self, draw: IntArray, slots: Slots, *, wants_changes: bool = True
    ) -> Found:
        """Return the points that lie near the base.

        Parameters
        ----------
        draw : IntArray
            The tolerance draw of each point, shape (n_points,).
        slots : Slots
            The changed branches of each point, n_points rows.
        wants_changes : bool
            False: only whether points are found is asked.
        """
        groups, moving, looks = [], [], []
        is_found = np.ones(len(draw), dtype=np.bool_)
        for points, branch, curves in _blocks(slots):
            changes = self._unmoved(draw[points], branch, curves)
            look = self._looks_of(changes)
            stays = changes.is_sound & self._stays(changes, curves, look)
            is_found[points] = stays
            groups.append((points[stays], changes.take(np.flatnonzero(stays))))
            moves = changes.is_sound & ~stays
            moving.append(points[moves])
            looks.append(look[moves])
        rest = np.concatenate([*moving, np.empty(0, dtype=np.int64)])
        if len(rest):
            seen = _seen(np.concatenate(looks).T, is_lost=np.zeros(len(rest), bool))
            batch = _Batch.of(self._solver, draw[rest], slots.take(rest))
            settled = self._settled(batch, seen)
            is_found[rest] = self._is_clear(batch, settled)
            if wants_changes:
                for points, changes in self._final(batch, settled):
                    groups.append((rest[points], changes))
        return Found(groups=tuple(groups), is_found=is_found)

    def _unmoved(self, draw: IntArray, branch: IntArray, curves: FloatArray) -> Changes:
        """Solve points with every segment and gate where it is in the base."""
        base, rows = self._base, draw[:, None]
        is_conducting = conducting(
            base.is_on[rows, branch],
            curves[..., FORCED],
            curves[..., INVERTED],
        )
        segments = Segments.of(curves.transpose(2, 0, 1), base.segment[rows, branch])
        return self._linear.changes(
            draw,
            branch,
            siemens=segments.siemens * is_conducting,
            amps=segments.amps * is_conducting,
            is_conducting=is_conducting,
        )

    def _looks_of(self, changes: Changes) -> FloatArray:
        """Return control and watch volts, shape (n_points, 2 n_active). [V]."""
        looks = self._looks[changes.draw]
        looks -= self._linear.falls(self._look_response, changes)
        return np.asarray(looks)

    def _stays(
        self, changes: Changes, curves: FloatArray, looks: FloatArray
    ) -> BoolArray:
        """Return where no segment and no gate leaves the base, (n_points,)."""
        draw = changes.draw
        control, watch = np.split(looks, 2, axis=1)
        watch = np.abs(watch)
        strays = (control < self._low[draw]) | (control > self._high[draw])
        strays |= watch < self._least_watch[draw]
        strays |= watch >= self._most_watch[draw]
        place = self._solver.place[changes.branch]
        points, slots = np.nonzero(place >= 0)
        places = place[points, slots]
        strays[points, places] = self._strays_itself(
            changes, curves, points=points, slots=slots, watch=watch[points, places]
        )
        return np.asarray(~strays.any(axis=1))

    def _strays_itself(
        self,
        changes: Changes,
        curves: FloatArray,
        *,
        points: IntArray,
        slots: IntArray,
        watch: FloatArray,
    ) -> BoolArray:
        """Return which changed active branches leave their segment or gate position."""
        draw, branch = changes.draw[points], changes.branch[points, slots]
        curve, x = curves[points, slots].T, changes.control_volts[points, slots]
        segments = Segments.of(curve, self._base.segment[draw, branch])
        leaves = (x < segments.low) | (x > segments.high)
        leaves &= changes.is_conducting[points, slots]
        is_free = self._network.has_gate[branch] & (curve[FORCED] == 0.0)
        is_on = self._base.is_on[draw, branch]
        pulls_in = self._must_start[self._solver.place[branch], draw]
        pulls_in |= is_free & is_on
        leaves |= pulls_in & (watch < curve[ON_VOLTS])
        return np.asarray(leaves | (is_free & ~is_on & (watch >= curve[OFF_VOLTS])))

    def _settled(self, batch: _Batch, first: Seen) -> Rest:
        """Let segments and gates of points follow; `first` shows them as they are."""

        def look(moving: Moving, siemens: FloatArray, amps: FloatArray) -> Seen:
            carries = self._settling.conducts(moving.curves, moving.is_on)
            looks = np.zeros((2 * len(siemens), len(moving.point)))
            is_lost = np.ones(len(moving.point), dtype=np.bool_)
            lines = _Lines(siemens, amps, carries)
            for points, changes in self._grouped(batch, moving.point, lines):
                looks[:, points] = self._looks_of(changes).T
                is_lost[points] = ~changes.is_sound
            return _seen(looks, is_lost=is_lost)

        start = Moving.start(
            batch.draw,
            batch.curves,
            segment=self._segment.take(batch.draw, axis=1),
            is_on=self._is_on.take(batch.draw, axis=1),
        )
        return self._settling.settle(start, look, first=first)

    def _final(self, batch: _Batch, rest: Rest) -> Iterator[tuple[IntArray, Changes]]:
        """Yield the changes of points that are found."""
        found = np.flatnonzero(self._is_clear(batch, rest))
        curves = batch.curves.take(found, axis=2)
        carries = self._settling.conducts(curves, rest.is_on.take(found, axis=1))
        segments = Segments.of(curves, rest.segment.take(found, axis=1))
        lines = _Lines(segments.siemens * carries, segments.amps * carries, carries)
        for points, changes in self._grouped(batch, found, lines):
            yield found[points], changes

    def _is_clear(self, batch: _Batch, rest: Rest) -> BoolArray:
        """Return where points rest and every gate decides by itself, (n_points,)."""
        curves, watch = batch.curves, np.abs(rest.watch_volts)
        is_free = self._settling.has_gate & (curves[FORCED] == 0.0)
        pulls_in = self._must_start[:, batch.draw] | (is_free & rest.is_on)
        lets_go = is_free & ~rest.is_on
        is_held = pulls_in & (watch < curves[ON_VOLTS])
        is_held |= lets_go & (watch >= curves[OFF_VOLTS])
        return np.asarray(rest.is_settled & ~is_held.any(axis=0))

    def _grouped(
        self, batch: _Batch, point: IntArray, lines: _Lines
    ) -> Iterator[tuple[IntArray, Changes]]:
        """Yield points of a batch with about as many changes each.

        Parameters
        ----------
        point : IntArray
            The points of the batch that are meant.
        lines : _Lines
            Of the active branches, in these points.
        """
        draw = batch.draw[point]
        differs = lines.siemens != self._siemens.take(draw, axis=1)
        differs |= lines.amps != self._amps.take(draw, axis=1)
        active = np.where(differs, self._active[:, None], -1)
        branch = np.concatenate([active, batch.branch[:, point]])
        whole = lines.above(batch.siemens[:, point])
        order = np.argsort(branch < 0, axis=0, kind="stable")
        count = (branch >= 0).sum(axis=0)
        for fewer, width in pairwise((-1, *WIDTHS)):
            points = np.flatnonzero((count > fewer) & (count <= width))
            if len(points):
                rows = order[:width, points]
                yield (
                    points,
                    self._linear.changes(
                        draw[points],
                        branch[rows, points].T,
                        siemens=whole.siemens[rows, points].T,
                        amps=whole.amps[rows, points].T,
                        is_conducting=whole.is_conducting[rows, points].T,
                    ),
                )


@dataclass(frozen=True, slots=True)
class _Lines:
    """Lines of branches, shape (n_branches, n_points) each."""

    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray

    def above(self, siemens: FloatArray) -> _Lines:
        """Return these lines with resistors below them."""
        return _Lines(
            np.concatenate([self.siemens, siemens]),
            np.concatenate([self.amps, np.zeros_like(siemens)]),
            np.concatenate([self.is_conducting, siemens > 0.0]),
        )


@dataclass(frozen=True, slots=True)
class _Batch:
    """Points with their changed branches, the points along the last axis.

    `curves` are those of the active branches; `branch` and `siemens` the fixed
    branches that are changed, shape (n_slots, n_points), -1 marking an unused slot.
    """

    draw: IntArray
    curves: FloatArray
    branch: IntArray
    siemens: FloatArray

    @staticmethod
    def of(solver: OperatingPointSolver, draw: IntArray, slots: Slots) -> _Batch:
        is_fixed = (slots.branch >= 0) & (solver.place[slots.branch] < 0)
        return _Batch(
            draw,
            solver.active_curves(draw, slots),
            np.where(is_fixed, slots.branch, -1).T,
            fixed_siemens(slots.curves).T,
        )


def _seen(looks: FloatArray, *, is_lost: BoolArray) -> Seen:
    control, watch = np.split(looks, 2)
    return Seen(
        control_volts=control, watch_volts=watch, kept=looks[:0], is_lost=is_lost
    )


def _blocks(slots: Slots) -> Iterator[tuple[IntArray, IntArray, FloatArray]]:
    """Yield points with the same number of changed branches, a block at a time.

    Points with none are left out.

    Yields
    ------
    points : IntArray
        Shape (n_points,).
    branch : IntArray
        Shape (n_points, n_changes), all used.
    curves : FloatArray
        Shape (n_points, n_changes, CURVE_LENGTH).
    """
    count = (slots.branch >= 0).sum(axis=1)
    for width in np.unique(count[count > 0]).tolist():
        points = np.flatnonzero(count == width)
        for start in range(0, len(points), BLOCK_POINTS):
            some = points[start : start + BLOCK_POINTS]
            yield some, slots.branch[some, :width], slots.curves[some, :width]
