"""Finds operating points: which segment and which gate position each branch ends in.

Events are solved, not assumed. Every gate starts off, as it was before the key was
turned, or where the state before left it. All but the nodes of active branches are
eliminated once; then segments settle and gates follow, until nothing changes.

Leaves linear solutions to `factored`, how segments and gates move to `settling`, and
the many points that no event touches to `changes`. Inside, arrays are (branch, point).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.solver.branch_table import BranchTable
from diagnose.circuit.solver.factored import Factored, NodalPlan
from diagnose.circuit.solver.moving_points import Guesses, Moving, Rest, Seen
from diagnose.circuit.solver.network import Network, Slots
from diagnose.circuit.solver.operating_point import OperatingPoint, Start
from diagnose.circuit.solver.segments import Curves, Segments
from diagnose.circuit.solver.settling import Settling
from diagnose.circuit.solver.star_mesh import amps_to_volts, eliminate

# Solutions after which a point is given up for good: far more than the forty of one
# that chatters (own choice).
MAX_ROUNDS = 200

# Solutions after which a point of many is put off: most rest in four, and the last of
# many chunks are solved sooner together (measured).
FEW_ROUNDS = 8

# Turns of gates for which segments are guessed, later ones as the last: gates of one
# state turn in four at most, unless they chatter (measured).
N_STAGES = 12

# Points solved at once: fewer cost calls, more overflow the processor's cache
# (measured).
CHUNK_POINTS = 4096


class OperatingPointSolver:
    """Finds operating points of a network, as it is or with branches changed.

    Parameters
    ----------
    network : Network
        One car, in one state or in many.

    Attributes
    ----------
    network : Network
        As given.
    plan : NodalPlan
        How the network is solved.
    settling : Settling
        How its points settle.
    table : BranchTable
        What its branches do, changed or not.
    base : OperatingPoint
        The network as it is, one point per draw.
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self.plan = NodalPlan(network)
        active = self.plan.active
        self.table = BranchTable(network)
        self._controlled = self.table.place[list(self.plan.controlled)]
        self._own_outputs = [
            (place, *network.output[branch].tolist())
            for place, branch in enumerate(active.tolist())
            if branch not in self.plan.controlled
        ]
        self._source_nodes = {node for _, *ends in self._own_outputs for node in ends}
        self.settling = Settling(
            has_gate=network.has_gate[active][:, None],
            max_rounds=MAX_ROUNDS,
        )
        # the network as it is leads, one leader for each draw
        shape = (N_STAGES, len(active), network.n_draws)
        self._base_segments = np.zeros(shape, dtype=np.int64)
        every = np.arange(network.n_draws)
        self.base = OperatingPoint.empty(network.n_draws, network)
        notes = Guesses(self._base_segments, every)
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

        What is solved in many chunks stops after a few rounds, and what still moves is
        solved in one chunk: the last points of a chunk chatter for forty rounds of a
        few points each, and a round costs as much for ten points as for two hundred.

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
            A number for each point, shape (n_points,), the same for those that differ
            in nothing but the draw: one of them is solved first, to guess how the
            others go.

        Returns
        -------
        OperatingPoint
            In the order of `draw`.
        """
        result = OperatingPoint.empty(len(draw), self.network)
        if run is None:
            every = np.arange(len(draw))
            self._solve_some(result, every, draw, slots, start, max_rounds=MAX_ROUNDS)
            return result
        _, leader, run = np.unique(run, return_index=True, return_inverse=True)
        follows = np.ones(len(draw), dtype=np.bool_)
        follows[leader] = False
        others = np.flatnonzero(follows)
        shape = (N_STAGES, len(self.plan.active), len(leader))
        segment = np.zeros(shape, dtype=np.int64)
        late = [
            self._solve_some(
                result, some, draw, slots, start, max_rounds=FEW_ROUNDS, **how
            )
            for some, how in (
                (leader, {"notes": Guesses(segment, np.arange(len(leader)))}),
                (others, {"guesses": Guesses(segment, run[others])}),
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
        """Write some operating points; return those of `rows` that were given up.

        From rest, they are guessed to go as the network does as it is.
        """
        if start is None:
            guesses = guesses or Guesses(self._base_segments, draw[rows])
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
        ready = self._prepared(draw, slots, start, guesses)
        rest = self._settled(ready, max_rounds, notes=notes)
        outer = self.plan.elimination.outer
        amps_to_volts(outer, ready.rows, ready.totals, rest.kept)
        self._write(result, points, rest, ready.siemens, ready.moving.curves)
        return rest.is_moving

    def ends(
        self,
        draw: IntArray,
        slots: Slots,
        goal: BoolArray,
        *,
        start: Start | None = None,
    ) -> tuple[BoolArray, BoolArray]:
        """Return how gates end, of points of which it is known where they may rest.

        Quicker than `solve`, and without their volts.

        Parameters
        ----------
        draw, slots, start
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
                guesses = Guesses(self._base_segments, draw[some])
            ready = self._prepared(draw[some], slots.take(some), here, guesses)
            rest = self._settled(ready, MAX_ROUNDS, goal=goal[some][:, active].T)
            is_on[some[:, None], active] = rest.is_on.T
            is_settled[some] = rest.is_settled
        return is_on, is_settled

    def _prepared(
        self,
        draw: IntArray,
        slots: Slots | None,
        start: Start | None,
        guesses: Guesses | None,
    ) -> _Prepared:
        """Return points ready to settle, all but the inner nodes eliminated."""
        siemens = self.table.fixed_siemens(draw, slots)
        curves = self.table.active_curves(draw, slots)
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
        return _Prepared(moving, guesses, siemens, rows, totals)

    def _settled(
        self,
        ready: _Prepared,
        max_rounds: int,
        *,
        notes: Guesses | None = None,
        goal: BoolArray | None = None,
    ) -> Rest:
        """Return where points settle."""
        n_points = len(ready.moving.point)
        inner_rows = ready.rows[self.plan.elimination.n_outer_rows :]

        def look(moving: Moving, siemens: FloatArray, amps: FloatArray) -> Seen:
            here = inner_rows
            if len(moving.point) < n_points:
                here = inner_rows.take(moving.point, axis=1)
            return self._seen(here, siemens, amps)

        return replace(self.settling, max_rounds=max_rounds).settle(
            ready.moving,
            look,
            guesses=ready.guesses,
            notes=notes,
            goal=goal,
        )

    def _seen(
        self, inner_rows: FloatArray, siemens: FloatArray, amps: FloatArray
    ) -> Seen:
        """Solve for the nodes that are eliminated last, and return what that shows."""
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
class _Prepared:
    """Points ready to settle; they lie along the last axis of every array.

    `siemens` are those of the fixed branches; `rows` and `totals` as `eliminate` leaves
    them once all but the inner nodes are eliminated.
    """

    moving: Moving
    guesses: Guesses | None
    siemens: FloatArray
    rows: FloatArray
    totals: FloatArray


def solve_operating_point(network: Network) -> OperatingPoint:
    """Return the operating point of every draw of a network.

    Parameters
    ----------
    network : Network
        As it is, from rest.

    Returns
    -------
    OperatingPoint
        One point per draw.
    """
    return OperatingPointSolver(network).base
