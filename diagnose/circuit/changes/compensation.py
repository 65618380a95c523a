"""The fast path: many faults as small changes of the healthy car's solution.

Most faults change one branch and make nothing else switch or bend. For those one
elimination per tolerance draw is enough (`linearised`); the others, and those whose
small systems are nearly singular, are solved afresh by `operating_point`. Where a gate
feeds itself once on, as an alternator's field does, there are two solutions to start
from: with it on and, for faults that keep it from starting, with it off. Leaves the
meaning of faults to `faults`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.linearised import BLOCK_POINTS, Changes, Linearised
from diagnose.circuit.changes.nearby_points import Nearby
from diagnose.circuit.changes.state_order import Following, Gates, Points, in_order
from diagnose.circuit.solver.network import (
    FORCED,
    Network,
    Slots,
)
from diagnose.circuit.solver.operating_point import OperatingPoint, Start
from diagnose.circuit.solver.point_solver import OperatingPointSolver

MOST_APART_VOLTS = 3e-10
# Derived: a third of a nanovolt, as what rounding may do to the volts of any node.


@dataclass(frozen=True, slots=True)
class Changed:
    """Points that are small changes of a solution.

    Parameters
    ----------
    points : IntArray
        Which they are, shape (n_points,).
    lines : Changes
        Their changes; its draws are those of `origin`.
    origin : Linearised
        The solution.
    """

    points: IntArray
    lines: Changes
    origin: Linearised


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """Operating points.

    Parameters
    ----------
    draw : IntArray
        Shape (n_points,).
    volts : FloatArray
        Shape (n_points, n_nodes). [V]
    is_settled : BoolArray
        Shape (n_points,).
    is_base : BoolArray
        Points in which nothing is changed, shape (n_points,).
    changed : tuple[Changed, ...]
        Groups of points that are small changes of the base, or of the car with the
        gates off that feed themselves once on.
    fresh : tuple[IntArray, OperatingPoint]
        The points that were solved afresh; that counts where a point is in both.
    left : BoolArray
        How gates are left to the state that comes after, shape (n_points, n_gates).
    """

    draw: IntArray
    volts: FloatArray
    is_settled: BoolArray
    is_base: BoolArray
    changed: tuple[Changed, ...]
    fresh: tuple[IntArray, OperatingPoint]
    left: BoolArray


class Compensated:
    """The healthy car, ready for faults.

    Parameters
    ----------
    network : Network
        Of one operating state, or of several stacked along the draws.
    before : IntArray or None
        For each draw the one of the state the car comes from, -1 where it comes from
        rest: there its gates start, shape (n_draws,).
    n_alike : int
        Draws of one state follow each other in so many.

    Attributes
    ----------
    base : OperatingPoint
        The healthy car, one point per draw.
    origin : Linearised
        How it answers to small changes.
    nearby : Nearby
        What finds points near it.
    gates : Gates
        Its gates.
    begins : BoolArray
        How they begin in the healthy car, shape (n_draws, n_gates).
    """

    def __init__(
        self, network: Network, before: IntArray | None = None, n_alike: int = 1
    ) -> None:
        self.network = network
        self._solver = OperatingPointSolver(network)
        self.base: OperatingPoint = self._solver.base
        self.gates = gates = Gates(network, n_alike)
        shape = (network.n_draws, len(gates.branches))
        self.begins: BoolArray = np.zeros(shape, dtype=np.bool_)
        if before is not None:
            for draws in in_order(before, np.flatnonzero(before >= 0)):
                came = before[draws]
                is_on = self.base.is_on[came][:, gates.branches]
                begins = gates.left(is_on, gates.free_as_it_is(came))
                self.begins[draws] = begins
                start = Start(self.base.segment[draws], gates.whole(begins))
                self.base.put(draws, self._solver.solve(draws, start=start))
        self.origin = Linearised(self._solver, n_alike)
        self.nearby = Nearby(self.origin)
        self._following = Following(self._solver, self.nearby, gates)
        is_held = network.is_self_holding & self.base.is_on
        is_controlled = (network.output != network.control).any(axis=1)
        self._needs_afresh: BoolArray = np.asarray(is_held | is_controlled)
        # whole blocks of draws, as `runs` wants them
        holds = is_held.any(axis=1).reshape(-1, n_alike).any(axis=1)
        held = np.flatnonzero(holds.repeat(n_alike))
        self._cold_draw = np.full(network.n_draws, -1)
        self._cold_draw[held] = np.arange(len(held))
        self._cold: _Cold | None = None
        if len(held):
            self._cold = _Cold.of(network, held, is_held[held], n_alike)

    def prepare(self) -> None:
        """Work out now what the first fault would otherwise wait for."""
        self.origin.prepare_ohms()

    def base_slots(self, draw: IntArray, branch: IntArray) -> Slots:
        """Return the unchanged curves of branches as slots.

        Parameters
        ----------
        draw : IntArray
            Shape (n_points,).
        branch : IntArray
            Shape (n_points, n_slots).
        """
        return Slots(branch=branch, curves=self.network.curves[draw[:, None], branch])

    def solve(
        self,
        draw: IntArray,
        slots: Slots,
        before: IntArray | None = None,
        *,
        n_together: int = 1,
    ) -> Solved:
        """Return the operating points under changed branches, events included.

        Parameters
        ----------
        draw : IntArray
            The tolerance draw of each point, shape (n_points,).
        slots : Slots
            The changed branches of each point, n_points rows.
        before : IntArray or None
            For each point the one of the state the car comes from, -1 for none.
        n_together : int
            Points that follow each other and differ in nothing but the draw, see
            `Runs.of_points`.
        """
        volts = np.empty((len(draw), len(self.network.nodes)))
        is_settled = self.base.is_settled[draw]
        starts, stays = self._starts(draw, slots, before, n_together)
        found = self.nearby.find(draw, slots, n_together=n_together, is_wanted=starts)
        is_near = found.is_found
        is_base = is_near.copy()
        changed = (
            *(Changed(*group, self.origin) for group in found.groups),
            *stays,
        )
        for group in changed:
            origin, lines = group.origin, group.lines
            falls = origin.falls(origin.response, lines)
            volts[group.points] = origin.base.volts[lines.draw] - falls
            is_base[group.points] = False
            is_near[group.points] = self._agrees(volts, group)
        volts[is_base] = self.base.volts[draw[is_base]]
        came = np.full(len(draw), -1) if before is None else before
        rows, fresh, left = self._following.follow(
            Points(draw, slots, came, volts, is_near), n_together=n_together
        )
        is_base[rows] = False
        is_settled[rows] = fresh.is_settled
        return Solved(
            draw=draw,
            volts=volts,
            is_settled=is_settled,
            is_base=is_base,
            changed=changed,
            fresh=(rows, fresh),
            left=left,
        )

    def _agrees(self, volts: FloatArray, group: Changed) -> BoolArray:
        """Return where changed branches see the volts of their nodes, (n_points,).

        Where rounding has come between them, that of the nodes may be off by as much.
        """
        lines, control = group.lines, self.network.control[group.lines.branch]
        row = group.points[:, None]
        across = volts[row, control[..., 0]] - volts[row, control[..., 1]]
        apart = np.abs(across - lines.control_volts) > MOST_APART_VOLTS
        return np.asarray(~(apart & (lines.branch >= 0)).any(axis=1))

    def _starts(
        self,
        draw: IntArray,
        slots: Slots,
        before: IntArray | None,
        n_together: int,
    ) -> tuple[BoolArray, tuple[Changed, ...]]:
        """Return where the base rests and gates that feed themselves once on start.

        With those gates held off, their pull-in volts have to be there; the points that
        rest without them, and do not come from a state that had them, are returned as
        well. From a base that chatters nothing follows: a fault may well bring it to
        rest.
        """
        needs_afresh = self._needs_afresh[draw[:, None], slots.branch]
        waits = np.asarray(needs_afresh & (slots.branch >= 0))
        starts: BoolArray = np.asarray(~waits.any(axis=1))
        starts &= self.base.is_settled[draw]
        if self._cold is None:
            return starts, ()
        cold_draw = self._cold_draw[draw]
        is_cold = cold_draw >= 0
        pulls_in = self._cold.starting.find(
            cold_draw,
            slots,
            n_together=n_together,
            is_wanted=starts & is_cold,
            wants_changes=False,
        )
        waits = starts & is_cold & ~pulls_in.is_found
        starts &= pulls_in.is_found | ~is_cold
        waits &= (slots.branch >= 0).any(axis=1)
        waits[is_cold] &= self._cold.linear.base.is_settled[cold_draw[is_cold]]
        found = self._cold.resting.find(
            cold_draw, slots, n_together=n_together, is_wanted=waits
        )
        rests = found.is_found
        if before is not None:
            for some in in_order(before, np.flatnonzero(rests & (before >= 0))):
                came = before[some]
                rests[some] = rests[came] | ~is_cold[came]
        groups = (
            (points[rests[points]], lines.take(np.flatnonzero(rests[points])))
            for points, lines in found.groups
        )
        linear = self._cold.linear
        return starts, tuple(Changed(*group, linear) for group in groups)

    def is_free(self, draw: IntArray, branch: IntArray) -> BoolArray:
        """Return which branches a small change may change, shape as both."""
        return np.asarray(~self._needs_afresh[draw, branch])

    def source_ohms(self, solved: Solved) -> FloatArray:
        """Return the resistance each node shows to the reference.

        Returns
        -------
        FloatArray
            Shape (n_points, n_nodes). [Ω]
        """
        own, draw = self.origin.self_ohms, solved.draw
        result = np.empty((len(draw), own.shape[1]))
        result[solved.is_base] = own[draw[solved.is_base]]
        for group in solved.changed:
            origin, lines = group.origin, group.lines
            falls = origin.fall_ohms(lines)
            result[group.points] = origin.self_ohms[lines.draw] - falls
        rows, fresh = solved.fresh
        for start in range(0, len(rows), BLOCK_POINTS):
            some = slice(start, start + BLOCK_POINTS)
            factored = self._solver.plan.factored(fresh.siemens[some].T)
            result[rows[some]] = factored.self_ohms().T
        return np.maximum(result, 0.0, out=result)

    def between_ohms(self, solved: Solved, first: int, second: int) -> FloatArray:
        """Return the resistance between two nodes, shape (n_points,). [Ω]."""
        pair = np.array([[first, second]])
        result = self.origin.between_ohms(pair)[solved.draw]
        for group in solved.changed:
            origin, lines = group.origin, group.lines
            falls = origin.fall_between_ohms(lines, pair)
            result[group.points] = origin.between_ohms(pair)[lines.draw] - falls
        rows, fresh = solved.fresh
        volts = self._solver.plan.factored(fresh.siemens.T).response_volts(pair)
        result[rows] = volts[first, 0] - volts[second, 0]
        return np.maximum(result, 0.0, out=result)

    def branch_amps(self, solved: Solved, branches: IntArray) -> FloatArray:
        """Return the current of some branches, shape (n_points, n_branches). [A]."""
        control = self.network.control[branches]
        x = solved.volts[:, control[:, 0]] - solved.volts[:, control[:, 1]]
        x *= self._looked_up("siemens", solved, branches)
        x += self._looked_up("amps", solved, branches)
        return x

    def branch_conducts(self, solved: Solved, branches: IntArray) -> FloatArray:
        """Return whether some branches conduct, shape (n_points, n_branches).

        1 when they do, 0 when not, and a half where they chatter: neither.
        """
        conducts = self._looked_up("is_conducting", solved, branches)
        chatters = self.base.is_chattering[:, branches][solved.draw]
        rows, fresh = solved.fresh
        chatters[rows] = fresh.is_chattering[:, branches]
        conducts[chatters] = 0.5
        return conducts

    def _looked_up(self, name: str, solved: Solved, branches: IntArray) -> FloatArray:
        """Return a field of some branches where the points have them."""
        result = getattr(self.base, name)[:, branches].astype(np.float64)[solved.draw]
        column = np.full(len(self.network.branches), -1)
        column[branches] = np.arange(len(branches))
        for group in solved.changed:
            lines = group.lines
            if group.origin is not self.origin:
                origin = getattr(group.origin.base, name)[:, branches]
                result[group.points] = origin[lines.draw]
            is_wanted = (column[lines.branch] >= 0) & (lines.branch >= 0)
            rows, slots = np.nonzero(is_wanted)
            columns = column[lines.branch[rows, slots]]
            result[group.points[rows], columns] = getattr(lines, name)[rows, slots]
        rows, fresh = solved.fresh
        result[rows] = getattr(fresh, name)[:, branches]
        return np.asarray(result)


@dataclass(frozen=True, slots=True)
class _Cold:
    """The car with the gates held off that feed themselves once on.

    `starting` finds points in which they would all pull in, `resting` points in which
    none would.
    """

    linear: Linearised
    starting: Nearby
    resting: Nearby

    @staticmethod
    def of(network: Network, held: IntArray, is_held: BoolArray, length: int) -> _Cold:
        """Return the car of some draws; `is_held` says for each which gates are."""
        curves = network.curves[held]
        curves[is_held, FORCED] = -1.0
        solver = OperatingPointSolver(replace(network, curves=curves))
        linear = Linearised(solver, length)
        return _Cold(
            linear,
            starting=Nearby(linear, must_start=is_held),
            resting=Nearby(linear, must_rest=is_held),
        )
