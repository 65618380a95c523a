"""Operating points near a solved one: few branches changed, few others affected.

In most points nothing but the changed branches moves. In others some branch leaves its
segment or some gate turns, and joins the changed ones: one draw of a fault is settled,
and the others are tried with the same moves, which nearly always are theirs too; every
segment and gate is looked at in each. Points are given up where the way there matters:
a gate that neither pulls in nor lets go by itself, a system without digits to spare,
too many changes. `operating_point` finds those from the start.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.linearised import BLOCK_POINTS, Changes, Linearised
from diagnose.circuit.nodal import (
    CURVE_LENGTH,
    FORCED,
    INVERTED,
    OFF_VOLTS,
    ON_VOLTS,
    SIEMENS,
    BoolArray,
    IntArray,
    Slots,
)
from diagnose.circuit.operating_point import OperatingPointSolver, fixed_siemens
from diagnose.circuit.runs import Runs, in_blocks
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
FEW_POINTS = 512
# Measured: with fewer the number of calls counts, not that of changes.
MAX_ROUNDS = 10
# Measured: most rest in three; what has not is solved from the start in a few more.
MOST_ROUNDS = 40
# Derived: four stages of gates that turn, each as many as above.
MAX_PILOTS = 2
# Measured: the draws of a fault go one way or two; a third is rare.


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
    """

    def __init__(
        self,
        linear: Linearised,
        *,
        must_start: BoolArray | None = None,
        must_rest: BoolArray | None = None,
    ) -> None:
        self.linear, self._base = linear, linear.base
        self._solver, self._network = linear.solver, linear.network
        network, base, active = self._network, self._base, self._solver.plan.active
        self._active, self._length = active, linear.length
        none = np.zeros((network.n_draws, len(network.branches)), dtype=np.bool_)
        self._must_start = (none if must_start is None else must_start)[:, active].T
        self._must_rest = (none if must_rest is None else must_rest)[:, active].T
        settling = self._solver.settling
        self._settling = Settling(has_gate=settling.has_gate, max_rounds=MAX_ROUNDS)
        self._segment, self._is_on = base.segment[:, active].T, base.is_on[:, active].T
        self._siemens, self._amps = base.siemens[:, active].T, base.amps[:, active].T
        self._gated = np.flatnonzero(network.has_gate[active])
        self._look_of_gate = np.full(len(active), -1)
        self._look_of_gate[self._gated] = len(active) + np.arange(len(self._gated))
        first, second = linear.looks.T
        looks = (base.volts[:, first] - base.volts[:, second]).T
        self._looks = in_blocks(looks, self._length)
        curves = self._solver.active_curves(np.arange(network.n_draws), None)
        blocks = in_blocks(curves.transpose(1, 0, 2), self._length)
        self._curves = blocks.reshape(-1, *blocks.shape[2:])
        limits = self._limits(
            curves,
            self._segment,
            self._is_on,
            np.arange(len(active))[:, None],
            np.arange(network.n_draws),
        )
        gated = self._gated
        self._low = np.concatenate([limits.low, limits.least_watch[gated]])
        self._low = in_blocks(self._low, self._length)
        self._high = np.concatenate([limits.high, limits.most_watch[gated]])
        self._high = in_blocks(self._high, self._length)
        seen = self._looks.copy()
        np.abs(seen[:, len(active) :], out=seen[:, len(active) :])
        strays = (seen < self._low) | (seen > self._high)
        self._base_rests = ~strays.any(axis=1).ravel()

    def _limits(
        self,
        curves: FloatArray,
        segment: IntArray,
        is_on: BoolArray,
        place: IntArray,
        draw: IntArray,
    ) -> _Limits:
        """Return the lines of active branches, and within what volts they hold.

        Arguments are shaped as each other, `curves` with the places of a curve first;
        `place` says which active branch, `draw` which draw. A gate holds where it
        decides by itself: on, with its pull-in volts there; off, without those to stay
        on.
        """
        forced = curves[FORCED]
        carries = conducting(is_on, forced, curves[INVERTED])
        segments = Segments.of(curves, segment)
        is_free = self._settling.has_gate[place, 0] & (forced == 0.0)
        pulls_in = self._must_start[place, draw] | (is_free & is_on)
        lets_go = self._must_rest[place, draw] | (is_free & ~is_on)
        below_off_volts = np.nextafter(curves[OFF_VOLTS], -np.inf)
        return _Limits(
            siemens=segments.siemens * carries,
            amps=segments.amps * carries,
            is_conducting=carries,
            low=np.where(carries, segments.low, -np.inf),
            high=np.where(carries, segments.high, np.inf),
            least_watch=np.where(pulls_in, curves[ON_VOLTS], -np.inf),
            most_watch=np.where(lets_go, below_off_volts, np.inf),
        )

    def reach(self, block: int, branch: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return what of each margin an amp through branches takes. [1/A].

        Nothing of those of the branch itself.

        Parameters
        ----------
        block : int
            Block of draws.
        branch : IntArray
            Shape (n_some,).

        Returns
        -------
        rise, fall : FloatArray
            Of an amp more through the branch, and of an amp less; shape (n_looks,
            n_some, length); infinite where there is no margin.
        """
        first = block * len(self._network.branches)
        falls = self.linear.look_response[first + branch]
        looks, n_active = self._looks[block].copy(), len(self._active)
        signs = np.where(looks[n_active:] < 0.0, -1.0, 1.0)
        looks[n_active:] *= signs
        falls[:, n_active:] *= signs
        places = self._solver.place[branch]
        own = np.flatnonzero(places >= 0)
        falls[own, places[own]] = 0.0
        gates = self._look_of_gate[places[own]]
        falls[own[gates >= 0], gates[gates >= 0]] = 0.0
        high = self._high[block]
        low = np.maximum(self._low[block], -np.inf)
        low[n_active:] = np.maximum(low[n_active:], -high[n_active:])
        below, above = np.maximum(looks - low, 0.0), np.maximum(high - looks, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            down, up = falls / below, falls / above
        down[falls == 0.0] = up[falls == 0.0] = 0.0
        rise, fall = np.maximum(down, -up), np.maximum(-down, up)
        return rise.transpose(1, 0, 2), fall.transpose(1, 0, 2)

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
        self._settle(search, *np.nonzero(search.is_left))
        is_found = np.zeros(len(draw), dtype=np.bool_)
        is_found[points] = search.is_found.ravel()
        return Found(groups=tuple(search.groups or ()), is_found=is_found)

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
        batch = _Batch.of(self._solver, search.draw[points], search.slots.take(points))
        rest = self._settled(batch)
        is_clear = self._is_clear(batch, rest)
        search.is_left[runs[is_clear], places[is_clear]] = False
        search.is_found[runs[is_clear], places[is_clear]] = True
        if search.groups is not None:
            for found, changes in self._final(batch, rest):
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
        each, columns = np.nonzero(self._solver.place[branch] >= 0)
        places = self._solver.place[branch[each, columns]]
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
        x, extra_amps, is_sound = self.linear.extra_amps(
            runs, trial.branch, siemens=trial.siemens, amps=trial.amps
        )
        strays = self._strays(runs, trial, x, extra_amps)
        rests = is_sound & search.is_left[some] & ~strays
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
        looks = self._looks_of(runs, trial.branch, extra_amps)
        watch = looks[:, len(self._active) :]
        np.abs(watch, out=watch)
        low = runs.whole(self._low, runs.block)
        high = runs.whole(self._high, runs.block)
        run, limits = trial.run, trial.limits
        looks[run, trial.place] = x[trial.change, run]
        low[run, trial.place], high[run, trial.place] = limits.low, limits.high
        gate = self._look_of_gate[trial.place]
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
        change, run = np.nonzero(self._solver.place[branch] >= 0)
        place = self._solver.place[branch[change, run]]
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
            runs, np.ascontiguousarray(curves), run=run, place=place, moves=moves
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
        curves: FloatArray,
        *,
        run: IntArray,
        place: IntArray,
        moves: _Moves | None,
    ) -> _Limits:
        """Return lines and limits of active branches that may have moved.

        Parameters
        ----------
        curves : FloatArray
            Shape (CURVE_LENGTH, n_branches, n_together).
        run, place : IntArray
            Whose and which branch each is, shape (n_branches,).
        """
        rows, draw = place[:, None], runs.draw()[run]
        segment, is_on = self._segment[rows, draw], self._is_on[rows, draw]
        if moves is not None:
            is_moved = moves.is_moved[place, run]
            segment[is_moved] = moves.segment[place, run][is_moved, None]
            is_on[is_moved] = moves.is_on[place, run][is_moved, None]
        return self._limits(curves, segment, is_on, rows, draw)

    def _looks_of(
        self, runs: Runs, branch: IntArray, extra_amps: FloatArray
    ) -> FloatArray:
        """Return control and watch volts, shape (n_runs, n_looks, n_together). [V]."""
        looks = runs.whole(self._looks, runs.block)
        first = runs.block * len(self._network.branches)
        for used, amps in zip(branch, extra_amps, strict=True):
            groups = first + np.maximum(used, 0)
            falls = runs.whole(self.linear.look_response, groups)
            falls *= amps[:, None]
            looks -= falls
        return looks

    def ends(
        self, draw: IntArray, slots: Slots, is_on: BoolArray
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

        Returns
        -------
        is_on : BoolArray
            How they end, same shape.
        rests : BoolArray
            False where that was not found out, shape (n_points,).
        """
        batch = _Batch.of(self._solver, draw, slots)
        rest = self._settled(batch, is_on[:, self._active].T, max_rounds=MOST_ROUNDS)
        result = np.zeros_like(is_on)
        result[:, self._active] = rest.is_on.T
        return result, rest.is_settled

    def _settled(
        self,
        batch: _Batch,
        is_on: BoolArray | None = None,
        *,
        max_rounds: int = MAX_ROUNDS,
    ) -> Rest:
        """Let segments and gates of points follow, gates from `is_on` or the base."""

        def look(moving: Moving, siemens: FloatArray, amps: FloatArray) -> Seen:
            carries = self._settling.conducts(moving.curves, moving.is_on)
            looks = np.zeros((self._looks.shape[1], len(moving.point)))
            is_lost = np.ones(len(moving.point), dtype=np.bool_)
            lines = _Lines(siemens, amps, carries)
            for points, changes in self._grouped(batch, moving.point, lines):
                runs = Runs.of_points(changes.draw, self._length, 1)
                seen = self._looks_of(
                    runs, changes.branch.T, changes.extra_amps.T[..., None]
                )
                looks[:, points] = seen[..., 0].T
                is_lost[points] = ~changes.is_sound
            return self._seen(looks, is_lost=is_lost)

        start = Moving.start(
            batch.draw,
            batch.curves,
            segment=self._segment.take(batch.draw, axis=1),
            is_on=self._is_on.take(batch.draw, axis=1)
            if is_on is None
            else np.ascontiguousarray(is_on),
        )
        return replace(self._settling, max_rounds=max_rounds).settle(start, look)

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
        lets_go = self._must_rest[:, batch.draw] | (is_free & ~rest.is_on)
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
        most = min(int(count.max(initial=0)), WIDTHS[-1])
        widths = WIDTHS if len(count) > FEW_POINTS else (most,)
        for fewer, width in pairwise((-1, *widths)):
            points = np.flatnonzero((count > fewer) & (count <= width))
            if len(points):
                rows = order[:width, points]
                yield (
                    points,
                    self.linear.changes(
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
class _Limits:
    """Lines of active branches, and between which volts they hold; one shape."""

    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray
    low: FloatArray
    high: FloatArray
    least_watch: FloatArray
    most_watch: FloatArray


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
    limits: _Limits

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


def _alike(count: IntArray, n_together: int) -> Iterator[IntArray]:
    """Yield runs with the same count, above zero, a block at a time."""
    for each in np.unique(count[count > 0]).tolist():
        runs = np.flatnonzero(count == each)
        at_once = max(1, BLOCK_POINTS // n_together)
        for start in range(0, len(runs), at_once):
            yield runs[start : start + at_once]
