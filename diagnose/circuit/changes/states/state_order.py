"""Points of several states in their order: each begins as the state before left it.

A relay that is on stays on down to its release volts, and one whose contact feeds its
own coil stays as it is. So points that lie near no base case are solved from the start,
state after state. Points that do are looked at by `gate_paths`. Leaves solving to
`operating_point`, and finding what is near to `nearby_points`.

Decision: a relay, a controller or an alternator that excites itself starts a state as
the state before left it, and the first state from rest. What a hysteresis ends in
depends on the way there: a relay pulled in at key-on stays in while cranking, down to
its release volts, and a backfed coil holds it with the key off. From rest, with gates
carried over where they might hold, some would end elsewhere: with no load on yet a weak
solenoid pulls in, and from key-on it does not.

Decision: points near a base case are looked at for all states together. Only what is
solved afresh, and what comes from it, waits for the state before: a round of solving
costs as much for ten points as for two hundred, and an answer has some hundred for each
state.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, IntArray
from diagnose.circuit.changes.nearby.nearby_points import NearbyPoints
from diagnose.circuit.changes.states.gate_paths import GatePaths, Paths
from diagnose.circuit.changes.states.gates import Gates, StatePoints
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# Points up to which all are solved from the start at once. Measured: more are solved
# sooner as one of each run first, and then the others.
MOST_AT_ONCE = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Afresh:
    """Points that are solved from the start.

    Parameters
    ----------
    points : IntArray
        Which they are, shape (n_afresh,).
    solution : OperatingPoint
        Of n_afresh points.
    """

    points: IntArray
    solution: OperatingPoint


class StateOrder:
    """Solves points that lie near no base case, states in their order.

    Parameters
    ----------
    solver : OperatingPointSolver
    nearby : NearbyPoints
        What found the others.
    gates : Gates
        Of the same network.
    """

    def __init__(
        self, solver: OperatingPointSolver, nearby: NearbyPoints, gates: Gates
    ) -> None:
        self._solver, self._gates = solver, gates
        self._paths = GatePaths(solver, nearby, gates)

    def solve_others(self, points: StatePoints, *, n_together: int) -> Afresh:
        """Solve points from the start, and write their volts into `points`.

        Points that are near a base case, but where their path does not lead to, are
        taken off `points.is_near` and solved as well.

        Parameters
        ----------
        points : StatePoints
            Those near a base case with their solution.
        n_together : int
            Points that follow each other and differ in nothing but the draw.

        Returns
        -------
        Afresh
            What was solved.
        """
        n_points, n_gates = len(points.draw), len(self._gates.branches)
        carried = np.zeros((n_points, n_gates), dtype=np.bool_)
        near = np.flatnonzero(points.is_near)
        self._give_up_missed(points, near, carried, is_before_near=True)
        parts: list[Afresh] = []
        for ready in _waves(points):
            here = ready[points.is_near[ready]]
            self._give_up_missed(points, here, carried, is_before_near=False)
            some = ready[~points.is_near[ready]]
            parts += self._solved(points, some, carried, n_together=n_together)
        if not parts:
            nothing = OperatingPoint.empty(0, self._solver.network)
            return Afresh(points=near[:0], solution=nothing)
        return Afresh(
            points=np.concatenate([part.points for part in parts]),
            solution=OperatingPoint.joined([part.solution for part in parts]),
        )

    def _solved(
        self,
        points: StatePoints,
        some: IntArray,
        carried: BoolArray,
        *,
        n_together: int,
    ) -> Iterator[Afresh]:
        """Solve points whose states before are known; write how they leave gates."""
        is_from_rest = points.before[some] < 0
        if len(some) <= MOST_AT_ONCE and not is_from_rest.all():
            is_from_rest[:] = False
        for chosen, has_start in ((is_from_rest, False), (~is_from_rest, True)):
            rows = some[chosen]
            if not len(rows):
                continue
            came, draw = points.before[rows], points.draw[rows]
            begins = carried[came] & (came >= 0)[:, None]
            start = None
            if has_start:
                start = self._gates.start(self._solver.base, draw, begins)
            is_many = n_together > 1 and len(rows) > MOST_AT_ONCE
            found = self._solver.solve(
                draw,
                points.slots.take(rows),
                start=start,
                run=rows // n_together if is_many else None,
            )
            points.volts[rows] = found.volts
            is_free, _ = self._gates.by_volts(points, rows)
            is_on = found.is_on[:, self._gates.branches]
            carried[rows] = self._gates.carried_over(is_on, is_free)
            yield Afresh(points=rows, solution=found)

    def _give_up_missed(
        self,
        points: StatePoints,
        near: IntArray,
        carried: BoolArray,
        *,
        is_before_near: bool,
    ) -> None:
        """Write how points near a base case leave gates; give up what paths miss.

        `is_before_near` chooses whose paths are followed: of points that come from rest
        or from points near a base case, or else of the others.
        """
        is_free, ends = self._gates.by_volts(points, near)
        carried[near] = self._gates.carried_over(ends, is_free)
        came, begins = points.before[near], np.zeros_like(ends)
        has_come = np.flatnonzero(came >= 0)
        begins[has_come] = carried[came[has_come]] & is_free[has_come]
        is_near_before = (came < 0) | points.is_near[came]
        paths = Paths(near, begins, ends)
        paths = paths.take(np.flatnonzero(is_near_before == is_before_near))
        self._paths.give_up_missed(points, paths.take(paths.turning()))


def in_order(before: IntArray, rows: IntArray) -> Iterator[IntArray]:
    """Yield the points that come from rest, then those that come from these, and so on.

    Parameters
    ----------
    before : IntArray
        Where each point comes from, -1 for rest, shape (n_points,).
    rows : IntArray
        The points that are meant, shape (n_rows,).

    Yields
    ------
    IntArray
        Some of `rows`.
    """
    depth, here = np.zeros_like(before), before
    while (here >= 0).any():
        depth += here >= 0
        here = np.where(here >= 0, before[here], -1)
    for step in np.unique(depth[rows]).tolist():
        yield rows[depth[rows] == step]


def _waves(points: StatePoints) -> Iterator[IntArray]:
    """Yield points near no base case, and those that come from them, in their order.

    What is yielded comes from rest, or from points near a base case, or from points
    that were yielded before.
    """
    wave = np.where(points.is_near, -1, 0)
    if not (wave == 0).any():
        return
    before = points.before
    for some in in_order(before, np.flatnonzero(before >= 0)):
        after = wave[before[some]] + 1
        wave[some] = np.where(after > 0, after, wave[some])
    for step in range(int(wave.max()) + 1):
        yield np.flatnonzero(wave == step)
