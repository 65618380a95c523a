"""Operating points near a solved one: few branches changed, few others affected.

In most points nothing but the changed branches moves. In others some branch leaves its
segment or some gate turns, and joins the changed ones: one draw of a fault is settled,
and the others are tried with the same moves, which nearly always are theirs too; every
segment and gate is looked at in each. Points are given up where the way there matters:
a gate that neither pulls in nor lets go by itself, a system without digits to spare,
too many changes. `operating_point` finds those from the start.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.linearised import BLOCK_POINTS, Changes, Linearised
from diagnose.circuit.changes.margins import Limits, Margins
from diagnose.circuit.changes.runs import Runs, in_blocks
from diagnose.circuit.changes.single_points import Batch, Pilots
from diagnose.circuit.solver.moving_points import Rest
from diagnose.circuit.solver.network import (
    CURVE_LENGTH,
    FORCED,
    SIEMENS,
    Slots,
)
from diagnose.circuit.solver.segments import Curves

MOST_ROUNDS = 40
# Derived: five times what a pilot is given, for stages of gates that turn.
MAX_PILOTS = 2
# Measured: the draws of a fault go one way or two; a third is rare.
FEW_GROUPED = 512
# Measured: for fewer the number of groups counts, not what is copied.
FEW_POINTS = 64
# Measured: more that go neither way are solved from the start as soon.


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
        The solved state.
    must_start, must_rest : BoolArray or None
        Gates that have to find their pull-in volts though they are forced off here, and
        those that must not find the volts to stay on, shape (n_draws, n_branches).

    Attributes
    ----------
    margins : Margins
        Within what volts nothing moves.
    """

    def __init__(
        self,
        linear: Linearised,
        *,
        must_start: BoolArray | None = None,
        must_rest: BoolArray | None = None,
    ) -> None:
        self.linear, self._solver = linear, linear.solver
        network, base, active = linear.network, linear.base, self._solver.plan.active
        self._active, self._length = active, linear.length
        none = np.zeros((network.n_draws, len(network.branches)), dtype=np.bool_)
        must_start = (none if must_start is None else must_start)[:, active].T
        must_rest = (none if must_rest is None else must_rest)[:, active].T
        self._pilots = Pilots(linear, must_start, must_rest)
        self.margins = Margins(linear, must_start, must_rest)
        self._segment = base.segment[:, active].T.astype(np.int64)
        self._is_on = base.is_on[:, active].T
        blocks = in_blocks(network.curves[:, active].transpose(1, 2, 0), self._length)
        self._curves = blocks.reshape(-1, *blocks.shape[2:])
        seen = linear.look_volts.copy()
        np.abs(seen[:, len(active) :], out=seen[:, len(active) :])
        strays = (seen < self.margins.low) | (seen > self.margins.high)
        self._base_rests = ~strays.any(axis=1).ravel()

    def find(
        self,
        draw: IntArray,
        slots: Slots,
        *,
        n_together: int,
        is_wanted: BoolArray,
        wants_changes: bool = True,
    ) -> Found:
        """Return the points that lie near the base.

        Parameters
        ----------
        draw : IntArray
            The tolerance draw of each point, shape (n_points,); -1 for runs of points
            that are not asked for.
        slots : Slots
            The changed branches of each point, n_points rows.
        n_together : int
            Points that follow each other and differ in nothing but the draw, see
            `Runs.of_points`.
        is_wanted : BoolArray
            The points that are asked for, shape (n_points,).
        wants_changes : bool
            False: only whether points are found is asked.
        """
        is_left = is_wanted.reshape(-1, n_together)
        asked = np.flatnonzero(is_left.any(axis=1))
        first = asked * n_together
        points = (first[:, None] + np.arange(n_together)).ravel()
        search = _Search(
            runs=Runs.of_points(draw[points], self._length, n_together),
            first=first,
            draw=draw,
            branch=slots.branch[first],
            slots=Slots(branch=slots.branch, curves=np.ascontiguousarray(slots.curves)),
            is_left=is_left[asked],
            is_found=np.zeros((len(first), n_together), dtype=np.bool_),
            groups=[] if wants_changes else None,
        )
        count = (search.branch >= 0).sum(axis=1)
        is_base = self._base_rests[search.runs.draw()] & (count == 0)[:, None]
        search.find(search.is_left & is_base, slice(None))
        search.is_left[count == 0] = False
        for some in _alike(count, n_together):
            self._try(search, some)
        for _ in range(MAX_PILOTS if n_together > 1 else 0):
            self._follow_pilots(search)
        n_left = np.count_nonzero(search.is_left)
        if n_left and (n_together == 1 or n_left < FEW_POINTS):
            self._settle(search, *np.nonzero(search.is_left))
        is_found = np.zeros(len(draw), dtype=np.bool_)
        is_found[points] = search.is_found.ravel()
        groups = tuple(_joined(search.groups or ()))
        return Found(groups=groups, is_found=is_found)

    def _settle(
        self, search: _Search, runs: IntArray, places: IntArray
    ) -> tuple[Rest, BoolArray]:
        """Let points move until they rest; return how, and which of them are found.

        Parameters
        ----------
        runs, places : IntArray
            The run of each point, and its place there, shape (n_points,).
        """
        points = search.first[runs] + places
        batch = Batch.of(self._solver, search.draw[points], search.slots.take(points))
        rest = self._pilots.settled(batch)
        is_clear = self._pilots.is_clear(batch, rest)
        search.is_left[runs[is_clear], places[is_clear]] = False
        search.is_found[runs[is_clear], places[is_clear]] = True
        if search.groups is not None:
            for found, changes in self._pilots.changes(batch, rest):
                search.groups.append((points[found], changes))
        return rest, is_clear

    def _follow_pilots(self, search: _Search) -> None:
        """Settle one point of each run that is left; let the others move as it did."""
        runs = np.flatnonzero(search.is_left.any(axis=1))
        if not len(runs):
            return
        places = search.is_left[runs].argmax(axis=1)
        rest, is_clear = self._settle(search, runs, places)
        search.is_left[runs[~is_clear]] = False
        draw = search.draw[search.first[runs] + places]
        moved = rest.segment != self._segment.take(draw, axis=1)
        moved |= rest.is_on != self._is_on.take(draw, axis=1)
        follow = np.flatnonzero(is_clear & search.is_left[runs].any(axis=1))
        runs = runs[follow]
        branch = search.branch[runs]
        moves = _Moves(
            is_moved=moved[:, follow],
            segment=rest.segment[:, follow],
            is_on=rest.is_on[:, follow],
            is_extra=moved[:, follow],
        )
        each, columns = np.nonzero(self._solver.table.place[branch] >= 0)
        places = self._solver.table.place[branch[each, columns]]
        moves.is_extra[places, each] = False
        count = (branch >= 0).sum(axis=1) * len(self._active)
        count += moves.is_extra.sum(axis=0)
        for some in _alike(count, search.runs.n_together):
            self._try(search, runs[some], moves.take(some))

    def _try(
        self, search: _Search, some: IntArray, moves: _Moves | None = None
    ) -> None:
        """Take the points of some runs off the search that rest with these moves.

        Parameters
        ----------
        some : IntArray
            Runs with as many changes each.
        moves : _Moves or None
            What moves from where it is in the base, if anything.
        """
        runs = search.runs.take(some)
        trial = self._trial(search, some, runs, moves)
        x, extra_amps, loss = self.linear.extra_amps(
            runs, trial.branch, siemens=trial.siemens, amps=trial.amps
        )
        strays = self._strays(runs, trial, x, extra_amps)
        rests = (loss < 1.0) & search.is_left[some] & ~strays
        search.find(rests, some)
        if search.groups is not None:
            kept = np.flatnonzero(rests)
            n_together = rests.shape[1]
            points = search.first[some[kept // n_together]] + kept % n_together
            changes = trial.changes(search.draw[points], kept, x, extra_amps)
            search.groups.append((points, changes))

    def _strays(
        self, runs: Runs, trial: _Trial, x: FloatArray, extra_amps: FloatArray
    ) -> BoolArray:
        """Return where a segment or gate leaves its place, (n_runs, n_together)."""
        looks = self.linear.looked_volts(runs, trial.branch, extra_amps)
        watch = looks[:, len(self._active) :]
        np.abs(watch, out=watch)
        low = runs.whole(self.margins.low, runs.block)
        high = runs.whole(self.margins.high, runs.block)
        run, limits = trial.run, trial.limits
        looks[run, trial.place] = x[trial.change, run]
        low[run, trial.place], high[run, trial.place] = limits.low, limits.high
        gate = self.margins.look_of_gate[trial.place]
        is_gated = gate >= 0
        run, gate = run[is_gated], gate[is_gated]
        low[run, gate] = limits.least_watch[is_gated]
        high[run, gate] = limits.most_watch[is_gated]
        strays = looks < low
        strays |= looks > high
        return np.asarray(strays.any(axis=1))

    def _trial(
        self, search: _Search, some: IntArray, runs: Runs, moves: _Moves | None
    ) -> _Trial:
        """Return the lines of all changed branches of some runs."""
        n_together, slots = runs.n_together, search.slots
        branch = search.branch[some]
        branch = branch[:, : int((branch[0] >= 0).sum())].T
        point = search.first[some][:, None] + np.arange(n_together)
        start = point * slots.branch.shape[1] + np.arange(len(branch))[:, None, None]
        start *= CURVE_LENGTH
        flat = slots.curves.reshape(-1)
        is_conducting = flat.take(start + FORCED) > 0.0
        siemens = flat.take(start + SIEMENS.start) * is_conducting
        change, run = np.nonzero(self._solver.table.place[branch] >= 0)
        place = self._solver.table.place[branch[change, run]]
        curves = slots.curves[point[run], change[:, None]].transpose(2, 0, 1)
        if moves is not None:
            n_own, (extra_run, extra) = len(branch), np.nonzero(moves.is_extra.T)
            n_extra = len(extra) // len(some)
            added = self._active[extra].reshape(len(some), n_extra).T
            branch = np.concatenate([branch, added])
            groups = runs.block[extra_run] * len(self._active) + extra
            more = runs.take(extra_run).whole(self._curves, groups)
            curves = np.concatenate([curves, more.transpose(1, 0, 2)], axis=1)
            change = np.append(change, n_own + np.tile(np.arange(n_extra), len(some)))
            run, place = np.append(run, extra_run), np.append(place, extra)
            room = np.zeros((n_extra, *siemens.shape[1:]))
            siemens = np.concatenate([siemens, room])
            is_conducting = np.concatenate([is_conducting, room > 0.0])
        limits = self._limits_after(
            runs,
            Curves.of(np.ascontiguousarray(curves)),
            run=run,
            place=place,
            moves=moves,
        )
        amps = np.zeros_like(siemens)
        siemens[change, run], amps[change, run] = limits.siemens, limits.amps
        is_conducting[change, run] = limits.is_conducting
        return _Trial(
            branch=branch,
            siemens=siemens,
            amps=amps,
            is_conducting=is_conducting,
            change=change,
            run=run,
            place=place,
            limits=limits,
        )

    def _limits_after(
        self,
        runs: Runs,
        curves: Curves,
        *,
        run: IntArray,
        place: IntArray,
        moves: _Moves | None,
    ) -> Limits:
        """Return lines and limits of active branches that may have moved.

        Parameters
        ----------
        curves : Curves
            Shape (n_branches, n_together).
        run, place : IntArray
            Whose and which branch each is, shape (n_branches,).
        """
        rows, draw = place[:, None], runs.draw()[run]
        segment, is_on = self._segment[rows, draw], self._is_on[rows, draw]
        if moves is not None:
            is_moved = moves.is_moved[place, run]
            segment[is_moved] = moves.segment[place, run][is_moved, None]
            is_on[is_moved] = moves.is_on[place, run][is_moved, None]
        return self.margins.limits(curves, segment, is_on, rows, draw)

    def ends(
        self, draw: IntArray, slots: Slots, is_on: BoolArray, goal: BoolArray
    ) -> tuple[BoolArray, BoolArray]:
        """Return how gates end, whichever way they begin.

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
        rests : BoolArray
            False where that was not found out, shape (n_points,).
        """
        batch = Batch.of(self._solver, draw, slots)
        rest = self._pilots.settled(
            batch,
            is_on[:, self._active].T,
            max_rounds=MOST_ROUNDS,
            goal=goal[:, self._active].T,
        )
        result = np.zeros_like(is_on)
        result[:, self._active] = rest.is_on.T
        return result, rest.is_settled


@dataclass(slots=True, kw_only=True)
class _Search:
    """Runs of points that are being found.

    `first` is the first point of each run, and `branch` its changed branches;
    `is_left` says which points are not found yet, and `is_found` which are, shape
    (n_runs, n_together). What neither says is given up. `groups` gathers points and
    their changes, None where nobody asks for them.
    """

    runs: Runs
    first: IntArray
    draw: IntArray
    branch: IntArray
    slots: Slots
    is_left: BoolArray
    is_found: BoolArray
    groups: list[tuple[IntArray, Changes]] | None

    def find(self, mask: BoolArray, runs: IntArray | slice) -> None:
        """Note points of some runs as found."""
        self.is_left[runs] &= ~mask
        self.is_found[runs] |= mask


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moves:
    """Which active branches of runs leave the base, and for where: (n_active, n_runs).

    `is_extra` are those that are not changed from outside as well.
    """

    is_moved: BoolArray
    segment: IntArray
    is_on: BoolArray
    is_extra: BoolArray

    def take(self, runs: IntArray) -> _Moves:
        return _Moves(
            is_moved=self.is_moved[:, runs],
            segment=self.segment[:, runs],
            is_on=self.is_on[:, runs],
            is_extra=self.is_extra[:, runs],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trial:
    """Lines of the changed branches of runs, shape (n_changes, n_runs, n_together).

    Some are active: `change`, `run` and `place` say which, one number each, and
    `limits` where they hold, shape (n_of_these, n_together).
    """

    branch: IntArray
    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray
    change: IntArray
    run: IntArray
    place: IntArray
    limits: Limits

    def changes(
        self, draw: IntArray, kept: IntArray, x: FloatArray, extra_amps: FloatArray
    ) -> Changes:
        """Return some of the points, counted along runs and then along each run."""
        n_together = x.shape[2]

        def some(array: npt.NDArray[Any]) -> npt.NDArray[Any]:
            return array.reshape(len(array), -1).take(kept, axis=1).T

        return Changes(
            draw,
            self.branch[:, kept // n_together].T,
            some(self.siemens),
            some(self.amps),
            some(self.is_conducting),
            some(x),
            some(extra_amps),
            np.ones(len(kept), dtype=np.bool_),
        )


def _joined(
    groups: Sequence[tuple[IntArray, Changes]],
) -> Iterator[tuple[IntArray, Changes]]:
    """Yield groups of points, those of few together that have as many changes."""
    small: dict[int, list[tuple[IntArray, Changes]]] = {}
    for points, lines in groups:
        if len(points) >= FEW_GROUPED:
            yield points, lines
        elif len(points):
            small.setdefault(lines.branch.shape[1], []).append((points, lines))
    for parts in small.values():
        yield (
            np.concatenate([points for points, _ in parts]),
            Changes.joined([lines for _, lines in parts]),
        )


def _alike(count: IntArray, n_together: int) -> Iterator[IntArray]:
    """Yield runs with the same count, above zero, a block at a time."""
    for each in np.unique(count[count > 0]).tolist():
        runs = np.flatnonzero(count == each)
        at_once = max(1, BLOCK_POINTS // n_together)
        for start in range(0, len(runs), at_once):
            yield runs[start : start + at_once]
