"""Operating points: which segment and which gate position each branch ends in.

Events are solved, not assumed. Every gate starts off, as it was before the key was
turned, or where the state before left it; then segments settle first and gates follow,
until nothing changes; a gate that keeps changing is a chattering relay. Leaves linear
solutions to `factored`, and the many points that no event touches to `compensation`.
Inside, arrays are (branch, point), as in `factored`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray, StepArray
from diagnose.circuit.solver.factored import Factored, NodalPlan
from diagnose.circuit.solver.network import (
    FORCED,
    SIEMENS,
    Network,
    Slots,
)
from diagnose.circuit.solver.settling import (
    MAX_FLIPS,
    Curves,
    Guesses,
    Moving,
    Rest,
    Seen,
    Segments,
    Settling,
    Stages,
)
from diagnose.circuit.solver.star_mesh import amps_to_volts, eliminate

MAX_ROUNDS = 200
FEW_ROUNDS = 8
# Measured: most points of a run rest in four; the last of many chunks are solved sooner
# together.
N_STAGES = 12
MOST_STAGES = 6
# Measured: gates of one state turn in four stages at most, unless they chatter.
CHUNK_POINTS = 4096
# Measured: fewer points cost calls, more overflow the processor's cache.


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPoint:
    """A consistent solution of a network, one row per point.

    Parameters
    ----------
    volts : FloatArray
        Shape (n_points, n_nodes), the reference first. [V]
    segment : StepArray
        Shape (n_points, n_branches).
    is_on : BoolArray
        Gate position, shape (n_points, n_branches).
    is_conducting : BoolArray
        Shape (n_points, n_branches): gate and forcing put together.
    siemens, amps : FloatArray
        The branch lines in force, shape (n_points, n_branches). [S], [A]
    flips : StepArray
        How often each gate changed, shape (n_points, n_branches).
    is_settled : BoolArray
        Shape (n_points,); False where a gate chatters or no consistent state was found.
    """

    volts: FloatArray
    segment: StepArray
    is_on: BoolArray
    is_conducting: BoolArray
    siemens: FloatArray
    amps: FloatArray
    flips: StepArray
    is_settled: BoolArray

    @staticmethod
    def empty(n_points: int, network: Network) -> OperatingPoint:
        """Return room for points."""
        shape = (n_points, len(network.branches))
        return OperatingPoint(
            volts=np.zeros((n_points, len(network.nodes))),
            segment=np.zeros(shape, dtype=np.int8),
            is_on=np.zeros(shape, dtype=np.bool_),
            is_conducting=np.zeros(shape, dtype=np.bool_),
            siemens=np.zeros(shape),
            amps=np.zeros(shape),
            flips=np.zeros(shape, dtype=np.int8),
            is_settled=np.zeros(n_points, dtype=np.bool_),
        )

    @staticmethod
    def joined(parts: Sequence[OperatingPoint]) -> OperatingPoint:
        """Return the points of all parts in turn."""

        def whole(name: str) -> np.ndarray:
            return np.concatenate([getattr(part, name) for part in parts])

        return OperatingPoint(
            **{field.name: whole(field.name) for field in fields(OperatingPoint)}
        )

    def put(self, rows: IntArray, other: OperatingPoint) -> None:
        """Write other points over some of these."""
        for field in fields(OperatingPoint):
            getattr(self, field.name)[rows] = getattr(other, field.name)

    def control_volts(self, network: Network) -> FloatArray:
        """Return the control voltage of each branch, (n_points, n_branches). [V]."""
        control = network.control
        return self.volts[:, control[:, 0]] - self.volts[:, control[:, 1]]

    @property
    def is_chattering(self) -> BoolArray:
        """Gates that find no rest, shape (n_points, n_branches)."""
        return np.asarray(self.flips >= MAX_FLIPS)

    def branch_amps(self, network: Network) -> FloatArray:
        """Return the current of each branch, (n_points, n_branches). [A]."""
        return self.siemens * self.control_volts(network) + self.amps


@dataclass(frozen=True, slots=True)
class Start:
    """Where points start that do not come from rest.

    Parameters
    ----------
    segment : NDArray
        To try first, shape (n_points, n_branches).
    is_on : BoolArray
        The gates, same shape.
    """

    segment: npt.NDArray[np.signedinteger[Any]]
    is_on: BoolArray

    def take(self, points: IntArray) -> Start:
        """Return some of the points."""
        return Start(self.segment[points], self.is_on[points])


class OperatingPointSolver:
    """Finds operating points of a network, as it is or with branches changed.

    Parameters
    ----------
    network : Network

    Attributes
    ----------
    plan : NodalPlan
        How the network is solved.
    place : IntArray
        Place of each branch among the active ones, -1 for a fixed one and, at the end,
        for the unused slot -1; shape (n_branches + 1,).
    base : OperatingPoint
        The network as it is, one point per draw.
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self.plan = NodalPlan(network)
        active = self.plan.active
        self.place = np.full(len(network.branches) + 1, -1)
        self.place[active] = np.arange(len(active))
        self._controlled = self.place[list(self.plan.controlled)]
        self._own_outputs = [
            (place, *network.output[branch].tolist())
            for place, branch in enumerate(active.tolist())
            if branch not in self.plan.controlled
        ]
        self._source_nodes = {node for _, *ends in self._own_outputs for node in ends}
        # (place in the curve, active branch and draw)
        curves = network.curves[:, active].transpose(2, 1, 0)
        self._curves = curves.reshape(len(curves), -1).copy()
        self._fixed = fixed_siemens(network.curves).T.copy()
        self._fixed[active] = 0.0
        self.settling = Settling(
            has_gate=network.has_gate[active][:, None],
            max_rounds=MAX_ROUNDS,
        )
        # as the network goes as it is, one way for each draw
        shape = (N_STAGES, len(active), network.n_draws)
        self._ways = np.zeros(shape, dtype=np.int64)
        every = np.arange(network.n_draws)
        self.base = OperatingPoint.empty(network.n_draws, network)
        notes = Guesses(self._ways, every)
        self._solve_some(
            self.base, every, every, None, None, notes=notes, max_rounds=MAX_ROUNDS
        )

    def solve(
        self,
        draw: IntArray,
        slots: Slots | None = None,
        *,
        start: Start | None = None,
        run: IntArray | None = None,
    ) -> OperatingPoint:
        """Return operating points.

        Parameters
        ----------
        draw : IntArray
            The tolerance draw of each point, shape (n_points,).
        slots : Slots or None
            Branches changed in each point, n_points rows; only an active branch may be
            bent or a source.
        start : Start or None
            Where they come from; None: from rest.
        run : IntArray or None
            A number for each point, the same for those that differ in nothing but the
            draw: one of them is solved first, to guess how the others go.
        """
        result = OperatingPoint.empty(len(draw), self.network)
        if run is None:
            every = np.arange(len(draw))
            self._solve_some(result, every, draw, slots, start, max_rounds=MAX_ROUNDS)
            return result
        _, pilot, run = np.unique(run, return_index=True, return_inverse=True)
        follows = np.ones(len(draw), dtype=np.bool_)
        follows[pilot] = False
        others = np.flatnonzero(follows)
        shape = (N_STAGES, len(self.plan.active), len(pilot))
        ways = np.zeros(shape, dtype=np.int64)
        late = [
            self._solve_some(
                result, some, draw, slots, start, max_rounds=FEW_ROUNDS, **how
            )
            for some, how in (
                (pilot, {"notes": Guesses(ways, np.arange(len(pilot)))}),
                (others, {"guesses": Guesses(ways, run[others])}),
            )
        ]
        rows = np.concatenate(late)
        self._solve_some(result, rows, draw, slots, start, max_rounds=MAX_ROUNDS)
        return result

    def _solve_some(
        self,
        result: OperatingPoint,
        rows: IntArray,
        draw: IntArray,
        slots: Slots | None,
        start: Start | None,
        *,
        max_rounds: int,
        guesses: Guesses | None = None,
        notes: Guesses | None = None,
    ) -> IntArray:
        """Write some operating points; guessed to go as the network does as it is.

        Returns
        -------
        IntArray
            Those that were given up.
        """
        if start is None:
            guesses = guesses or Guesses(self._ways, draw[rows])
        is_moving = np.zeros(len(rows), dtype=np.bool_)
        for first in range(0, len(rows), CHUNK_POINTS):
            some = slice(first, first + CHUNK_POINTS)
            points = rows[some]
            is_moving[some] = self._solve_chunk(
                result,
                points,
                draw[points],
                None if slots is None else slots.take(points),
                None if start is None else start.take(points),
                max_rounds=max_rounds,
                guesses=None if guesses is None else guesses.take(some),
                notes=None if notes is None else notes.take(some),
            )
        return rows[is_moving]

    def _solve_chunk(
        self,
        result: OperatingPoint,
        points: IntArray,
        draw: IntArray,
        slots: Slots | None,
        start: Start | None,
        *,
        max_rounds: int,
        guesses: Guesses | None,
        notes: Guesses | None,
    ) -> BoolArray:
        """Write operating points; return which were given up, (n_points,)."""
        way = self._way(draw, slots, start, guesses)
        rest = self._settled(way, max_rounds, notes=notes)
        outer = self.plan.elimination.outer
        amps_to_volts(outer, way.rows, way.totals, rest.kept)
        self._write(result, points, rest, way.siemens, way.moving.curves)
        return rest.is_moving

    def ends(
        self,
        draw: IntArray,
        slots: Slots,
        goal: BoolArray,
        *,
        start: Start | None = None,
    ) -> tuple[BoolArray, BoolArray]:
        """Return how gates end, of points in which it is known where they may rest.

        Parameters
        ----------
        draw, slots, start :
            As for `solve`.
        goal : BoolArray
            Gates that rest, shape (n_points, n_branches).

        Returns
        -------
        is_on : BoolArray
            How they end, same shape.
        is_settled : BoolArray
            Shape (n_points,).
        """
        is_on, is_settled = np.zeros_like(goal), np.zeros(len(draw), dtype=np.bool_)
        active = self.plan.active
        for first in range(0, len(draw), CHUNK_POINTS):
            some = np.arange(first, min(first + CHUNK_POINTS, len(draw)))
            here, guesses = None if start is None else start.take(some), None
            if start is None:
                guesses = Guesses(self._ways, draw[some])
            way = self._way(draw[some], slots.take(some), here, guesses)
            rest = self._settled(way, MAX_ROUNDS, goal=goal[some][:, active].T)
            is_on[some[:, None], active] = rest.is_on.T
            is_settled[some] = rest.is_settled
        return is_on, is_settled

    def stages(
        self,
        draw: IntArray,
        slots: Slots,
        start: Start,
        guesses: Guesses | None = None,
    ) -> tuple[Stages, BoolArray]:
        """Return where points rest before their gates turn, and which settle.

        Parameters
        ----------
        draw, slots, start :
            As for `solve`.
        guesses : Guesses or None
            Segments to start each stage from.
        """
        is_settled = np.zeros(len(draw), dtype=np.bool_)
        parts = [Stages.empty(MOST_STAGES, len(self.plan.active), 0)]
        for first in range(0, len(draw), CHUNK_POINTS):
            some = np.arange(first, min(first + CHUNK_POINTS, len(draw)))
            here = None if guesses is None else guesses.take(some)
            way = self._way(draw[some], slots.take(some), start.take(some), here)
            part = Stages.empty(MOST_STAGES, len(self.plan.active), len(some))
            rest = self._settled(way, MAX_ROUNDS, stages=part, keeps_volts=False)
            is_settled[some] = rest.is_settled
            parts.append(part)
        return Stages.joined(parts), is_settled

    def rests(
        self,
        draw: IntArray,
        slots: Slots,
        is_on: BoolArray,
        segment: IntArray,
        *,
        max_rounds: int = MAX_ROUNDS,
    ) -> Rest:
        """Return where points rest, without their volts.

        Parameters
        ----------
        draw, slots :
            As for `solve`; at most `CHUNK_POINTS` points.
        is_on : BoolArray
            How gates begin, shape (n_active, n_points).
        segment : IntArray
            What active branches are guessed to be on in each stage, shape (n_stages,
            n_active, n_points).
        max_rounds : int
            Solutions after which a point is given up.
        """
        guesses = Guesses(segment, np.arange(len(draw)))
        way = self._way(draw, slots, None, guesses)
        moving = replace(way.moving, is_on=is_on, last_is_on=is_on)
        return self._settled(replace(way, moving=moving), max_rounds, keeps_volts=False)

    def _way(
        self,
        draw: IntArray,
        slots: Slots | None,
        start: Start | None,
        guesses: Guesses | None,
    ) -> _Way:
        """Return points ready to settle, all but the inner nodes eliminated."""
        siemens = self._fixed_siemens(draw, slots)
        curves = self.active_curves(draw, slots)
        elimination, active = self.plan.elimination, self.plan.active
        rows = self.plan.conductances(siemens)
        totals = np.empty((elimination.n_nodes, len(draw)))
        eliminate(elimination.outer, rows, totals)
        segment = np.zeros((len(active), len(draw)), dtype=np.int64)
        is_on = np.zeros(segment.shape, dtype=np.bool_)
        if start is not None:
            segment = start.segment[:, active].T.astype(np.int64, order="C")
            is_on = np.ascontiguousarray(start.is_on[:, active].T)
        elif guesses is not None:
            segment = guesses.of(np.arange(len(draw)), np.zeros_like(draw))
        moving = Moving.start(draw, curves, segment, is_on)
        return _Way(moving, guesses, siemens, rows, totals)

    def _settled(
        self,
        way: _Way,
        max_rounds: int,
        *,
        notes: Guesses | None = None,
        stages: Stages | None = None,
        goal: BoolArray | None = None,
        keeps_volts: bool = True,
    ) -> Rest:
        """Return where points settle."""
        n_points = len(way.moving.point)
        inner_rows = way.rows[self.plan.elimination.n_outer_rows :]

        def look(moving: Moving, siemens: FloatArray, amps: FloatArray) -> Seen:
            here = inner_rows
            if len(moving.point) < n_points:
                here = inner_rows.take(moving.point, axis=1)
            seen = self._seen(here, siemens, amps)
            return seen if keeps_volts else replace(seen, kept=seen.kept[:0])

        return replace(self.settling, max_rounds=max_rounds).settle(
            way.moving,
            look,
            guesses=way.guesses,
            notes=notes,
            stages=stages,
            goal=goal,
        )

    def active_curves(self, draw: IntArray, slots: Slots | None) -> Curves:
        """Return the curves of the active branches, changed or not.

        Returns
        -------
        Curves
            Shape (n_active, n_points).
        """
        n_active, n_draws = len(self.plan.active), self.network.n_draws
        row = np.arange(n_active)[:, None] * n_draws + draw
        curves = Curves(self._curves, row)
        if row.size < self._curves.shape[1]:
            # fewer than the table has: what is wanted of it is copied
            curves = Curves.of(self._curves.take(row, axis=1))
        if slots is None:
            return curves
        points, columns = np.nonzero(self.place[slots.branch] >= 0)
        places = self.place[slots.branch[points, columns]]
        n_rows = curves.table.shape[1]
        curves.row[places, points] = n_rows + np.arange(len(points))
        changed = slots.curves[points, columns].T
        return Curves(np.concatenate([curves.table, changed], axis=1), curves.row)

    def _fixed_siemens(self, draw: IntArray, slots: Slots | None) -> FloatArray:
        """Return the slopes of the fixed branches, (n_branches, n_points). [S]."""
        siemens = self._fixed.take(draw, axis=1)
        if slots is not None:
            is_fixed = (self.place[slots.branch] < 0) & (slots.branch >= 0)
            points, columns = np.nonzero(is_fixed)
            curves = slots.curves[points, columns]
            siemens[slots.branch[points, columns], points] = fixed_siemens(curves)
        return siemens

    def _seen(
        self, inner_rows: FloatArray, siemens: FloatArray, amps: FloatArray
    ) -> Seen:
        """Solve for the nodes that are eliminated last."""
        elimination, active = self.plan.elimination, self.plan.active
        n_points = inner_rows.shape[1]
        rows = np.empty((elimination.n_rows, n_points))
        rows[elimination.n_outer_rows :] = inner_rows
        self.plan.add(rows, active, siemens)
        totals = np.empty((elimination.n_nodes, n_points))
        eliminate(elimination.inner, rows, totals)
        into = np.zeros((len(totals), 1, n_points))
        for place, a, b in self._own_outputs:
            into[a, 0] -= amps[place]
            into[b, 0] += amps[place]
        factored = Factored(
            self.plan, elimination.inner, rows, totals, siemens[self._controlled]
        )
        control_amps = amps[self._controlled][:, None]
        volts = factored.volts(into, self._source_nodes, control_amps)[:, 0]
        control, watch = self.network.control[active], self.network.watch[active]
        return Seen(
            control_volts=volts[control[:, 0]] - volts[control[:, 1]],
            watch_volts=volts[watch[:, 0]] - volts[watch[:, 1]],
            kept=volts,
            is_lost=np.zeros(n_points, dtype=np.bool_),
        )

    def _write(
        self,
        result: OperatingPoint,
        points: IntArray,
        rest: Rest,
        siemens: FloatArray,
        curves: Curves,
    ) -> None:
        """Write points at rest; `siemens` are those of the fixed branches."""
        active, rows = self.plan.active, points[:, None]
        carries = self.settling.conducts(curves, rest.is_on)
        segments = Segments.of(curves, rest.segment)
        siemens[active] = segments.siemens * carries
        conducts = siemens != 0.0
        conducts[active] = carries
        result.volts[points] = rest.kept.T
        result.siemens[points] = siemens.T
        result.is_conducting[points] = conducts.T
        result.amps[rows, active] = (segments.amps * carries).T
        result.segment[rows, active] = rest.segment.T
        result.is_on[rows, active] = rest.is_on.T
        result.flips[rows, active] = rest.flips.T
        result.is_settled[points] = rest.is_settled


@dataclass(frozen=True, slots=True)
class _Way:
    """Points that are to settle, the points along the last axis of every array.

    `siemens` are those of the fixed branches; `rows` and `totals` as `eliminate` leaves
    them once all but the inner nodes are eliminated.
    """

    moving: Moving
    guesses: Guesses | None
    siemens: FloatArray
    rows: FloatArray
    totals: FloatArray


def fixed_siemens(curves: FloatArray) -> FloatArray:
    """Return the slopes of branches that neither bend nor switch. [S]."""
    return np.where(curves[..., FORCED] > 0.0, curves[..., SIEMENS.start], 0.0)


def solve_operating_point(network: Network) -> OperatingPoint:
    """Return the operating point of every draw of a network."""
    return OperatingPointSolver(network).base
