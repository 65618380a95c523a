"""Points near the base case, each settled by itself as a small change of it.

Segments and gates are followed until nothing changes; whatever leaves the line it has
in the base case joins the changed branches. Leaves to `nearby_points` which points to
settle, and which others go as they do. Arrays are (active branch, point).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.base_case import BaseCase, Changes
from diagnose.circuit.changes.margins import HeldOffGates
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

# Numbers of changes up to which points are solved together, no unit. Measured: with
# more than the last, elimination from the start is quicker.
WIDTHS = (1, 2, 3, 4, 6, 8, 12, 16)

# Points from which on it pays to sort them by `WIDTHS`. Measured: with fewer the number
# of calls counts, not that of changes.
LEAST_SORTED_POINTS = 512

# Solutions after which a point is given up here, to be solved from the start. Measured:
# most rest after three, and what has not is solved from the start in a few more.
MAX_ROUNDS = 8

# As many where only gates are asked for, and where they rest is known. Derived: five
# times as many, for gates that turn one after the other.
MAX_ROUNDS_OF_GATES = 40


class SinglePoints:
    """Settles points one by one as small changes of a base case.

    Parameters
    ----------
    base_case : BaseCase
    held_off : HeldOffGates
        What is asked of gates that are held off there.
    """

    def __init__(self, base_case: BaseCase, held_off: HeldOffGates) -> None:
        self._base_case, self._held_off = base_case, held_off
        solver, base = base_case.solver, base_case.base
        self._solver, self._active = solver, solver.plan.active
        active = self._active
        self._gated = np.flatnonzero(base_case.network.has_gate[active])
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
        """Return where points rest, their segments and gates moved until they do.

        Parameters
        ----------
        batch : Batch
            The points.
        is_on : BoolArray or None
            How gates begin, shape (n_active, n_points); as in the base case when None.
        max_rounds : int
            Solutions after which a point is given up.
        goal : BoolArray or None
            Where gates are known to rest, see `Settling.settle`.

        Returns
        -------
        Rest
            Of n_points points.
        """
        if is_on is None:
            is_on = self._is_on.take(batch.draw, axis=1)

        def look(moving: Moving, siemens: FloatArray, amps: FloatArray) -> Seen:
            carries = self._settling.conducts(moving.curves, moving.is_on)
            volts = np.zeros((len(self._base_case.monitored), len(moving.point)))
            is_lost = np.ones(len(moving.point), dtype=np.bool_)
            lines = _Lines(siemens, amps, carries)
            for points, changes in self._grouped(batch, moving.point, lines):
                runs = Runs.of_points(changes.draw, self._base_case.block_length, 1)
                found = self._base_case.monitored_volts_after(
                    runs, changes.branch.T, changes.compensating_amps.T[..., None]
                )
                volts[:, points] = found[..., 0].T
                is_lost[points] = ~changes.is_sound
            return self._seen(volts, is_lost=is_lost)

        start = Moving.start(
            batch.draw,
            batch.curves,
            segment=self._segment.take(batch.draw, axis=1),
            is_on=np.ascontiguousarray(is_on),
        )
        return replace(self._settling, max_rounds=max_rounds).settle(
            start, look, goal=goal
        )

    def _seen(self, monitored_volts: FloatArray, *, is_lost: BoolArray) -> Seen:
        n_active = len(self._active)
        watch = np.zeros((n_active, monitored_volts.shape[1]))
        watch[self._gated] = monitored_volts[n_active:]
        return Seen(
            control_volts=monitored_volts[:n_active],
            watch_volts=watch,
            kept=monitored_volts[:0],
            is_lost=is_lost,
        )

    def changes(self, batch: Batch, rest: Rest) -> Iterator[tuple[IntArray, Changes]]:
        """Yield the changes of points that rest clearly, see `is_clear`.

        Parameters
        ----------
        batch : Batch
            The points.
        rest : Rest
            Where they rest.

        Yields
        ------
        points : IntArray
            Some of them.
        changes : Changes
            Of these.
        """
        found = np.flatnonzero(self.is_clear(batch, rest))
        curves = batch.curves.take(found)
        carries = self._settling.conducts(curves, rest.is_on.take(found, axis=1))
        segments = Segments.of(curves, rest.segment.take(found, axis=1))
        lines = _Lines(segments.siemens * carries, segments.amps * carries, carries)
        for points, changes in self._grouped(batch, found, lines):
            yield found[points], changes

    def is_clear(self, batch: Batch, rest: Rest) -> BoolArray:
        """Return which points rest with every gate deciding by itself.

        Parameters
        ----------
        batch : Batch
            The points.
        rest : Rest
            Where they rest.

        Returns
        -------
        BoolArray
            Shape (n_points,).
        """
        curves, watch = batch.curves, np.abs(rest.watch_volts)
        is_free = self._settling.has_gate & (curves[FORCED] == 0.0)
        place = np.arange(len(self._active))[:, None]
        pulls_in, lets_go = self._held_off.needs(place, batch.draw, is_free, rest.is_on)
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
        widths = WIDTHS if len(count) > LEAST_SORTED_POINTS else (most,)
        for fewer, width in pairwise((-1, *widths)):
            points = np.flatnonzero((count > fewer) & (count <= width))
            if len(points):
                rows = order[:width, points]
                yield (
                    points,
                    self._base_case.changes(
                        draw[points],
                        branch[rows, points].T,
                        siemens=whole.siemens[rows, points].T,
                        amps=whole.amps[rows, points].T,
                        is_conducting=whole.is_conducting[rows, points].T,
                    ),
                )

    def gate_ends(
        self, draw: IntArray, slots: Slots, is_on: BoolArray, goal: BoolArray
    ) -> tuple[BoolArray, BoolArray]:
        """Return how gates end that begin in some way.

        Parameters
        ----------
        draw : IntArray
            The tolerance draw of each point, shape (n_points,).
        slots : Slots
            The changed branches of each point, n_points rows.
        is_on : BoolArray
            How gates begin, shape (n_points, n_branches).
        goal : BoolArray
            Where they are known to rest, same shape.

        Returns
        -------
        is_on : BoolArray
            How they end, same shape.
        is_known : BoolArray
            False where that was not found out, shape (n_points,).
        """
        rest = self.settled(
            Batch.of(self._solver, draw, slots),
            is_on[:, self._active].T,
            max_rounds=MAX_ROUNDS_OF_GATES,
            goal=goal[:, self._active].T,
        )
        result = np.zeros_like(is_on)
        result[:, self._active] = rest.is_on.T
        return result, rest.is_settled


@dataclass(frozen=True, slots=True)
class Batch:
    """Points with their changed branches, the points along the last axis.

    Parameters
    ----------
    draw : IntArray
        Shape (n_points,).
    curves : Curves
        Of the active branches, shape (n_active, n_points).
    branch : IntArray
        The fixed branches that are changed, shape (n_slots, n_points); -1 marks an
        unused slot.
    siemens : FloatArray
        Their slopes, same shape. [S]
    """

    draw: IntArray
    curves: Curves
    branch: IntArray
    siemens: FloatArray

    @staticmethod
    def of(solver: OperatingPointSolver, draw: IntArray, slots: Slots) -> Batch:
        """Return points with their changed branches.

        Parameters
        ----------
        solver : OperatingPointSolver
            Of the network that is changed.
        draw : IntArray
            Shape (n_points,).
        slots : Slots
            The changed branches, n_points rows.

        Returns
        -------
        Batch
            Of n_points points.
        """
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
