"""Points followed from state to state: how gates begin, and where that decides.

A relay that is on stays on down to its release volts, and one whose contact feeds its
own coil stays as it is. So each point begins as the state before left it, and states
are solved in their order. Points found near the healthy car rest, and every gate in
them decides by itself, but they may not be where the way leads: another rest, with a
relay that holds itself, may lie nearer. Some of them are therefore followed from where
the state before left their gates; if one ends elsewhere, all that it stands for are
solved afresh. Leaves both ways to solve to `nearby` and `operating_point`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nearby import Nearby
from diagnose.circuit.nodal import (
    FORCED,
    OFF_VOLTS,
    ON_VOLTS,
    SIEMENS,
    BoolArray,
    IntArray,
    Network,
    Slots,
)
from diagnose.circuit.operating_point import (
    OperatingPoint,
    OperatingPointSolver,
    Start,
)

FEW_POINTS = 1024
# Measured: fewer are solved as soon at once as one for each run and then the others.
MANY_POINTS = 128
# Measured: so many are solved from the start sooner than as changes of the base, of
# which most gates differ.
SLACK_FACTOR = 1.2
# Derived: how far the volts of one draw lie from another's, beside those of its gates:
# a starter takes nearly the same current at any volts, so that those differ most. More
# than a quarter would doubt every relay that cranking leaves at 9 V.


class Gates:
    """The gated branches of a network, and how one state leaves them to the next.

    Parameters
    ----------
    network : Network
    n_alike : int
        Draws of one state follow each other in so many.

    Attributes
    ----------
    branches : IntArray
        Which branches have a gate, shape (n_gates,).
    """

    def __init__(self, network: Network, n_alike: int) -> None:
        self.branches = np.flatnonzero(network.has_gate)
        self._n_branches = len(network.branches)
        self._place = np.full(self._n_branches + 1, -1)
        self._place[self.branches] = np.arange(len(self.branches))
        self._watch = network.watch[self.branches]
        self._curves = network.curves[:, self.branches]
        self._forced = self._curves[..., FORCED].copy()
        thresholds = self._curves[..., [ON_VOLTS, OFF_VOLTS]]
        self._on_volts = thresholds[..., 0]
        self._slack = _slack(thresholds, n_alike)
        self._leader = np.arange(len(self.branches))
        for gate in range(len(self.branches)):
            alike = (self._watch == self._watch[gate]).all(axis=1)
            alike &= (thresholds == thresholds[:, gate : gate + 1]).all(axis=(0, 2))
            self._leader[gate] = np.flatnonzero(alike)[0]

    def whole(self, is_on: BoolArray) -> BoolArray:
        """Return gates as part of all branches, (n_points, n_branches)."""
        result = np.zeros((len(is_on), self._n_branches), dtype=np.bool_)
        result[:, self.branches] = is_on
        return result

    def free_as_it_is(self, draw: IntArray) -> BoolArray:
        """Return which gates of the unchanged network switch their branch."""
        return np.asarray(self._forced.take(draw, axis=0) == 0.0)

    def free(self, points: Points, some: IntArray) -> BoolArray:
        """Return which gates of points switch their branch, (n_some, n_gates)."""
        return np.asarray(self._changed(self._forced, points, some, FORCED) == 0.0)

    def by_volts(self, points: Points, some: IntArray) -> BoolArray:
        """Return which gates have their pull-in volts, shape (n_some, n_gates)."""
        first, second = self._watch.T
        row = some[:, None]
        seen = np.abs(points.volts[row, first] - points.volts[row, second])
        return np.asarray(seen >= self._changed(self._on_volts, points, some, ON_VOLTS))

    def with_slack(self, draw: IntArray, slots: Slots) -> Slots:
        """Return slots in which a gate stays as long as that of any draw would."""
        slack = self._curves.take(draw, axis=0)
        gate = self._place[slots.branch]
        points, columns = np.nonzero(gate >= 0)
        slack[points, gate[points, columns]] = slots.curves[points, columns]
        slack[..., [ON_VOLTS, OFF_VOLTS]] *= self._slack.take(draw, axis=0)
        branch = np.tile(self.branches, (len(draw), 1))
        return slots.beside(Slots(branch=branch, curves=slack))

    def left(self, is_on: BoolArray, is_free: BoolArray) -> BoolArray:
        """Return how gates are left, shape (n_points, n_gates).

        One that is held open or closed follows its leader, the first that moves with
        it: an output that nobody asks for is up or not as its controller is.
        """
        is_on = is_on & is_free
        return np.where(is_free, is_on, is_on[:, self._leader])

    def _changed(
        self, table: FloatArray, points: Points, some: IntArray, place: int
    ) -> FloatArray:
        """Return rows of a table for points, with what is changed in them."""
        result = table.take(points.draw[some], axis=0)
        gate = self._place[points.slots.branch[some]]
        row, column = np.nonzero(gate >= 0)
        changed = points.slots.curves[some[row], column, place]
        result[row, gate[row, column]] = changed
        return result


@dataclass(frozen=True, slots=True)
class Points:
    """Points with changed branches, and the solution they have or get.

    Parameters
    ----------
    draw : IntArray
        Shape (n_points,).
    slots : Slots
        The changed branches of each point, n_points rows.
    before : IntArray
        For each point the one of the state the car comes from, -1: from rest.
    volts : FloatArray
        Shape (n_points, n_nodes). [V]
    is_near : BoolArray
        Points that have a solution near the base, shape (n_points,).
    """

    draw: IntArray
    slots: Slots
    before: IntArray
    volts: FloatArray
    is_near: BoolArray


class Following:
    """Solves what is not near the base, and looks whether the rest is on its way.

    Parameters
    ----------
    solver : OperatingPointSolver
    nearby : Nearby
    gates : Gates
        Of the same network.
    """

    def __init__(
        self, solver: OperatingPointSolver, nearby: Nearby, gates: Gates
    ) -> None:
        self._solver, self._nearby, self._gates = solver, nearby, gates

    def follow(
        self, points: Points, *, n_together: int
    ) -> tuple[IntArray, OperatingPoint]:
        """Solve points afresh, states in their order, and write down their volts.

        Points near the base that the way does not lead to are taken off `is_near`.

        Parameters
        ----------
        n_together : int
            Points that follow each other and differ in nothing but the draw.

        Returns
        -------
        tuple
            Which points they are, and their solution.
        """
        n_points = len(points.draw)
        left = np.zeros((n_points, len(self._gates.branches)), dtype=np.bool_)
        rows, parts = [], []
        for state in in_order(points.before, np.arange(n_points)):
            came = points.before[state]
            begins = left[came] & (came >= 0)[:, None]
            self._stay(points, state, begins, left, n_together=n_together)
            is_fresh = ~points.is_near[state]
            some, begins = state[is_fresh], begins[is_fresh]
            if not len(some):
                continue
            is_worth = n_together > 1 and len(some) > FEW_POINTS
            run = some // n_together if is_worth else None
            draw, slots = points.draw[some], points.slots.take(some)
            is_first = points.before[some[0]] < 0
            start = None if is_first else self._start(draw, begins)
            found = self._solver.solve(draw, slots, start=start, run=run)
            points.volts[some] = found.volts
            free = self._gates.free(points, some)
            is_on = found.is_on[:, self._gates.branches]
            left[some] = self._gates.left(is_on, free)
            rows.append(some)
            parts.append(found)
        if not rows:
            return np.arange(0), OperatingPoint.empty(0, self._solver.network)
        return np.concatenate(rows), OperatingPoint.joined(parts)

    def _stay(
        self,
        points: Points,
        state: IntArray,
        begins: BoolArray,
        left: BoolArray,
        *,
        n_together: int,
    ) -> None:
        """Note how points near the base leave their gates; give up those that stray."""
        is_near = points.is_near[state]
        near, begins = state[is_near], begins[is_near]
        free = self._gates.free(points, near)
        ends = self._gates.by_volts(points, near) & free
        left[near] = self._gates.left(ends, free)
        begins &= free
        moves = np.flatnonzero((begins != ends).any(axis=1))
        if not len(moves):
            return
        there = near[moves]
        same = _Same.of(
            points.slots.branch[there],
            points.draw[there] // self._nearby.linear.length,
            begins[moves],
            ends[moves],
            size=_sizes(points.slots, there),
        )
        pilots = moves[same.pilots]
        strays = self._strays(
            points, near[pilots], begins[pilots], ends[pilots], has_slack=True
        )
        doubted = moves[same.beside(strays)]
        strays = self._strays(
            points,
            near[doubted],
            begins[doubted],
            ends[doubted],
            n_together=n_together,
        )
        points.is_near[near[doubted[strays]]] = False

    def _strays(
        self,
        points: Points,
        some: IntArray,
        begins: BoolArray,
        ends: BoolArray,
        *,
        has_slack: bool = False,
        n_together: int = 1,
    ) -> BoolArray:
        """Return which points of one state end elsewhere or nowhere, (n_points,).

        Parameters
        ----------
        begins, ends : BoolArray
            Free gates that are on at first and in the end, shape (n_points, n_gates).
        has_slack : bool
            With a hysteresis as wide as that of all draws together.
        n_together : int
            Points that follow each other and differ in nothing but the draw.
        """
        gates, draw = self._gates, points.draw[some]
        slots = points.slots.take(some)
        if has_slack:
            slots = gates.with_slack(draw, slots)
        if len(some) < MANY_POINTS:
            is_on, rests = self._nearby.ends(draw, slots, gates.whole(begins))
        else:
            is_on = gates.whole(np.zeros_like(begins))
            rests = np.zeros(len(some), dtype=np.bool_)
        is_on = is_on[:, gates.branches]
        lost = np.flatnonzero(~rests)
        if len(lost):
            is_from_rest = not begins[lost].any()
            start = None if is_from_rest else self._start(draw[lost], begins[lost])
            is_worth = n_together > 1 and len(lost) > FEW_POINTS
            run = some[lost] // n_together if is_worth else None
            found = self._solver.solve(
                draw[lost], slots.take(lost), start=start, run=run
            )
            is_on[lost] = found.is_on[:, gates.branches]
            rests[lost] = found.is_settled
        differs = (is_on != ends) & gates.free(points, some)
        return np.asarray(differs.any(axis=1) | ~rests)

    def _start(self, draw: IntArray, begins: BoolArray) -> Start:
        """Return where points start whose gates begin in a given way."""
        return Start(self._solver.base.segment[draw], self._gates.whole(begins))


@dataclass(frozen=True, slots=True)
class _Same:
    """Points that follow each other and are alike but for the size of their change.

    `group` is the group of each; `pilots` those of each with the least and the largest
    change.
    """

    group: IntArray
    pilots: IntArray

    @staticmethod
    def of(branch: IntArray, *keys: IntArray | BoolArray, size: FloatArray) -> _Same:
        differs = (branch[1:] != branch[:-1]).any(axis=1)
        for key in keys:
            apart = key[1:] != key[:-1]
            differs |= apart if apart.ndim == 1 else apart.any(axis=1)
        group = np.concatenate([[0], np.cumsum(differs)])
        order = np.lexsort((size, group))
        ends = np.flatnonzero(np.diff(group[order], prepend=-1, append=-1))
        least, largest = order[ends[:-1]], order[ends[1:] - 1]
        pilots = np.concatenate([least, largest[size[largest] > size[least]]])
        return _Same(group, pilots)

    def beside(self, is_meant: BoolArray) -> BoolArray:
        """Return the points that have a pilot that is meant, shape (n_points,)."""
        return np.isin(self.group, self.group[self.pilots[is_meant]])


def _slack(thresholds: FloatArray, n_alike: int) -> FloatArray:
    """Return how far thresholds lie from those of the draw farthest off.

    Parameters
    ----------
    thresholds : FloatArray
        Pull-in and release volts, shape (n_draws, n_gates, 2). [V]

    Returns
    -------
    FloatArray
        The same shape.
    """
    n_blocks = len(thresholds) // n_alike
    blocks = thresholds.reshape(n_blocks, n_alike, *thresholds.shape[1:])
    farthest = blocks.max(axis=1, keepdims=True)
    farthest[..., 1] = blocks[..., 1].min(axis=1, keepdims=True)
    factors = farthest / blocks * np.array([SLACK_FACTOR, 1.0 / SLACK_FACTOR])
    return np.asarray(factors.reshape(thresholds.shape))


def _sizes(slots: Slots, some: IntArray) -> FloatArray:
    """Return how much the first changed branch of points conducts, (n_some,). [S]."""
    if not slots.branch.shape[1]:
        return np.zeros(len(some))
    return np.asarray(slots.curves[some, 0, SIEMENS.start])


def in_order(before: IntArray, rows: IntArray) -> Iterator[IntArray]:
    """Yield the rows that come from rest, then those that come from these, and so on.

    Parameters
    ----------
    before : IntArray
        Where each point comes from, -1 for rest.
    """
    depth, here = np.zeros_like(before), before
    while (here >= 0).any():
        depth += here >= 0
        here = np.where(here >= 0, before[here], -1)
    for step in np.unique(depth[rows]).tolist():
        yield rows[depth[rows] == step]
