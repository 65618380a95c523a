"""Operating points near a base case: few branches changed, few others affected.

In most points nothing but the changed branches moves. In others some branch leaves its
segment or some gate turns, and joins the changed ones: then one draw of a run is
settled (`single_points`) as the representative of the others, and these are tried with
the same moves (`run_trials`), which nearly always are theirs too. Points are given up
where the way there matters: a gate that neither pulls in nor lets go by itself, a
system without digits to spare, too many changes. `operating_point` finds those from the
start.

Decision: all draws of a fault in a state are solved side by side, and one of them is
settled first. They change the same branches and nearly always move alike, so the others
need one small system each, and what they look up lies in rows. What differs is settled
by itself, or from the start when it is more than a few.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, IntArray
from diagnose.circuit.changes.base_case import BaseCase, Changes
from diagnose.circuit.changes.margins import HeldOffGates, Margins
from diagnose.circuit.changes.nearby.run_trials import Moves, RunTrials
from diagnose.circuit.changes.nearby.single_points import Batch, SinglePoints
from diagnose.circuit.changes.runs import POINTS_AT_ONCE, Runs
from diagnose.circuit.solver.moving_points import Rest
from diagnose.circuit.solver.network import Slots

# Representatives that are settled for one run in turn. Measured: the draws of a fault
# go one way or two; a third is rare.
MAX_REPRESENTATIVES = 2

# Points of a group that is kept as it is; smaller ones are joined. Measured: below that
# the number of groups counts, not what is copied.
LEAST_GROUP_POINTS = 512

# Points that go as no representative does, from which on they are given up instead of
# settled one by one. Measured: so many are solved from the start as soon.
TOO_MANY_SINGLE_POINTS = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Points that lie near the base case.

    Parameters
    ----------
    groups : tuple[tuple[IntArray, Changes], ...]
        Points and their changes; a point in none is the base case itself.
    is_found : BoolArray
        Shape (n_points,).
    """

    groups: tuple[tuple[IntArray, Changes], ...]
    is_found: BoolArray


class NearbyPoints:
    """Finds points near one base case.

    Parameters
    ----------
    base_case : BaseCase
    held_off : HeldOffGates
        What is asked of gates that are held off there.

    Attributes
    ----------
    base_case : BaseCase
    single_points : SinglePoints
        What settles points one by one.
    """

    def __init__(self, base_case: BaseCase, held_off: HeldOffGates) -> None:
        self.base_case, self._solver = base_case, base_case.solver
        base, active = base_case.base, self._solver.plan.active
        self._active, self._block_length = active, base_case.block_length
        self.single_points = SinglePoints(base_case, held_off)
        margins = Margins(base_case, held_off)
        self._trials = RunTrials(base_case, margins)
        self._segment = base.segment[:, active].T.astype(np.int64)
        self._is_on = base.is_on[:, active].T
        volts = base_case.monitored_volts.copy()
        np.abs(volts[:, len(active) :], out=volts[:, len(active) :])
        moves = (volts < margins.low) | (volts > margins.high)
        self._base_rests = ~moves.any(axis=1).ravel()

    def find(
        self,
        draw: IntArray,
        slots: Slots,
        *,
        n_together: int,
        is_wanted: BoolArray,
        wants_changes: bool = True,
    ) -> Found:
        """Return the points that lie near the base case.

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

        Returns
        -------
        Found
            Of the n_points points.
        """
        is_left = is_wanted.reshape(-1, n_together)
        asked = np.flatnonzero(is_left.any(axis=1))
        first = asked * n_together
        points = (first[:, None] + np.arange(n_together)).ravel()
        search = _Search(
            runs=Runs.of_points(draw[points], self._block_length, n_together),
            first=first,
            draw=draw,
            branch=slots.branch[first],
            slots=Slots(branch=slots.branch, curves=np.ascontiguousarray(slots.curves)),
            is_left=is_left[asked],
            is_found=np.zeros((len(first), n_together), dtype=np.bool_),
            groups=[] if wants_changes else None,
        )
        self._search(search)
        is_found = np.zeros(len(draw), dtype=np.bool_)
        is_found[points] = search.is_found.ravel()
        return Found(groups=tuple(_joined(search.groups or ())), is_found=is_found)

    def _search(self, search: _Search) -> None:
        """Find what can be found: unmoved, moved as others are, one by one."""
        n_together = search.runs.n_together
        count = (search.branch >= 0).sum(axis=1)
        is_base = self._base_rests[search.runs.draw()] & (count == 0)[:, None]
        search.find(search.is_left & is_base, slice(None))
        search.is_left[count == 0] = False
        for some in _with_equal_count(count, n_together):
            self._try(search, some)
        for _ in range(MAX_REPRESENTATIVES if n_together > 1 else 0):
            self._follow_representatives(search)
        n_left = np.count_nonzero(search.is_left)
        if n_left and (n_together == 1 or n_left < TOO_MANY_SINGLE_POINTS):
            self._settle(search, *np.nonzero(search.is_left))

    def _settle(
        self, search: _Search, runs: IntArray, places: IntArray
    ) -> tuple[Rest, BoolArray]:
        """Let points move until they rest; return how, and which of them are found.

        `runs` and `places` are the run of each point, and its place there.
        """
        points = search.first[runs] + places
        batch = Batch.of(self._solver, search.draw[points], search.slots.take(points))
        rest = self.single_points.settled(batch)
        is_clear = self.single_points.is_clear(batch, rest)
        search.is_left[runs[is_clear], places[is_clear]] = False
        search.is_found[runs[is_clear], places[is_clear]] = True
        if search.groups is not None:
            for found, changes in self.single_points.changes(batch, rest):
                search.groups.append((points[found], changes))
        return rest, is_clear

    def _follow_representatives(self, search: _Search) -> None:
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
        moves = Moves(
            is_moved=moved[:, follow],
            segment=rest.segment[:, follow],
            is_on=rest.is_on[:, follow],
            is_extra=moved[:, follow],
        )
        each, columns = np.nonzero(self._solver.table.place[branch] >= 0)
        places = self._solver.table.place[branch[each, columns]]
        moves.is_extra[places, each] = False
        # one number for each pair of numbers: of changes by slots, and by moves alone
        count = (branch >= 0).sum(axis=1) * len(self._active)
        count += moves.is_extra.sum(axis=0)
        for some in _with_equal_count(count, search.runs.n_together):
            self._try(search, runs[some], moves.take(some))

    def _try(self, search: _Search, some: IntArray, moves: Moves | None = None) -> None:
        """Take the points of some runs off the search that rest with these moves.

        `some` are runs with the same number of changes each.
        """
        n_together, branch = search.runs.n_together, search.branch[some]
        n_changes = int((branch[0] >= 0).sum())
        trial = self._trials.attempt(
            search.runs.take(some),
            branch[:, :n_changes].T,
            search.slots,
            search.first[some][:, None] + np.arange(n_together),
            moves,
        )
        rests = trial.rests & search.is_left[some]
        search.find(rests, some)
        if search.groups is not None:
            chosen = np.flatnonzero(rests)
            points = search.first[some[chosen // n_together]] + chosen % n_together
            search.groups.append((points, trial.changes(search.draw[points], chosen)))


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


def _joined(
    groups: Sequence[tuple[IntArray, Changes]],
) -> Iterator[tuple[IntArray, Changes]]:
    """Yield groups of points, small ones of as many changes joined."""
    small: dict[int, list[tuple[IntArray, Changes]]] = {}
    for points, changes in groups:
        if len(points) >= LEAST_GROUP_POINTS:
            yield points, changes
        elif len(points):
            small.setdefault(changes.branch.shape[1], []).append((points, changes))
    for parts in small.values():
        yield (
            np.concatenate([points for points, _ in parts]),
            Changes.joined([changes for _, changes in parts]),
        )


def _with_equal_count(count: IntArray, n_together: int) -> Iterator[IntArray]:
    """Yield runs with the same count, above zero, as many as are worked on at once."""
    for each in np.unique(count[count > 0]).tolist():
        runs = np.flatnonzero(count == each)
        at_once = max(1, POINTS_AT_ONCE // n_together)
        for start in range(0, len(runs), at_once):
            yield runs[start : start + at_once]
