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

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.nearby_points import Nearby
from diagnose.circuit.solver.network import (
    FORCED,
    OFF_VOLTS,
    ON_VOLTS,
    SIEMENS,
    Network,
    Slots,
)
from diagnose.circuit.solver.operating_point import OperatingPoint, Start
from diagnose.circuit.solver.point_solver import OperatingPointSolver

FEW_POINTS = 1024
# Measured: fewer are solved as soon at once as one for each run and then the others.
FEW_ALIKE = 16
# Measured: so many are followed one by one as soon as some of them first.
MANY_POINTS = 128
# Measured: so many are solved from the start sooner than as changes of the base, of
# which most gates differ.
LITTLE_SLACK = np.array([1.05, 1.0 / 1.05])
# Derived: on pull-in and release volts, for points that stand for those of their group
# with more to spare.
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
    leader : IntArray
        The first gate that moves with each, shape (n_gates,).
    """

    def __init__(self, network: Network, n_alike: int) -> None:
        self.branches = np.flatnonzero(network.has_gate)
        self._n_branches = len(network.branches)
        self._place = np.full(self._n_branches + 1, -1)
        self._place[self.branches] = np.arange(len(self.branches))
        watch = network.watch[self.branches]
        pairs, self._pair = np.unique(watch, axis=0, return_inverse=True)
        self._nodes, ends = np.unique(pairs, return_inverse=True)
        self._first, self._second = ends.reshape(pairs.shape).T
        self._curves = network.curves[:, self.branches]
        self._is_free = self._curves[..., FORCED] == 0.0
        thresholds = self._curves[..., [ON_VOLTS, OFF_VOLTS]]
        self._slack = _slack(thresholds, n_alike)
        self.leader = np.arange(len(self.branches))
        for gate in range(len(self.branches)):
            alike = self._pair == self._pair[gate]
            alike &= (thresholds == thresholds[:, gate : gate + 1]).all(axis=(0, 2))
            self.leader[gate] = np.flatnonzero(alike)[0]
        self._leaders = np.unique(self.leader)
        self._led_by = np.searchsorted(self._leaders, self.leader)
        self._on_volts = np.ascontiguousarray(thresholds[:, self._leaders, 0])

    def whole(self, is_on: BoolArray) -> BoolArray:
        """Return gates as part of all branches, (n_points, n_branches)."""
        result = np.zeros((len(is_on), self._n_branches), dtype=np.bool_)
        result[:, self.branches] = is_on
        return result

    def free_as_it_is(self, draw: IntArray) -> BoolArray:
        """Return which gates of the unchanged network switch their branch."""
        return np.asarray(self._is_free.take(draw, axis=0))

    def free(self, draw: IntArray, slots: Slots) -> tuple[BoolArray, BoolArray]:
        """Return which gates of points switch their branch, and which are changed.

        Shape (n_points, n_gates) each.
        """
        is_free = self._is_free.take(draw, axis=0)
        is_changed = np.zeros_like(is_free)
        row, column, gate = self._changed(slots, np.arange(len(draw)))
        is_free[row, gate] = slots.curves[row, column, FORCED] == 0.0
        is_changed[row, gate] = True
        return is_free, is_changed

    def look(self, points: Points, some: IntArray) -> tuple[BoolArray, BoolArray]:
        """Return which gates of points switch their branch, and which are on by volts.

        Shape (n_some, n_gates) each; a gate is on that has its pull-in volts.
        """
        draw, seen = points.draw[some], self._seen(points, some)
        is_on = seen.take(self._pair[self._leaders], axis=1) >= self._on_volts[draw]
        is_on = is_on.take(self._led_by, axis=1)
        is_free = self._is_free.take(draw, axis=0)
        row, column, gate = self._changed(points.slots, some)
        changed = points.slots.curves[some[row], column]
        is_free[row, gate] = changed[:, FORCED] == 0.0
        is_on[row, gate] = seen[row, self._pair[gate]] >= changed[:, ON_VOLTS]
        is_on &= is_free
        return is_free, is_on

    def spare(self, points: Points, some: IntArray) -> FloatArray:
        """Return the watched volts over those to pull in, shape (n_some, n_gates)."""
        pull_in = self._on_volts[points.draw[some]][:, self._led_by]
        row, column, gate = self._changed(points.slots, some)
        pull_in[row, gate] = points.slots.curves[some[row], column, ON_VOLTS]
        return np.asarray(self._seen(points, some)[:, self._pair] / pull_in)

    def _seen(self, points: Points, some: IntArray) -> FloatArray:
        """Return what gates watch, once for all that watch one pair of nodes. [V]."""
        places = some[:, None] * points.volts.shape[1] + self._nodes
        volts = points.volts.reshape(-1).take(places)
        seen = volts.take(self._first, axis=1)
        seen -= volts.take(self._second, axis=1)
        return np.asarray(np.abs(seen, out=seen))

    def with_slack(self, draw: IntArray, slots: Slots, *, is_of_all: bool) -> Slots:
        """Return slots in which a gate stays longer than it should.

        Parameters
        ----------
        is_of_all : bool
            As long as that of any draw would, and a little.
        """
        slack = self._curves.take(draw, axis=0)
        gate = self._place[slots.branch]
        points, columns = np.nonzero(gate >= 0)
        slack[points, gate[points, columns]] = slots.curves[points, columns]
        slack[..., [ON_VOLTS, OFF_VOLTS]] *= (
            self._slack.take(draw, axis=0) if is_of_all else LITTLE_SLACK
        )
        branch = np.tile(self.branches, (len(draw), 1))
        return slots.beside(Slots(branch=branch, curves=slack))

    def left(self, is_on: BoolArray, is_free: BoolArray) -> BoolArray:
        """Return how gates are left, shape (n_points, n_gates).

        One that is held open or closed follows its leader, the first that moves with
        it: an output that nobody asks for is up or not as its controller is.
        """
        is_on = is_on & is_free
        return np.where(is_free, is_on, is_on[:, self.leader])

    def _changed(
        self, slots: Slots, some: IntArray
    ) -> tuple[IntArray, IntArray, IntArray]:
        """Return the row, the slot and the gate of each that is changed in points."""
        gate = self._place[slots.branch[some]]
        row, column = np.nonzero(gate >= 0)
        return row, column, gate[row, column]


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
    ) -> tuple[IntArray, OperatingPoint, BoolArray]:
        """Solve points afresh, states in their order, and write down their volts.

        Points near the base that the way does not lead to are taken off `is_near`.

        Parameters
        ----------
        n_together : int
            Points that follow each other and differ in nothing but the draw.

        Returns
        -------
        tuple
            Which points they are, their solution, and how all points leave their gates
            to the state that comes after, shape (n_points, n_gates).
        """
        n_points, n_gates = len(points.draw), len(self._gates.branches)
        left = np.zeros((n_points, n_gates), dtype=np.bool_)
        near = np.flatnonzero(points.is_near)
        self._stay(points, self._way(points, near, left, is_near=True))
        rows, parts = [], []
        for ready in _waves(points):
            here = ready[points.is_near[ready]]
            self._stay(points, self._way(points, here, left, is_near=False))
            some = ready[~points.is_near[ready]]
            for rest in self._afresh(points, some, left, n_together=n_together):
                rows.append(rest[0])
                parts.append(rest[1])
        if not rows:
            return near[:0], OperatingPoint.empty(0, self._solver.network), left
        return np.concatenate(rows), OperatingPoint.joined(parts), left

    def _afresh(
        self, points: Points, some: IntArray, left: BoolArray, *, n_together: int
    ) -> Iterator[tuple[IntArray, OperatingPoint]]:
        """Solve points whose states before are known; yield which, and how they end."""
        is_from_rest = points.before[some] < 0
        if len(some) <= FEW_POINTS and not is_from_rest.all():
            is_from_rest[:] = False
        for chosen, has_start in ((is_from_rest, False), (~is_from_rest, True)):
            rows = some[chosen]
            if not len(rows):
                continue
            came, draw = points.before[rows], points.draw[rows]
            begins = left[came] & (came >= 0)[:, None]
            is_worth = n_together > 1 and len(rows) > FEW_POINTS
            found = self._solver.solve(
                draw,
                points.slots.take(rows),
                start=self._start(draw, begins) if has_start else None,
                run=rows // n_together if is_worth else None,
            )
            points.volts[rows] = found.volts
            is_free, _ = self._gates.look(points, rows)
            is_on = found.is_on[:, self._gates.branches]
            left[rows] = self._gates.left(is_on, is_free)
            yield rows, found

    def _way(
        self, points: Points, near: IntArray, left: BoolArray, *, is_near: bool
    ) -> _Way:
        """Note how points near the base are left; return those that have to turn.

        Parameters
        ----------
        is_near : bool
            Those that come from rest or from points near the base, else the others.
        """
        is_free, ends = self._gates.look(points, near)
        left[near] = self._gates.left(ends, is_free)
        came, begins = points.before[near], np.zeros_like(ends)
        has_come = np.flatnonzero(came >= 0)
        begins[has_come] = left[came[has_come]] & is_free[has_come]
        is_meant = (came < 0) | points.is_near[came]
        is_meant = is_meant == is_near
        is_meant &= (_packed(begins) != _packed(ends)).any(axis=1)
        some = np.flatnonzero(is_meant)
        return _Way(near[some], begins[some], ends[some])

    def _stay(self, points: Points, way: _Way) -> None:
        """Give up points near the base that their way does not lead to.

        With the slack of all draws, a change of the least and one of the largest size
        stand for all that are alike. Where one of these strays, those stand for them
        that have least to spare, with little slack; where one still does, each is
        followed as it is.
        """
        if not len(way.point):
            return
        there = way.point
        same = _Same.of(
            points.slots.branch[there],
            points.draw[there] // self._nearby.linear.length,
            _packed(way.begins),
            _packed(way.ends),
            size=_sizes(points.slots, there),
        )
        strays = self._strays(points, way.take(same.pilots), is_of_all=True)
        doubted = same.beside(same.pilots[strays.any(axis=1)])
        is_many = np.bincount(same.group)[same.group[doubted]] > FEW_ALIKE
        some = doubted[is_many]
        gates = np.flatnonzero(strays.any(axis=0))
        spare = self._gates.spare(points, there[some])
        scarce = _scarcest(spare, way.ends[some], same.group[some], gates)
        pilots = np.union1d(some[scarce], np.intersect1d(same.pilots, some))
        strays = self._strays(points, way.take(pilots), is_of_all=False)
        some = same.beside(pilots[strays.any(axis=1)])
        doubted = np.concatenate([doubted[~is_many], some])
        strays = self._strays(points, way.take(doubted))
        points.is_near[there[doubted[strays.any(axis=1)]]] = False

    def _strays(
        self, points: Points, way: _Way, *, is_of_all: bool | None = None
    ) -> BoolArray:
        """Return which gates end elsewhere, shape (n_points, n_gates).

        All that have to turn, where points end nowhere.

        Parameters
        ----------
        is_of_all : bool or None
            With the slack of all draws or with little, see `Gates.with_slack`; with
            none if None.
        """
        if not len(way.point):
            return way.ends
        gates, draw = self._gates, points.draw[way.point]
        slots = points.slots.take(way.point)
        if is_of_all is not None:
            slots = gates.with_slack(draw, slots, is_of_all=is_of_all)
        begins, goal = gates.whole(way.begins), gates.whole(way.ends)
        is_there = np.zeros(len(draw), dtype=np.bool_)
        is_on = begins
        if len(draw) < MANY_POINTS:
            is_on, is_there = self._nearby.ends(draw, slots, begins, goal)
        lost = np.flatnonzero(~is_there)
        if len(lost):
            is_from_rest = not way.begins[lost].any()
            start = None if is_from_rest else self._start(draw[lost], way.begins[lost])
            is_on[lost], is_there[lost] = self._solver.ends(
                draw[lost], slots.take(lost), goal[lost], start=start
            )
        strays = is_on[:, gates.branches] != way.ends
        strays[~is_there] = (way.begins != way.ends)[~is_there]
        return np.asarray(strays)

    def _start(self, draw: IntArray, begins: BoolArray) -> Start:
        """Return where points start whose gates begin in a given way."""
        return Start(self._solver.base.segment[draw], self._gates.whole(begins))


@dataclass(frozen=True, slots=True)
class _Way:
    """Points near the base, and how their gates begin and end.

    `point` says which they are; `begins` and `ends` are the free gates that are on,
    shape (n_points, n_gates).
    """

    point: IntArray
    begins: BoolArray
    ends: BoolArray

    def take(self, some: IntArray) -> _Way:
        return _Way(self.point[some], self.begins[some], self.ends[some])


@dataclass(frozen=True, slots=True)
class _Same:
    """Points that follow each other and are alike but for the size of their change.

    `group` is the group of each; `pilots` those of each with the least and the largest
    change.
    """

    group: IntArray
    pilots: IntArray

    @staticmethod
    def of(branch: IntArray, *keys: IntArray, size: FloatArray) -> _Same:
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

    def beside(self, chosen: IntArray) -> IntArray:
        """Return the points of the groups that chosen ones are in."""
        is_meant = np.zeros(len(self.group), dtype=np.bool_)
        is_meant[self.group[chosen]] = True
        return np.flatnonzero(is_meant[self.group])


def _packed(is_on: BoolArray) -> IntArray:
    """Return rows of a table as few numbers that differ where rows differ."""
    packed = np.packbits(is_on, axis=1)
    wide = np.zeros((len(packed), -(-packed.shape[1] // 8) * 8), dtype=np.uint8)
    wide[:, : packed.shape[1]] = packed
    return wide.view(np.int64)


def _scarcest(
    spare: FloatArray, ends: BoolArray, group: IntArray, gates: IntArray
) -> IntArray:
    """Return the point of each group that has least to spare, for each of some gates.

    Parameters
    ----------
    spare : FloatArray
        As `Gates.spare` has it, of the points; a gate that ends on needs much, one that
        ends off little.
    """
    found = [np.arange(0)]
    for gate in gates.tolist():
        lack = np.where(ends[:, gate], spare[:, gate], -spare[:, gate])
        order = np.lexsort((lack, group))
        found.append(order[np.diff(group[order], prepend=-1) != 0])
    return np.unique(np.concatenate(found))


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


def _waves(points: Points) -> Iterator[IntArray]:
    """Yield points not near the base, and those that come from them, in their order.

    What is yielded comes from rest, or from points near the base, or from points that
    were yielded before.
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
