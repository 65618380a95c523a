"""Changes of one car, each alone, in all its states and draws.

What a change alone is in a state says how it can stand beside another: it changes
nothing; it is one branch on one line; or it is more than that. Knows no faults.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.circuit.compensation import Compensated, Solved
from diagnose.circuit.nodal import (
    AMPS,
    CURVE_LENGTH,
    EDGES,
    FORCED,
    SIEMENS,
    BoolArray,
    IntArray,
    Slots,
)
from diagnose.circuit.settling import Curves, Segments

NOTHING, OTHERWISE = -1, -2
"""In place of a branch: the change changes nothing, or is more than one line."""


class Singles:
    """Changes of one car in all its states, each alone.

    Parameters
    ----------
    solver : Compensated
    n_changes : int
        Changes, such as faults; each has a number.
    length : int
        Draws of each state.

    Attributes
    ----------
    branch : IntArray
        The branch of a change that is one line, else `NOTHING` or `OTHERWISE`, shape
        (n_states, n_changes).
    siemens, amps, low, high : FloatArray
        Its line, and between which volts it holds, shape (n_states, n_changes, length).
        [S], [A], [V]
    is_near : BoolArray
        Changes that are small changes of the sound car in all draws, and find the gates
        as it does, shape (n_states, n_changes).
    ways : list[dict[int, Slots]]
        By state, the changed branches of those changes that are neither one line nor
        nothing.
    begins : BoolArray
        How gates begin, shape (n_states, n_changes, length, n_gates).
    came : IntArray
        The state the car comes from, -1 for none, shape (n_states,).
    """

    def __init__(self, solver: Compensated, n_changes: int, length: int) -> None:
        self.solver, self.length = solver, length
        n_states = solver.network.n_draws // length
        self.branch = np.full((n_states, n_changes), OTHERWISE)
        self.is_near: BoolArray = np.zeros((n_states, n_changes), dtype=np.bool_)
        self.siemens = np.zeros((n_states, n_changes, length))
        self.amps = np.zeros_like(self.siemens)
        self.low = np.full_like(self.siemens, -np.inf)
        self.high = np.full_like(self.siemens, np.inf)
        self._bent: list[dict[int, Slots]] = [{} for _ in range(n_states)]
        self.ways: list[dict[int, Slots]] = [{} for _ in range(n_states)]
        self.came = np.full(n_states, -1)
        n_gates = solver.begins.shape[1]
        self.begins = np.zeros((n_states, n_changes, length, n_gates), dtype=np.bool_)

    @property
    def n_changes(self) -> int:
        """Number of changes."""
        return self.branch.shape[1]

    def add(
        self, changes: IntArray, solved: Solved, slots: Slots, before: IntArray
    ) -> None:
        """Note some changes.

        Parameters
        ----------
        changes : IntArray
            Their numbers, shape (n_added,).
        solved : Solved
            Each alone: all draws of a change in turn, all changes of a state in turn.
        slots : Slots
            The changed branches of each point.
        before : IntArray
            For each point the one of the state the car comes from, -1 for none.
        """
        draw, length = solved.draw, self.length
        is_near = np.ones(len(draw), dtype=np.bool_)
        is_near[solved.fresh[0]] = False
        for group in solved.changed:
            if group.origin is not self.solver.origin:
                is_near[group.points] = False
        first = slice(None, None, length)
        count = (slots.branch[first] >= 0).sum(axis=1)
        states = draw[first] // length
        came = before[first] // (length * len(changes))
        self.came[states] = np.where(before[first] >= 0, came, -1)
        places = np.tile(changes, len(states) // len(changes))
        begins = solved.left[before] & (before >= 0)[:, None]
        begins = begins.reshape(-1, *self.begins.shape[2:])
        self.begins[states, places] = begins
        sound = self.solver.begins[draw].reshape(begins.shape)
        near = is_near.reshape(-1, length).all(axis=1)
        near &= (begins == sound).all(axis=(1, 2))
        self.is_near[states, places] = near
        self.branch[states, places] = np.where(near & (count == 0), NOTHING, OTHERWISE)
        rows = np.flatnonzero(count == 1)
        self._add_lines(states, places, rows, solved=solved, slots=slots)
        for row in np.flatnonzero(self.branch[states, places] == OTHERWISE).tolist():
            points = np.arange(row * length, (row + 1) * length)
            self.ways[states[row]][int(places[row])] = slots.take(points)

    def _add_lines(
        self,
        states: IntArray,
        places: IntArray,
        rows: IntArray,
        *,
        solved: Solved,
        slots: Slots,
    ) -> None:
        """Note the changes of one branch that no gate switches.

        Where the branch bends, it is the line of the segment on which it rests, near
        the sound car.
        """
        if not len(rows):
            return
        length, network = self.length, self.solver.network
        first = slice(None, None, length)
        states, places, branch = states[rows], places[rows], slots.branch[first][rows]
        branch = branch[:, 0]
        curves = slots.curves.reshape(-1, length, *slots.curves.shape[1:])[rows, :, 0]
        forced = curves[..., FORCED]
        carries = forced > 0.0
        is_switched = network.has_gate[branch, None] & (forced == 0.0)
        breaks = curves[..., EDGES.start + 1 : EDGES.stop - 1]
        is_bent = carries & np.isfinite(breaks[..., 0])
        is_line = self.solver.is_free(solved.draw[first][rows], branch)
        is_line &= ~is_switched.any(axis=1)
        is_line &= self.is_near[states, places] | ~is_bent.any(axis=1)
        self.branch[states, places] = np.where(is_line, branch, OTHERWISE)
        one, other = network.control[branch].T
        points = (rows[:, None] * length + np.arange(length)).ravel()
        volts = solved.volts[points].reshape(len(rows), length, -1)
        row, draw = np.arange(len(rows))[:, None], np.arange(length)
        control = volts[row, draw, one[:, None]] - volts[row, draw, other[:, None]]
        segment = (control[..., None] >= breaks).sum(axis=2)
        here = Segments.of(
            Curves.of(curves.transpose(2, 0, 1)), np.where(carries, segment, 0)
        )
        self.siemens[states, places] = here.siemens * carries
        self.amps[states, places] = here.amps * carries
        self.low[states, places] = np.where(is_bent, here.low, -np.inf)
        self.high[states, places] = np.where(is_bent, here.high, np.inf)
        for each in np.flatnonzero(is_line & is_bent.any(axis=1)).tolist():
            own = np.arange(rows[each] * length, (rows[each] + 1) * length)
            self._bent[states[each]][int(places[each])] = slots.take(own)

    def in_order(self) -> Iterator[int]:
        """Yield the states, each after the one the car comes from."""
        left = list(range(len(self.came)))
        while left:
            ready = [state for state in left if self.came[state] not in left]
            yield from ready
            left = [state for state in left if state not in ready]

    def draws(self, state: int) -> IntArray:
        """Return the draws of a state among those of all."""
        return np.arange(state * self.length, (state + 1) * self.length)

    def slots(self, state: int, change: int) -> Slots:
        """Return the changed branches of all draws of a change."""
        if change in self.ways[state]:
            return self.ways[state][change]
        if self.branch[state, change] == NOTHING:
            return nothing(self.length)
        return self.lines(state, np.array([change]))[change]

    def lines(self, state: int, changes: IntArray) -> dict[int, Slots]:
        """Return changes of one line, put back into slots; bent ones as they came."""
        shape = (len(changes), self.length)
        curves = np.zeros((*shape, 1, CURVE_LENGTH))
        siemens, amps = self.siemens[state, changes], self.amps[state, changes]
        curves[..., EDGES] = np.inf
        curves[..., EDGES.start] = -np.inf
        curves[..., SIEMENS] = siemens[..., None, None]
        curves[..., AMPS] = amps[..., None, None]
        carries = (siemens != 0.0) | (amps != 0.0)
        curves[..., FORCED] = np.where(carries, 1.0, -1.0)[..., None]
        branch, bent = self.branch[state, changes].tolist(), self._bent[state]
        return {
            number: bent.get(number)
            or Slots(branch=np.full((self.length, 1), used), curves=curve)
            for number, used, curve in zip(
                changes.tolist(), branch, curves, strict=True
            )
        }

    def begins_alone(self, state: int, first: IntArray, second: IntArray) -> BoolArray:
        """Return how gates begin, those otherwise that either change has otherwise.

        Shape (n_pairs, length, n_gates).
        """
        begins = self.begins[state]
        differs = begins != self.solver.begins[self.draws(state)]
        return np.asarray(np.where(differs[first], begins[first], begins[second]))


def nothing(length: int) -> Slots:
    """Return the slots of a change that changes nothing."""
    branch = np.full((length, 1), -1)
    return Slots(branch=branch, curves=np.zeros((length, 1, CURVE_LENGTH)))


def stacked(slots: Sequence[Slots]) -> Slots:
    """Return the slots of several changes as those of all their points."""
    width = max(each.branch.shape[1] for each in slots)

    def whole(array: npt.NDArray[Any], fill: int) -> npt.NDArray[Any]:
        room = [(0, 0)] * array.ndim
        room[1] = (0, width - array.shape[1])
        return np.pad(array, room, constant_values=fill)

    return Slots(
        branch=np.concatenate([whole(each.branch, -1) for each in slots]),
        curves=np.concatenate([whole(each.curves, 0) for each in slots]),
    )
