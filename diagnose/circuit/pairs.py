"""All pairs of small changes, held by what each change does alone.

A change of one line alone sends an extra current d_a through its branch. With another
one beside it the two currents follow from what each sees of the other,

    d_a' = d_a - p_ab d_b',  d_b' = d_b - p_ba d_a',  p_ab = (g_a' - g_a) t_ab / own_a,

and the volts of every node are those of the base less two responses times two currents
(`linearised`). So a pair needs no room: it is a system of two equations, solved when
somebody asks. What has to be known beforehand is where nothing else moves. For each
change alone let

    u_a = the most of a margin that an amp of it takes, over all segments, gates and
          currents that open a fuse;

a pair with |d_a'| u_a + |d_b'| u_b < 1 leaves everything in its place. That is looked
at in every draw. A change that moves something, or changes several branches, is settled
alone and takes the place of the first (`compounds`). What neither clears is left to
`compensation`. Knows no faults.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.compensation import Compensated
from diagnose.circuit.compounds import (
    LEAST_DETERMINANT,
    MOST_OF_MARGIN,
    Beside,
    Compound,
    Compounds,
    Lines,
)
from diagnose.circuit.linearised import Changes
from diagnose.circuit.nearby import Nearby
from diagnose.circuit.nodal import (
    AMPS,
    CURVE_LENGTH,
    EDGES,
    FORCED,
    SIEMENS,
    TRIP_AMPS,
    BoolArray,
    IntArray,
    Slots,
)

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
    is_beside : BoolArray
        Those of them in which the first counts as it settles alone, and the second as
        one line beside it; same shape.
    """

    def __init__(self, solver: Compensated, n_changes: int, length: int) -> None:
        self._solver, self._length = solver, length
        n_states = solver.network.n_draws // length
        self._branch = np.full((n_states, n_changes), OTHERWISE)
        self._is_near: BoolArray = np.zeros((n_states, n_changes), dtype=np.bool_)
        self._siemens = np.zeros((n_states, n_changes, length))
        self._amps = np.zeros_like(self._siemens)
        self._trip_amps = np.zeros_like(self._siemens)
        self._others: list[dict[int, Slots]] = [{} for _ in range(n_states)]
        self._compounds: list[dict[int, Compound]] = [{} for _ in range(n_states)]
        self.is_held: BoolArray = np.zeros(
            (n_states, n_changes, n_changes), dtype=np.bool_
        )
        self.is_beside: BoolArray = np.zeros_like(self.is_held)

    def add(
        self, changes: IntArray, draw: IntArray, slots: Slots, *, is_near: BoolArray
    ) -> None:
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
        is_near : BoolArray
            Points found as small changes (`Solved`), shape (n_points,). What alone was
            solved from the start in any draw is in no pair that is held: how it ends
            depends on the way there.
        """
        first = slice(None, None, self._length)
        count = (slots.branch[first] >= 0).sum(axis=1)
        states = draw[first] // self._length
        places = np.tile(changes, len(states) // len(changes))
        near = is_near.reshape(-1, self._length).all(axis=1)
        self._is_near[states, places] = near
        self._branch[states, places] = np.where(near & (count == 0), NOTHING, OTHERWISE)
        rows = np.flatnonzero(near & (count == 1))
        self._add_lines(states, places, rows, draw=draw, slots=slots)
        is_other = near & (self._branch[states, places] == OTHERWISE)
        is_free = self._solver.is_free(draw[:, None], slots.branch)
        is_free |= slots.branch < 0
        is_other &= is_free.all(axis=1).reshape(-1, self._length).all(axis=1)
        for row in np.flatnonzero(is_other).tolist():
            points = np.arange(row * self._length, (row + 1) * self._length)
            self._others[states[row]][int(places[row])] = slots.take(points)

    def _add_lines(
        self,
        states: IntArray,
        places: IntArray,
        rows: IntArray,
        *,
        draw: IntArray,
        slots: Slots,
    ) -> None:
        """Note the changes of one branch that stays on one line."""
        if not len(rows):
            return
        first = slice(None, None, self._length)
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
            near = self._is_near[state]
            held = (nothing[:, None] | nothing) & near[:, None] & near
            simple = np.flatnonzero(branch >= 0)
            draws = slice(state * self._length, (state + 1) * self._length)
            if len(simple) and self._solver.base.is_settled[draws].all():
                self._hold(state, simple, held)
            np.fill_diagonal(held, val=False)
            self.is_held[state] = held

    def _hold(self, state: int, simple: IntArray, held: BoolArray) -> None:
        """Note which pairs of a state are held; `simple` are changes of one line."""
        margins = self._solver.margins(state * self._length)
        views = [self._view(state, simple, *view) for view in margins]
        is_calm = np.logical_and.reduce([view.is_calm for view in views])
        calm = simple[is_calm]
        branch = self._branch[state, calm]
        cleared = branch[:, None] != branch
        for view in views:
            view.take(np.flatnonzero(is_calm)).clear(cleared)
        held[np.ix_(calm, calm)] = cleared
        self._hold_beside(state, simple, is_calm, views)
        beside = self.is_beside[state]
        held |= beside | beside.T

    def _hold_beside(
        self, state: int, simple: IntArray, is_calm: BoolArray, views: list[_View]
    ) -> None:
        """Note which changes of one line leave what others move in its place."""
        others = {**self._others[state], **self._moving(state, simple[~is_calm])}
        numbers = np.array(sorted(others))
        if not len(numbers):
            return
        slots = _joined([others[number] for number in numbers.tolist()])
        margins = self._solver.margins(state * self._length)
        found = [
            Compounds(*view, slots, has_fuses=view[0].linear is self._solver.origin)
            for view in margins
        ]
        beside = [
            Beside(each, view.lines) for each, view in zip(found, views, strict=True)
        ]
        for place, compound in found[0].found.items():
            if not all(place in each.found for each in found):
                continue
            stays = np.ones(len(simple), dtype=np.bool_)
            for each, lines in zip(found, beside, strict=True):
                if stays.any():
                    stays &= lines.stays(each.found[place])
            number = int(numbers[place])
            self._compounds[state][number] = compound.without_margins()
            self.is_beside[state, number, simple] = stays

    def _moving(self, state: int, changes: IntArray) -> dict[int, Slots]:
        """Return changes of one line, put back into slots."""
        shape = (len(changes), self._length)
        curves = np.zeros((*shape, 1, CURVE_LENGTH))
        siemens, amps = self._siemens[state, changes], self._amps[state, changes]
        curves[..., EDGES] = np.inf
        curves[..., EDGES.start] = -np.inf
        curves[..., SIEMENS] = siemens[..., None, None]
        curves[..., AMPS] = amps[..., None, None]
        carries = (siemens != 0.0) | (amps != 0.0)
        curves[..., FORCED] = np.where(carries, 1.0, -1.0)[..., None]
        curves[..., TRIP_AMPS] = self._trip_amps[state, changes][..., None]
        branch = self._branch[state, changes].tolist()
        return {
            number: Slots(branch=np.full((self._length, 1), used), curves=curve)
            for number, used, curve in zip(
                changes.tolist(), branch, curves, strict=True
            )
        }

    def _view(self, state: int, simple: IntArray, nearby: Nearby, block: int) -> _View:
        """Return some changes as one solution sees them."""
        linear, branch = nearby.linear, self._branch[state, simple]
        siemens, amps = self._siemens[state, simple], self._amps[state, simple]
        sides, reading = linear.block(block)
        base_siemens, base_amps, volts, ohms = sides[branch, :4].swapaxes(0, 1)
        own = 1.0 + ohms * siemens
        x = (volts - ohms * amps) / own
        change = siemens - base_siemens
        used, place = np.unique(branch, return_inverse=True)
        rise, fall = nearby.margins.reach(block, branch)
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
        seen = np.ascontiguousarray(reading[used].transpose(2, 1, 0))
        one, other = linear.network.output[used].T
        ohms = (seen[:, one] - seen[:, other]).astype(np.float32)
        return _View(
            ohms=ohms,
            ohms_of_other=np.ascontiguousarray(ohms.swapaxes(1, 2)),
            lines=Lines(
                branch=branch,
                used=used,
                place=place,
                reading=seen,
                extra_amps=change * x + (amps - base_amps),
                factor=change / own,
                own_share=own_share,
            ),
            rise=np.stack(rises),
            fall=np.stack(falls),
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

    def changes_both(self, state: int, first: int, second: int) -> bool:
        """Return whether neither of a pair changes nothing in a state."""
        return NOTHING not in self._branch[state, [first, second]]

    def changes(self, state: int, first: int, second: int) -> Changes | None:
        """Return a pair of changes on known lines solved in all draws of a state.

        None where the lines of either are not known, or where digits do not suffice.
        """
        if self.is_beside[state, second, first]:
            first, second = second, first
        pair = np.array([first, second])
        branch = self._branch[state, pair]
        siemens, amps = self._siemens[state, pair], self._amps[state, pair]
        if self.is_beside[state, first, second]:
            alone = self._compounds[state][first]
            branch = np.append(alone.branch, branch[1])
            siemens = np.concatenate([alone.siemens, siemens[1:]])
            amps = np.concatenate([alone.amps, amps[1:]])
        if branch.min() < 0:
            return None
        siemens, amps = siemens.T, amps.T
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
    ohms, ohms_of_other : SingleArray
        What branches see of an amp through others, shape (length, n_used, n_used): in
        the columns those that see, in the rows. [Ω]
    lines : Lines
        The changes.
    rise, fall : FloatArray
        The most of a margin that an amp more takes, and an amp less, for each group of
        margins. [1/A]
    """

    ohms: SingleArray
    ohms_of_other: SingleArray
    lines: Lines
    rise: FloatArray
    fall: FloatArray

    @property
    def is_calm(self) -> BoolArray:
        """Changes that alone leave everything in its place, shape (n_changes,)."""
        amps, own_share = self.lines.extra_amps, self.lines.own_share
        taken = np.maximum(amps * self.rise, -amps * self.fall)
        is_calm = (taken < MOST_OF_MARGIN).all(axis=(0, 2))
        return np.asarray(is_calm & np.isfinite(own_share).all(axis=1))

    def take(self, some: IntArray) -> _View:
        """Return some of the changes."""
        return replace(
            self,
            lines=self.lines.take(some),
            rise=self.rise[:, some],
            fall=self.fall[:, some],
        )

    def clear(self, cleared: BoolArray) -> None:
        """Take off the pairs that do not stay within all margins in all draws."""
        size = len(self.lines.branch)
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
        shape = (len(sides[0].place), len(sides[1].place))
        cleared = np.ones(shape, dtype=np.bool_)
        for draw in range(len(self.ohms)):
            cleared &= self._draw_cleared(draw, *sides)
        return cleared

    def _draw_cleared(self, draw: int, one: _Side, other: _Side) -> BoolArray:
        """Return which pairs stay within all margins in a draw."""
        here, there = (
            ohms[draw].take(one.place, axis=0).take(other.place, axis=1)
            for ohms in (self.ohms, self.ohms_of_other)
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

    place: IntArray
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
            view.lines.place[some],
            columns(view.lines.extra_amps),
            columns(view.lines.factor),
            columns(view.rise),
            columns(-view.fall),
            columns(view.lines.own_share),
            bool(view.lines.own_share[some].any()),
        )


def _joined(slots: list[Slots]) -> Slots:
    """Return the slots of several changes as those of all their points."""
    width = max(each.branch.shape[1] for each in slots)
    branch = np.full((len(slots), len(slots[0].branch), width), -1)
    curves = np.zeros((*branch.shape, CURVE_LENGTH))
    for place, each in enumerate(slots):
        used = each.branch.shape[1]
        branch[place, :, :used], curves[place, :, :used] = each.branch, each.curves
    return Slots(
        branch=branch.reshape(-1, width), curves=curves.reshape(-1, width, CURVE_LENGTH)
    )


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
