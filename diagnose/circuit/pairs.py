"""All pairs of small changes, held by what each change does alone.

A change alone sends an extra current d_a through its branch. With another one beside it
the two currents follow from what each sees of the other,

    d_a' = d_a - p_ab d_b',  d_b' = d_b - p_ba d_a',  p_ab = (g_a' - g_a) t_ab / own_a,

and the volts of every node are those of the base less two responses times two currents
(`linearised`). So a pair needs no room: it is a system of two equations, solved when
somebody asks. What has to be known beforehand is where nothing else moves. For each
change alone let

    u_a = the most of a margin that an amp of it takes, over all segments, gates and
          currents that open a fuse;

a pair with |d_a'| u_a + |d_b'| u_b < 1 leaves everything in its place. That is looked
at in every draw; what it does not clear is left to `compensation`. Knows no faults.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.compensation import Compensated
from diagnose.circuit.linearised import Changes
from diagnose.circuit.nearby import Nearby
from diagnose.circuit.nodal import (
    AMPS,
    EDGES,
    FORCED,
    SIEMENS,
    TRIP_AMPS,
    BoolArray,
    IntArray,
    Slots,
)

LEAST_DETERMINANT = 1e-3
# Derived: with less, the pair has lost 3 of 16 digits, and is solved otherwise.
MOST_OF_MARGIN = 1.0 - 1e-3
# Derived: single precision over the least determinant leaves a ten-thousandth.
N_ALONE = 3
TILE = 160
# Measured: some arrays of so many changes squared stay in the processor's cache.
SingleArray = npt.NDArray[np.float32]
NOTHING, OTHERWISE = -1, -2
"""In place of a branch: the change changes nothing, or more than one line."""


class Pairs:
    """Pairs of changes of one car in all its states.

    Parameters
    ----------
    solver : Compensated
    n_changes : int
        Changes, such as faults; each has a number.
    length : int
        Draws of each state.

    Attributes
    ----------
    is_held : BoolArray
        Which pairs are answered without settling, shape (n_states, n_changes,
        n_changes); False on the diagonal.
    """

    def __init__(self, solver: Compensated, n_changes: int, length: int) -> None:
        self._solver, self._length = solver, length
        n_states = solver.network.n_draws // length
        self._branch = np.full((n_states, n_changes), OTHERWISE)
        self._siemens = np.zeros((n_states, n_changes, length))
        self._amps = np.zeros_like(self._siemens)
        self._trip_amps = np.zeros_like(self._siemens)
        self.is_held: BoolArray = np.zeros(
            (n_states, n_changes, n_changes), dtype=np.bool_
        )

    def add(self, changes: IntArray, draw: IntArray, slots: Slots) -> None:
        """Note the lines of some changes.

        Parameters
        ----------
        changes : IntArray
            Their numbers, shape (n_added,).
        draw : IntArray
            All draws of a change in turn, all changes of a state in turn; shape
            (n_points,).
        slots : Slots
            The changed branches of each point.
        """
        first = slice(None, None, self._length)
        count = (slots.branch[first] >= 0).sum(axis=1)
        states = draw[first] // self._length
        places = np.tile(changes, len(states) // len(changes))
        self._branch[states, places] = np.where(count == 0, NOTHING, OTHERWISE)
        rows = np.flatnonzero(count == 1)
        if not len(rows):
            return
        states, places, branch = states[rows], places[rows], slots.branch[first][rows]
        shape = (-1, self._length, *slots.curves.shape[1:])
        curves = slots.curves.reshape(shape)[rows, :, 0]
        is_simple = self._solver.is_free(draw[first][rows], branch[:, 0])
        carries = curves[..., FORCED] > 0.0
        has_gate = self._solver.network.has_gate[branch[:, 0], None]
        is_bent = np.isfinite(curves[..., EDGES.start + 1]) & carries
        is_simple &= ~(is_bent | (has_gate & (curves[..., FORCED] == 0.0))).any(axis=1)
        self._branch[states, places] = np.where(is_simple, branch[:, 0], OTHERWISE)
        self._siemens[states, places] = curves[..., SIEMENS.start] * carries
        self._amps[states, places] = curves[..., AMPS.start] * carries
        self._trip_amps[states, places] = curves[..., TRIP_AMPS]

    def check(self) -> None:
        """Find which pairs leave everything but themselves in its place."""
        for state, branch in enumerate(self._branch):
            nothing = branch == NOTHING
            held = nothing[:, None] | nothing
            simple = np.flatnonzero(branch >= 0)
            draws = slice(state * self._length, (state + 1) * self._length)
            if len(simple) and self._solver.base.is_settled[draws].all():
                held[np.ix_(simple, simple)] = self._cleared(state, simple)
            np.fill_diagonal(held, val=False)
            self.is_held[state] = held

    def _cleared(self, state: int, simple: IntArray) -> BoolArray:
        """Return which pairs of some changes are cleared, shape (n_some, n_some)."""
        views = [
            self._view(state, simple, *view)
            for view in self._solver.margins(state * self._length)
        ]
        calm = np.flatnonzero(np.logical_and.reduce([view.is_calm for view in views]))
        branch = self._branch[state, simple[calm]]
        result = np.zeros((len(simple), len(simple)), dtype=np.bool_)
        cleared = branch[:, None] != branch
        for view in views:
            view.take(calm).clear(cleared)
        result[np.ix_(calm, calm)] = cleared
        return result

    def _view(self, state: int, simple: IntArray, nearby: Nearby, block: int) -> _View:
        """Return some changes as one solution sees them."""
        linear, branch = nearby.linear, self._branch[state, simple]
        siemens, amps = self._siemens[state, simple], self._amps[state, simple]
        sides, reading = linear.block(block)
        base_siemens, base_amps, volts, ohms = sides[branch, :4].swapaxes(0, 1)
        own = 1.0 + ohms * siemens
        x = (volts - ohms * amps) / own
        change = siemens - base_siemens
        rise, fall = nearby.reach(block, branch)
        groups = _groups(np.maximum(rise, fall).max(axis=2))
        rises = [rise[group].max(axis=0) for group in groups]
        falls = [fall[group].max(axis=0) for group in groups]
        own_share = np.zeros_like(x)
        if linear is self._solver.origin:
            more, less = self._trips(state, branch)
            rises.append(more)
            falls.append(less)
            limit = self._trip_amps[state, simple]
            room = limit - np.abs(siemens * x + amps)
            own_share = _most_of(np.abs(siemens), room, room) / own
        return _View(
            output=linear.network.output[branch],
            reading=np.ascontiguousarray(reading[branch].transpose(2, 1, 0)),
            extra_amps=change * x + (amps - base_amps),
            factor=change / own,
            rise=np.stack(rises),
            fall=np.stack(falls),
            own_share=own_share,
        )

    def _trips(self, state: int, branch: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return what takes fuses to the current that opens them. [1/A].

        By an amp more through a changed branch, and by an amp less, the most over the
        other fuses; shape (n_some, length) each.
        """
        linear, network = self._solver.origin, self._solver.network
        draws = np.arange(state * self._length, (state + 1) * self._length)
        fuses = np.flatnonzero(np.isfinite(network.trip_amps).all(axis=0))
        flows = linear.base.branch_amps(network)[draws]
        rise = np.zeros((len(branch), self._length))
        fall = np.zeros_like(rise)
        each = branch[:, None]
        for fuse in fuses.tolist():
            first, second = network.control[fuse]
            change = linear.response[each, draws, first]
            change -= linear.response[each, draws, second]
            change *= linear.base.siemens[draws, fuse]
            change[branch == fuse] = 0.0
            limit, here = network.trip_amps[draws, fuse], flows[:, fuse]
            below, above = limit + here, limit - here
            np.maximum(rise, _most_of(change, below, above), out=rise)
            np.maximum(fall, _most_of(-change, below, above), out=fall)
        return rise, fall

    def changes(self, state: int, first: int, second: int) -> Changes | None:
        """Return a pair of simple changes solved in all draws of a state.

        None where either is no simple change, or where digits do not suffice.
        """
        pair = np.array([first, second])
        branch = self._branch[state, pair]
        if branch.min() < 0:
            return None
        siemens, amps = self._siemens[state, pair].T, self._amps[state, pair].T
        solved = self._solver.origin.changes(
            np.arange(state * self._length, (state + 1) * self._length),
            np.tile(branch, (self._length, 1)),
            siemens=np.ascontiguousarray(siemens),
            amps=np.ascontiguousarray(amps),
            is_conducting=(siemens != 0.0) | (amps != 0.0),
        )
        return solved if solved.is_sound.all() else None

    def volts(self, state: int, first: int, second: int) -> FloatArray | None:
        """Return the volts of a pair in a state, shape (length, n_nodes). [V].

        None where it is not held, or held as what one of the two shows alone.
        """
        if not self.is_held[state, first, second]:
            return None
        solved = self.changes(state, first, second)
        if solved is None:
            return None
        origin = self._solver.origin
        falls = origin.falls(origin.response, solved)
        return np.asarray(origin.base.volts[solved.draw] - falls)


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """Changes as one solution sees them; those of shape (..., n_changes, length).

    Parameters
    ----------
    output : IntArray
        Of the changed branches, shape (n_changes, 2).
    reading : FloatArray
        What each sees of an amp into each node, taken out, shape (length, n_nodes,
        n_changes). [Ω]
    extra_amps : FloatArray
        What each sends through its branch alone. [A]
    factor : FloatArray
        The change of its slope over 1 + R g'. [S]
    rise, fall : FloatArray
        The most of a margin that an amp more takes, and an amp less, for each group of
        margins. [1/A]
    own_share : FloatArray
        What a volt that the other one gives takes of its own margin. [1/V]
    """

    output: IntArray
    reading: FloatArray
    extra_amps: FloatArray
    factor: FloatArray
    rise: FloatArray
    fall: FloatArray
    own_share: FloatArray

    @property
    def is_calm(self) -> BoolArray:
        """Changes that alone leave everything in its place, shape (n_changes,)."""
        taken = np.maximum(self.extra_amps * self.rise, -self.extra_amps * self.fall)
        is_calm = (taken < MOST_OF_MARGIN).all(axis=(0, 2))
        return np.asarray(is_calm & np.isfinite(self.own_share).all(axis=1))

    def take(self, some: IntArray) -> _View:
        """Return some of the changes."""
        return _View(
            output=self.output[some],
            reading=self.reading[:, :, some],
            extra_amps=self.extra_amps[some],
            factor=self.factor[some],
            rise=self.rise[:, some],
            fall=self.fall[:, some],
            own_share=self.own_share[some],
        )

    def clear(self, cleared: BoolArray) -> None:
        """Take off the pairs that do not stay within all margins in all draws."""
        size = len(self.extra_amps)
        for first in range(0, size, TILE):
            for second in range(first, size, TILE):
                one = slice(first, first + TILE)
                other = slice(second, second + TILE)
                here = cleared[one, other]
                if here.any():
                    here &= self._tile_cleared(one, other)
                    cleared[other, one] = here.T

    def _tile_cleared(self, one: slice, other: slice) -> BoolArray:
        """Return which pairs of some changes with others stay within all margins."""
        sides = [_Side.of(self, one), _Side.of(self, other)]
        shape = (len(self.output[one]), len(self.output[other]))
        cleared = np.ones(shape, dtype=np.bool_)
        for draw in range(len(self.reading)):
            cleared &= self._draw_cleared(draw, *sides)
        return cleared

    def _draw_cleared(self, draw: int, one: _Side, other: _Side) -> BoolArray:
        """Return which pairs stay within all margins in a draw."""
        there, here = (
            one.volts(other, self.reading[draw]),
            other.volts(one, self.reading[draw]).T,
        )
        by_other, by_one = there * one.factor[draw], here * other.factor[draw].T
        determinant = 1.0 - by_other * by_one
        is_sound = determinant > LEAST_DETERMINANT
        np.maximum(determinant, LEAST_DETERMINANT, out=determinant)
        np.divide(1.0, determinant, out=determinant)
        one_amps = (one.amps[draw] - by_other * other.amps[draw].T) * determinant
        other_amps = (other.amps[draw].T - by_one * one.amps[draw]) * determinant
        cleared = is_sound
        for group in range(len(self.rise)):
            taken = np.maximum(
                one_amps * one.rise[group, draw], one_amps * one.fall[group, draw]
            )
            more = np.maximum(
                other_amps * other.rise[group, draw].T,
                other_amps * other.fall[group, draw].T,
            )
            taken += more
            cleared &= taken < MOST_OF_MARGIN
        if one.has_own:
            cleared &= np.abs(there * other_amps) * one.own[draw] < MOST_OF_MARGIN
        if other.has_own:
            cleared &= np.abs(here * one_amps) * other.own[draw].T < MOST_OF_MARGIN
        return np.asarray(cleared)


@dataclass(frozen=True, slots=True)
class _Side:
    """Some changes in single precision, as columns; shape (..., length, n_some, 1)."""

    some: slice
    output: IntArray
    amps: SingleArray
    factor: SingleArray
    rise: SingleArray
    fall: SingleArray
    own: SingleArray
    has_own: bool

    @staticmethod
    def of(view: _View, some: slice) -> _Side:
        def columns(array: FloatArray) -> SingleArray:
            return np.ascontiguousarray(
                array.swapaxes(-1, -2)[..., some, None], dtype=np.float32
            )

        return _Side(
            some,
            view.output[some],
            columns(view.extra_amps),
            columns(view.factor),
            columns(view.rise),
            columns(-view.fall),
            columns(view.own_share),
            bool(view.own_share[some].any()),
        )

    def volts(self, other: _Side, reading: FloatArray) -> SingleArray:
        """Return what each sees of an amp through each other one. [Ω]."""
        first, second = other.output.T
        seen = reading[:, self.some]
        volts = seen.take(first, axis=0) - seen.take(second, axis=0)
        return np.ascontiguousarray(volts.T, dtype=np.float32)


def _groups(most: FloatArray) -> list[IntArray]:
    """Return margins in groups: those that most changes take most of, and the rest.

    Parameters
    ----------
    most : FloatArray
        Shape (n_margins, n_changes).
    """
    counts = np.bincount(most.argmax(axis=0), minlength=len(most))
    order = np.argsort(-counts, kind="stable")
    alone = [order[k : k + 1] for k in range(min(N_ALONE, len(order) - 1))]
    return [*alone, order[len(alone) :]]


def _most_of(change: FloatArray, below: FloatArray, above: FloatArray) -> FloatArray:
    """Return what a fall by `change` takes of the room below or above, 0 or more.

    Without any room it is infinite.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        down = np.where(change > 0.0, change / np.maximum(below, 0.0), 0.0)
        up = np.where(change < 0.0, -change / np.maximum(above, 0.0), 0.0)
    return np.maximum(down, up)
