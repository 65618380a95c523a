"""Runs of points tried with the same moves: which of them rest there.

A move is an active branch that leaves the segment or gate position it has in the base
case. Given the moves, a run is one small system for each of its points; then every
segment and gate of the car is looked at in each point, and any that would move on rules
that point out. Leaves to `nearby_points` which moves to try.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.base_case import BaseCase, Changes, Compensation
from diagnose.circuit.changes.margins import Limits, Margins
from diagnose.circuit.changes.runs import Runs, in_groups
from diagnose.circuit.solver.network import (
    CURVE_LENGTH,
    FORCED,
    SIEMENS,
    Slots,
)
from diagnose.circuit.solver.segments import Curves


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """Which active branches of runs leave the base case, and where to.

    Arrays are of shape (n_active, n_runs).

    Parameters
    ----------
    is_moved : BoolArray
        Branches that leave it.
    segment : IntArray
        Where they go.
    is_on : BoolArray
        And their gates.
    is_extra : BoolArray
        Those of `is_moved` that no slot changes as well; as many in each run.
    """

    is_moved: BoolArray
    segment: IntArray
    is_on: BoolArray
    is_extra: BoolArray

    def take(self, runs: IntArray) -> Moves:
        """Return the moves of some of the runs.

        Parameters
        ----------
        runs : IntArray
            Which, shape (n_chosen,).

        Returns
        -------
        Moves
            Of n_chosen runs.
        """
        return Moves(
            is_moved=self.is_moved[:, runs],
            segment=self.segment[:, runs],
            is_on=self.is_on[:, runs],
            is_extra=self.is_extra[:, runs],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedLines:
    """Lines of the changed branches of runs.

    Parameters
    ----------
    branch : IntArray
        Shape (n_changes, n_runs).
    siemens, amps : FloatArray
        Shape (n_changes, n_runs, n_together). [S], [A]
    is_conducting : BoolArray
        Shape (n_changes, n_runs, n_together).
    change, run, place : IntArray
        Those that are active: which change of which run each is, and which active
        branch; shape (n_changed_active,).
    limits : Limits
        Where these hold, shape (n_changed_active, n_together).
    """

    branch: IntArray
    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray
    change: IntArray
    run: IntArray
    place: IntArray
    limits: Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """Runs solved with some moves.

    Parameters
    ----------
    lines : ChangedLines
        Of their changed branches.
    found : Compensation
        The solution.
    rests : BoolArray
        Points in which nothing moves on, shape (n_runs, n_together).
    """

    lines: ChangedLines
    found: Compensation
    rests: BoolArray

    def changes(self, draw: IntArray, chosen: IntArray) -> Changes:
        """Return some of the points.

        Parameters
        ----------
        draw : IntArray
            The draw of each, shape (n_chosen,).
        chosen : IntArray
            Which they are, counted along each run and then along runs, shape
            (n_chosen,).

        Returns
        -------
        Changes
            Of n_chosen points, all of them sound.
        """
        lines, n_together = self.lines, self.rests.shape[1]

        def some(array: npt.NDArray[Any]) -> npt.NDArray[Any]:
            return array.reshape(len(array), -1).take(chosen, axis=1).T

        return Changes(
            draw,
            lines.branch[:, chosen // n_together].T,
            some(lines.siemens),
            some(lines.amps),
            some(lines.is_conducting),
            some(self.found.control_volts),
            some(self.found.compensating_amps),
            np.ones(len(chosen), dtype=np.bool_),
        )


class RunTrials:
    """Tries runs of points with given moves.

    Parameters
    ----------
    base_case : BaseCase
    margins : Margins
        Of the base case.
    """

    def __init__(self, base_case: BaseCase, margins: Margins) -> None:
        self._base_case, self._margins = base_case, margins
        solver, base = base_case.solver, base_case.base
        self._active, self._place = solver.plan.active, solver.table.place
        active = self._active
        self._segment = base.segment[:, active].T.astype(np.int64)
        self._is_on = base.is_on[:, active].T
        curves = base_case.network.curves[:, active].transpose(1, 2, 0)
        self._curves = in_groups(curves, base_case.block_length)

    def attempt(
        self,
        runs: Runs,
        branch: IntArray,
        slots: Slots,
        point: IntArray,
        moves: Moves | None = None,
    ) -> Trial:
        """Return runs solved with some moves.

        Parameters
        ----------
        runs : Runs
            n_runs of them.
        branch : IntArray
            The branches that slots change, as many in each run, shape (n_changes,
            n_runs).
        slots : Slots
            The changed branches of these and other points, its curves contiguous.
        point : IntArray
            Which of them belong to the runs, shape (n_runs, n_together).
        moves : Moves or None
            What moves from where it is in the base case, if anything.

        Returns
        -------
        Trial
            Of n_runs runs.
        """
        lines = self._lines(runs, branch, slots, point, moves)
        found = self._base_case.compensation(
            runs, lines.branch, siemens=lines.siemens, amps=lines.amps
        )
        moves_on = self._moves_on(runs, lines, found)
        return Trial(lines=lines, found=found, rests=found.is_sound & ~moves_on)

    def _moves_on(
        self, runs: Runs, lines: ChangedLines, found: Compensation
    ) -> BoolArray:
        """Return where a segment or gate leaves its place, (n_runs, n_together)."""
        margins, limits = self._margins, lines.limits
        volts = self._base_case.monitored_volts_after(
            runs, lines.branch, found.compensating_amps
        )
        watch = volts[:, len(self._active) :]
        np.abs(watch, out=watch)
        low = runs.look_up_groups(margins.low, runs.block)
        high = runs.look_up_groups(margins.high, runs.block)
        run, place = lines.run, lines.place
        volts[run, place] = found.control_volts[lines.change, run]
        low[run, place], high[run, place] = limits.low, limits.high
        pair = margins.pair_of_gate[place]
        is_gated = pair >= 0
        run, pair = run[is_gated], pair[is_gated]
        low[run, pair] = limits.least_watch[is_gated]
        high[run, pair] = limits.most_watch[is_gated]
        moves_on = volts < low
        moves_on |= volts > high
        return np.asarray(moves_on.any(axis=1))

    def _lines(
        self,
        runs: Runs,
        branch: IntArray,
        slots: Slots,
        point: IntArray,
        moves: Moves | None,
    ) -> ChangedLines:
        """Return the lines of all changed branches of runs."""
        siemens, is_conducting = _fixed_lines(slots, point, len(branch))
        change, run = np.nonzero(self._place[branch] >= 0)
        place = self._place[branch[change, run]]
        curves = slots.curves[point[run], change[:, None]].transpose(2, 0, 1)
        if moves is not None:
            # branches that only move join those that slots change
            n_own, n_runs = branch.shape
            extra_run, extra = np.nonzero(moves.is_extra.T)
            n_extra = len(extra) // n_runs
            added = self._active[extra].reshape(n_runs, n_extra).T
            branch = np.concatenate([branch, added])
            groups = runs.block[extra_run] * len(self._active) + extra
            more = runs.take(extra_run).look_up_groups(self._curves, groups)
            curves = np.concatenate([curves, more.transpose(1, 0, 2)], axis=1)
            change = np.append(change, n_own + np.tile(np.arange(n_extra), n_runs))
            run, place = np.append(run, extra_run), np.append(place, extra)
            room = np.zeros((n_extra, *siemens.shape[1:]))
            siemens = np.concatenate([siemens, room])
            is_conducting = np.concatenate([is_conducting, room > 0.0])
        limits = self._limits(
            runs, Curves.of(np.ascontiguousarray(curves)), run, place, moves
        )
        amps = np.zeros_like(siemens)
        siemens[change, run], amps[change, run] = limits.siemens, limits.amps
        is_conducting[change, run] = limits.is_conducting
        return ChangedLines(
            branch=branch,
            siemens=siemens,
            amps=amps,
            is_conducting=is_conducting,
            change=change,
            run=run,
            place=place,
            limits=limits,
        )

    def _limits(
        self,
        runs: Runs,
        curves: Curves,
        run: IntArray,
        place: IntArray,
        moves: Moves | None,
    ) -> Limits:
        """Return lines and limits of changed active branches, (n_of_these, n_together).

        `run` and `place` say whose and which each is.
        """
        rows, draw = place[:, None], runs.draw()[run]
        segment, is_on = self._segment[rows, draw], self._is_on[rows, draw]
        if moves is not None:
            is_moved = moves.is_moved[place, run]
            segment[is_moved] = moves.segment[place, run][is_moved, None]
            is_on[is_moved] = moves.is_on[place, run][is_moved, None]
        return self._margins.limits(curves, segment, is_on, rows, draw)


def _fixed_lines(
    slots: Slots, point: IntArray, n_changes: int
) -> tuple[FloatArray, BoolArray]:
    """Return slopes of changed branches as if none were active, and which conduct.

    Shape (n_changes, n_runs, n_together) each.
    """
    start = point * slots.branch.shape[1] + np.arange(n_changes)[:, None, None]
    start *= CURVE_LENGTH
    flat = slots.curves.reshape(-1)
    is_conducting = flat.take(start + FORCED) > 0.0
    return flat.take(start + SIEMENS.start) * is_conducting, is_conducting
