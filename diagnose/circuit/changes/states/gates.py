"""Gates of points: where volts put them, and how one state leaves them to the next.

A gate pulls in at some volts and lets go at fewer; in between it stays as it is. So
each state begins with its gates as the state before left them. Leaves to `gate_paths`
whether that decides where they end.

Decision: an output that is first asked for in a state is up as its controller is. Both
have one gate, though they are two branches; a gate of its own would have to find the
restart volts again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.solver.network import (
    FORCED,
    OFF_VOLTS,
    ON_VOLTS,
    Network,
    Slots,
)
from diagnose.circuit.solver.operating_point import OperatingPoint, Start

# Factors on pull-in and release volts that widen a hysteresis a little, for points that
# stand for those of their group with more to spare, no unit. Own choice: a
# twentieth.
LITTLE_WIDER = np.array([1.05, 1.0 / 1.05])

# Factor by which the hysteresis of all draws is widened further, no unit. Derived: how
# far the volts of one draw lie from another's, beside those of its gates: a starter
# takes nearly the same current at any volts, so that those differ most. More than a
# quarter would doubt every relay that cranking leaves at 9 V.
WIDER_FOR_VOLTS = 1.2


@dataclass(frozen=True, slots=True)
class StatePoints:
    """Points of several states, and the solution they have or get.

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
        Points that have a solution near a base case, shape (n_points,).
    """

    draw: IntArray
    slots: Slots
    before: IntArray
    volts: FloatArray
    is_near: BoolArray


class Gates:
    """The gated branches of a network.

    Parameters
    ----------
    network : Network

    Attributes
    ----------
    branches : IntArray
        Which branches have a gate, shape (n_gates,).
    place : IntArray
        Place of each branch among them, -1 without a gate and, at the end, for the
        unused slot -1; shape (n_branches + 1,).
    curves : FloatArray
        Their curves, shape (n_draws, n_gates, CURVE_LENGTH).
    leader : IntArray
        The first gate that watches the same and pulls in and lets go at the same volts,
        shape (n_gates,).
    """

    def __init__(self, network: Network) -> None:
        self.branches = np.flatnonzero(network.has_gate)
        self.place = np.full(len(network.branches) + 1, -1)
        self.place[self.branches] = np.arange(len(self.branches))
        watch = network.watch[self.branches]
        pairs, self._pair = np.unique(watch, axis=0, return_inverse=True)
        self._nodes, ends = np.unique(pairs, return_inverse=True)
        self._first, self._second = ends.reshape(pairs.shape).T
        self.curves = network.curves[:, self.branches]
        self._is_free = self.curves[..., FORCED] == 0.0
        thresholds = self.curves[..., [ON_VOLTS, OFF_VOLTS]]
        self.leader = np.arange(len(self.branches))
        for gate in range(len(self.branches)):
            alike = self._pair == self._pair[gate]
            alike &= (thresholds == thresholds[:, gate : gate + 1]).all(axis=(0, 2))
            self.leader[gate] = np.flatnonzero(alike)[0]
        self._leaders = np.unique(self.leader)
        self._led_by = np.searchsorted(self._leaders, self.leader)
        self._on_volts = np.ascontiguousarray(thresholds[:, self._leaders, 0])

    def whole(self, is_on: BoolArray) -> BoolArray:
        """Return gates as part of all branches.

        Parameters
        ----------
        is_on : BoolArray
            Shape (n_points, n_gates).

        Returns
        -------
        BoolArray
            Shape (n_points, n_branches), False without a gate.
        """
        result = np.zeros((len(is_on), len(self.place) - 1), dtype=np.bool_)
        result[:, self.branches] = is_on
        return result

    def start(self, base: OperatingPoint, draw: IntArray, is_on: BoolArray) -> Start:
        """Return where points start whose gates begin in a given way.

        Parameters
        ----------
        base : OperatingPoint
            The network as it is, whose segments are tried first.
        draw : IntArray
            Shape (n_points,).
        is_on : BoolArray
            How their gates begin, shape (n_points, n_gates).

        Returns
        -------
        Start
            Of n_points points.
        """
        return Start(base.segment[draw], self.whole(is_on))

    def is_free(self, draw: IntArray) -> BoolArray:
        """Return which gates of the unchanged network switch their branch.

        Parameters
        ----------
        draw : IntArray
            Shape (n_points,).

        Returns
        -------
        BoolArray
            Shape (n_points, n_gates); False for one held open or closed.
        """
        return np.asarray(self._is_free.take(draw, axis=0))

    def by_volts(
        self, points: StatePoints, some: IntArray
    ) -> tuple[BoolArray, BoolArray]:
        """Return which gates switch their branch, and which have their pull-in volts.

        Parameters
        ----------
        points : StatePoints
            With their solution.
        some : IntArray
            Which of them are meant, shape (n_some,).

        Returns
        -------
        is_free, is_on : BoolArray
            Shape (n_some, n_gates) each; only a free gate is on.
        """
        draw, seen = points.draw[some], self._watched_volts(points, some)
        is_on = seen.take(self._pair[self._leaders], axis=1) >= self._on_volts[draw]
        is_on = is_on.take(self._led_by, axis=1)
        is_free = self._is_free.take(draw, axis=0)
        row, column, gate = self._changed(points.slots, some)
        changed = points.slots.curves[some[row], column]
        is_free[row, gate] = changed[:, FORCED] == 0.0
        is_on[row, gate] = seen[row, self._pair[gate]] >= changed[:, ON_VOLTS]
        is_on &= is_free
        return is_free, is_on

    def pull_in_ratio(self, points: StatePoints, some: IntArray) -> FloatArray:
        """Return the volts that gates watch over those at which they pull in.

        Parameters
        ----------
        points : StatePoints
            With their solution.
        some : IntArray
            Which of them are meant, shape (n_some,).

        Returns
        -------
        FloatArray
            Shape (n_some, n_gates), no unit.
        """
        pull_in = self._on_volts[points.draw[some]][:, self._led_by]
        row, column, gate = self._changed(points.slots, some)
        pull_in[row, gate] = points.slots.curves[some[row], column, ON_VOLTS]
        return np.asarray(self._watched_volts(points, some)[:, self._pair] / pull_in)

    def carried_over(self, is_on: BoolArray, is_free: BoolArray) -> BoolArray:
        """Return how gates begin the state that comes after.

        One that is held open or closed follows its leader.

        Parameters
        ----------
        is_on : BoolArray
            How they end, shape (n_points, n_gates).
        is_free : BoolArray
            Which switch their branch, same shape.

        Returns
        -------
        BoolArray
            Same shape.
        """
        is_on = is_on & is_free
        return np.where(is_free, is_on, is_on[:, self.leader])

    def _watched_volts(self, points: StatePoints, some: IntArray) -> FloatArray:
        """Return volts without sign of each pair of nodes that gates watch. [V]."""
        places = some[:, None] * points.volts.shape[1] + self._nodes
        volts = points.volts.reshape(-1).take(places)
        seen = volts.take(self._first, axis=1)
        seen -= volts.take(self._second, axis=1)
        return np.asarray(np.abs(seen, out=seen))

    def _changed(
        self, slots: Slots, some: IntArray
    ) -> tuple[IntArray, IntArray, IntArray]:
        """Return the row, the slot and the gate of each that is changed in points."""
        gate = self.place[slots.branch[some]]
        row, column = np.nonzero(gate >= 0)
        return row, column, gate[row, column]


class WiderHysteresis:
    """The gates of a network with a wider hysteresis: they stay longer than they would.

    Parameters
    ----------
    gates : Gates
    block_length : int
        Draws in a block, see `runs`.
    """

    def __init__(self, gates: Gates, block_length: int) -> None:
        self._gates = gates
        thresholds = gates.curves[..., [ON_VOLTS, OFF_VOLTS]]
        self._for_all = _factors_for_all(thresholds, block_length)

    def slots(self, draw: IntArray, slots: Slots, *, is_for_all: bool) -> Slots:
        """Return changed branches, all gates among them with a wider hysteresis.

        Parameters
        ----------
        draw : IntArray
            Shape (n_points,).
        slots : Slots
            The changed branches, n_points rows.
        is_for_all : bool
            As wide as that of all draws together and more; False: a little wider.

        Returns
        -------
        Slots
            Of n_points rows.
        """
        gates = self._gates
        curves = gates.curves.take(draw, axis=0)
        gate = gates.place[slots.branch]
        points, columns = np.nonzero(gate >= 0)
        curves[points, gate[points, columns]] = slots.curves[points, columns]
        curves[..., [ON_VOLTS, OFF_VOLTS]] *= (
            self._for_all.take(draw, axis=0) if is_for_all else LITTLE_WIDER
        )
        branch = np.tile(gates.branches, (len(draw), 1))
        return slots.beside(Slots(branch=branch, curves=curves))


def _factors_for_all(thresholds: FloatArray, block_length: int) -> FloatArray:
    """Return factors that bring thresholds to those of the draw farthest off, and more.

    `thresholds` are pull-in and release volts, shape (n_draws, n_gates, 2) as is what
    comes back. [V]
    """
    n_blocks = len(thresholds) // block_length
    blocks = thresholds.reshape(n_blocks, block_length, *thresholds.shape[1:])
    farthest = blocks.max(axis=1, keepdims=True)
    farthest[..., 1] = blocks[..., 1].min(axis=1, keepdims=True)
    wider = np.array([WIDER_FOR_VOLTS, 1.0 / WIDER_FOR_VOLTS])
    return np.asarray((farthest / blocks * wider).reshape(thresholds.shape))
