"""The fast path: many faults as small changes of the sound car's solution.

Most faults change one branch and make nothing else switch or bend. For those one
elimination per tolerance draw is enough (`base_case`); the others, and those whose
small systems are nearly singular, are solved from the start by `operating_point`. Puts
together what finds points near a base case and what solves the rest in the order of
states. Leaves the meaning of faults to `faults`, and what the points show to
`solved_points`.

Decision: all operating states are solved as one batch, state and draw on one axis. A
pair of causes asked for in the middle of a diagnosis is some hundred points; alone in
its state each would cost as many calls as ten thousand.

Decision: where a gate feeds itself once on, as an alternator's field does, there are
two base cases: with it on and, for faults that keep it from starting, with it held off.
A charging alternator feeds its own exciter, so an open exciter wire does not show while
it runs. Two fifths of the points of the tests' tourer that had to be solved from the
start were such ones (measured).

Decision: nothing is solved as a small change of a state that chatters. A fault may
bring it to rest, and that does not follow from a base case without rest.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.base_case import BaseCase
from diagnose.circuit.changes.margins import HeldOffGates
from diagnose.circuit.changes.nearby.nearby_points import NearbyPoints
from diagnose.circuit.changes.solved_points import ChangedPoints, SolvedPoints, pieces
from diagnose.circuit.changes.states.gates import Gates, StatePoints
from diagnose.circuit.changes.states.state_order import StateOrder, in_order
from diagnose.circuit.solver.network import (
    FORCED,
    Network,
    Slots,
)
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# Most that the volts of a changed branch and those of its nodes may lie apart; more,
# and rounding has come between them. [V] Own choice: as much as rounding may do to the
# volts of any node.
MOST_APART_VOLTS = 1e-8


class CompensationSolver:
    """Solves a car under changed branches.

    Parameters
    ----------
    network : Network
        Of one operating state, or of several stacked along the draws.
    before : IntArray or None
        For each draw the one of the state the car comes from, -1 where it comes from
        rest: there its gates start, shape (n_draws,).
    block_length : int
        Draws of one state, which follow each other.

    Attributes
    ----------
    network : Network
    base : OperatingPoint
        The car as it is, one point per draw.
    base_case : BaseCase
        How that answers to changes.
    gates : Gates
        Its gates.
    """

    def __init__(
        self, network: Network, before: IntArray | None = None, block_length: int = 1
    ) -> None:
        self.network = network
        self._solver = OperatingPointSolver(network)
        self.base: OperatingPoint = self._solver.base
        self.gates = Gates(network)
        if before is not None:
            self._solve_base_in_order(before)
        self.base_case = BaseCase(self._solver, block_length)
        self._nearby = NearbyPoints(self.base_case, HeldOffGates.of(self.base_case))
        self._order = StateOrder(self._solver, self._nearby, self.gates)
        is_held = network.is_self_holding & self.base.is_on
        is_controlled = (network.output != network.control).any(axis=1)
        self._needs_afresh: BoolArray = np.asarray(is_held | is_controlled)
        # whole blocks of draws, as `runs` wants them
        holds = is_held.any(axis=1).reshape(-1, block_length).any(axis=1)
        held = np.flatnonzero(holds.repeat(block_length))
        self._held_off_draw = np.full(network.n_draws, -1)
        self._held_off_draw[held] = np.arange(len(held))
        self._held_off: _HeldOff | None = None
        if len(held):
            self._held_off = _HeldOff.of(network, held, is_held[held], block_length)

    def _solve_base_in_order(self, before: IntArray) -> None:
        """Solve states again that come after others, each as that leaves its gates."""
        gates = self.gates
        for draws in in_order(before, np.flatnonzero(before >= 0)):
            came = before[draws]
            is_on = self.base.is_on[came][:, gates.branches]
            begins = gates.carried_over(is_on, gates.is_free(came))
            start = gates.start(self.base, draws, begins)
            self.base.put(draws, self._solver.solve(draws, start=start))

    def prepare(self) -> None:
        """Work out now what the first fault would otherwise wait for."""
        self.base_case.prepare()

    def forget(self) -> None:
        """Give up what only makes the next fault quicker to solve."""
        self.base_case.forget()
        if self._held_off is not None:
            self._held_off.base_case.forget()

    def base_slots(self, draw: IntArray, branch: IntArray) -> Slots:
        """Return the unchanged curves of branches as slots.

        Parameters
        ----------
        draw : IntArray
            Shape (n_points,).
        branch : IntArray
            Shape (n_points, n_slots).

        Returns
        -------
        Slots
            Of n_points rows.
        """
        return Slots(branch=branch, curves=self.network.curves[draw[:, None], branch])

    def solve(
        self,
        draw: IntArray,
        slots: Slots,
        before: IntArray | None = None,
        *,
        n_together: int = 1,
    ) -> SolvedPoints:
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

        Returns
        -------
        SolvedPoints
            Of the n_points points.

        Raises
        ------
        ValueError
            If the points of a run are not evenly spread over one state.
        """
        volts = np.empty((len(draw), len(self.network.nodes)))
        is_settled = self.base.is_settled[draw]
        starts, unexcited = self._starting(draw, slots, before, n_together)
        found = self._nearby.find(draw, slots, n_together=n_together, is_wanted=starts)
        is_near = found.is_found
        is_base = is_near.copy()
        near = [ChangedPoints(*group, self.base_case) for group in found.groups]
        # a point of which nothing differs any more is the base case itself
        near = [group for group in near if group.changes.branch.shape[1]]
        changed = (*near, *unexcited)
        for group in changed:
            n_each = group.changes.branch.shape[1] * volts.shape[1]
            for some in pieces(np.arange(len(group.points)), n_each):
                found_volts = group.base_case.node_volts(group.changes.take(some))
                volts[group.points[some]] = found_volts
            is_base[group.points] = False
            is_near[group.points] = self._agrees(volts, group)
        volts[is_base] = self.base.volts[draw[is_base]]
        came = np.full(len(draw), -1) if before is None else before
        points = StatePoints(draw, slots, came, volts, is_near)
        afresh = self._order.solve_others(points, n_together=n_together)
        is_base[afresh.points] = False
        is_settled[afresh.points] = afresh.solution.is_settled
        return SolvedPoints(
            base_case=self.base_case,
            draw=draw,
            volts=volts,
            is_settled=is_settled,
            is_base=is_base,
            changed=changed,
            afresh=afresh,
        )

    def _agrees(self, volts: FloatArray, group: ChangedPoints) -> BoolArray:
        """Return where changed branches see the volts of their nodes, (n_points,)."""
        changes = group.changes
        control, row = self.network.control[changes.branch], group.points[:, None]
        across = volts[row, control[..., 0]] - volts[row, control[..., 1]]
        apart = np.abs(across - changes.control_volts) > MOST_APART_VOLTS
        return np.asarray(~(apart & (changes.branch >= 0)).any(axis=1))

    def _starting(
        self,
        draw: IntArray,
        slots: Slots,
        before: IntArray | None,
        n_together: int,
    ) -> tuple[BoolArray, tuple[ChangedPoints, ...]]:
        """Return which points may be near the base case, and those near it unexcited.

        In the first the base case rests, and gates that feed themselves once on start:
        with them held off, their pull-in volts are there. The others rest with them
        off, and do not come from a state that had them on.
        """
        needs_afresh = self._needs_afresh[draw[:, None], slots.branch]
        waits = np.asarray(needs_afresh & (slots.branch >= 0))
        starts: BoolArray = np.asarray(~waits.any(axis=1))
        starts &= self.base.is_settled[draw]
        if self._held_off is None:
            return starts, ()
        held_off_draw = self._held_off_draw[draw]
        may_hold = held_off_draw >= 0
        pulls_in = self._held_off.pulling_in.find(
            held_off_draw,
            slots,
            n_together=n_together,
            is_wanted=starts & may_hold,
            wants_changes=False,
        )
        waits = starts & may_hold & ~pulls_in.is_found
        starts &= pulls_in.is_found | ~may_hold
        waits &= (slots.branch >= 0).any(axis=1)
        base_case = self._held_off.base_case
        waits[may_hold] &= base_case.base.is_settled[held_off_draw[may_hold]]
        found = self._held_off.staying_off.find(
            held_off_draw, slots, n_together=n_together, is_wanted=waits
        )
        rests = found.is_found
        if before is not None:
            for some in in_order(before, np.flatnonzero(rests & (before >= 0))):
                came = before[some]
                rests[some] = rests[came] | ~may_hold[came]
        groups = (
            (points[rests[points]], changes.take(np.flatnonzero(rests[points])))
            for points, changes in found.groups
        )
        return starts, tuple(
            ChangedPoints(points, changes.with_a_place(), base_case)
            for points, changes in groups
        )


@dataclass(frozen=True, slots=True)
class _HeldOff:
    """The car with the gates held off that feed themselves once on.

    `pulling_in` finds points in which they would all pull in, `staying_off` points in
    which none would.
    """

    base_case: BaseCase
    pulling_in: NearbyPoints
    staying_off: NearbyPoints

    @staticmethod
    def of(
        network: Network, held: IntArray, is_held: BoolArray, block_length: int
    ) -> _HeldOff:
        """Return the car of some draws; `is_held` says for each which gates are."""
        curves = network.curves[held]
        curves[is_held, FORCED] = -1.0
        solver = OperatingPointSolver(replace(network, curves=curves))
        base_case = BaseCase(solver, block_length)
        must_pull_in = HeldOffGates.of(base_case, must_pull_in=is_held)
        must_stay_off = HeldOffGates.of(base_case, must_stay_off=is_held)
        return _HeldOff(
            base_case,
            pulling_in=NearbyPoints(base_case, must_pull_in),
            staying_off=NearbyPoints(base_case, must_stay_off),
        )
