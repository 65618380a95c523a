"""Points near a solved one, each settled by itself as a small change of it.

Segments and gates are followed until nothing changes; whatever leaves the line it has
in the base joins the changed branches. Leaves to `nearby` which points to settle, and
what else goes as they do. Arrays are (active branch, point).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.linearised import Changes, Linearised
from diagnose.circuit.changes.runs import Runs
from diagnose.circuit.solver.branch_table import fixed_siemens
from diagnose.circuit.solver.moving_points import Moving, Rest, Seen
from diagnose.circuit.solver.network import (
    FORCED,
    OFF_VOLTS,
    ON_VOLTS,
    Slots,
)
from diagnose.circuit.solver.point_solver import OperatingPointSolver
from diagnose.circuit.solver.segments import Curves, Segments
from diagnose.circuit.solver.settling import Settling

WIDTHS = (1, 2, 3, 4, 6, 8, 12, 16)
# Numbers of changes that are solved together; with more than the last, elimination
# from the start is quicker (measured).
FEW_POINTS = 512
# Measured: with fewer the number of calls counts, not that of changes.
MAX_ROUNDS = 8
# Measured: most rest in three; what has not is solved from the start in a few more.


class Pilots:
    """Settles points as small changes of one solved state.

    Parameters
    ----------
    linear : Linearised
        The solved state.
    must_start, must_rest : BoolArray
        Gates that have to find their pull-in volts, and those that must not find the
        volts to stay on, shape (n_active, n_draws).
    """

    def __init__(
        self, linear: Linearised, must_start: BoolArray, must_rest: BoolArray
    ) -> None:
        self._linear, self._must_start, self._must_rest = linear, must_start, must_rest
        solver, base, self._length = linear.solver, linear.base, linear.length
        self._active = active = solver.plan.active
        self._gated = np.flatnonzero(linear.network.has_gate[active])
        has_gate = solver.settling.has_gate
        self._settling = Settling(has_gate=has_gate, max_rounds=MAX_ROUNDS)
        self._segment = base.segment[:, active].T.astype(np.int64)
        self._is_on = base.is_on[:, active].T
        self._siemens, self._amps = base.siemens[:, active].T, base.amps[:, active].T

    def settled(
        self,
        batch: Batch,
        is_on: BoolArray | None = None,
        *,
        max_rounds: int = MAX_ROUNDS,
        goal: BoolArray | None = None,
    ) -> Rest:
        """Let segments and gates of points follow, until they rest.

        Parameters
        ----------
        is_on : BoolArray or None
            How gates begin, shape (n_active, n_points); as in the base when None.
        max_rounds : int
            Solutions after which a point is given up.
        goal : BoolArray or None
            Where gates are known to rest, see `Settling.settle`.
        """
        if is_on is None:
            is_on = self._is_on.take(batch.draw, axis=1)

        def look(moving: Moving, siemens: FloatArray, amps: FloatArray) -> Seen:
            carries = self._settling.conducts(moving.curves, moving.is_on)
            looks = np.zeros((len(self._linear.looks), len(moving.point)))
            is_lost = np.ones(len(moving.point), dtype=np.bool_)
            lines = _Lines(siemens, amps, carries)
            for points, changes in self._grouped(batch, moving.point, lines):
                runs = Runs.of_points(changes.draw, self._length, 1)
                seen = self._linear.looked_volts(
                    runs, changes.branch.T, changes.extra_amps.T[..., None]
                )
                looks[:, points] = seen[..., 0].T
                is_lost[points] = ~changes.is_sound
            return self._seen(looks, is_lost=is_lost)

        start = Moving.start(
            batch.draw,
            batch.curves,
            segment=self._segment.take(batch.draw, axis=1),
            is_on=np.ascontiguousarray(is_on),
        )
        return replace(self._settling, max_rounds=max_rounds).settle(
            start, look, goal=goal
        )

    def _seen(self, looks: FloatArray, *, is_lost: BoolArray) -> Seen:
        n_active = len(self._active)
        watch = np.zeros((n_active, looks.shape[1]))
        watch[self._gated] = looks[n_active:]
        return Seen(
            control_volts=looks[:n_active],
            watch_volts=watch,
            kept=looks[:0],
            is_lost=is_lost,
        )

    def changes(self, batch: Batch, rest: Rest) -> Iterator[tuple[IntArray, Changes]]:
        """Yield the changes of points that are found."""
        found = np.flatnonzero(self.is_clear(batch, rest))
        curves = batch.curves.take(found)
        carries = self._settling.conducts(curves, rest.is_on.take(found, axis=1))
        segments = Segments.of(curves, rest.segment.take(found, axis=1))
        lines = _Lines(segments.siemens * carries, segments.amps * carries, carries)
        for points, changes in self._grouped(batch, found, lines):
            yield found[points], changes

    def is_clear(self, batch: Batch, rest: Rest) -> BoolArray:
        """Return where points rest and every gate decides by itself, (n_points,)."""
        curves, watch = batch.curves, np.abs(rest.watch_volts)
        is_free = self._settling.has_gate & (curves[FORCED] == 0.0)
        pulls_in = self._must_start[:, batch.draw] | (is_free & rest.is_on)
        lets_go = self._must_rest[:, batch.draw] | (is_free & ~rest.is_on)
        is_held = pulls_in & (watch < curves[ON_VOLTS])
        is_held |= lets_go & (watch >= curves[OFF_VOLTS])
        return np.asarray(rest.is_settled & ~is_held.any(axis=0))

    def _grouped(
        self, batch: Batch, point: IntArray, lines: _Lines
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
        most = min(int(count.max(initial=0)), WIDTHS[-1])
        widths = WIDTHS if len(count) > FEW_POINTS else (most,)
        for fewer, width in pairwise((-1, *widths)):
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
class Batch:
    """Points with their changed branches, the points along the last axis.

    `curves` are those of the active branches; `branch` and `siemens` the fixed
    branches that are changed, shape (n_slots, n_points), -1 marking an unused slot.
    """

    draw: IntArray
    curves: Curves
    branch: IntArray
    siemens: FloatArray

    @staticmethod
    def of(solver: OperatingPointSolver, draw: IntArray, slots: Slots) -> Batch:
        """Return points with their changed branches."""
        is_fixed = (slots.branch >= 0) & (solver.table.place[slots.branch] < 0)
        return Batch(
            draw,
            solver.table.active_curves(draw, slots),
            np.where(is_fixed, slots.branch, -1).T,
            fixed_siemens(slots.curves).T,
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
