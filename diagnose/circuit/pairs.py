"""All pairs of changes of one car, in all its states and draws, held in little room.

Most pairs need none: what the two do follows from what each does alone. Two changed
lines that leave everything else in its place are a system of two equations
(`calm_lines`); a change that moves something, settled alone stage by stage, with one
line more that leaves what it moved is a few equations (`compounds`). A bit for each
draw says where that is so. The draws that are left are settled, from what either
change moves (`unions`), and where they rest is kept, a byte for each branch that bends
or switches; volts are then one linear solution. States are taken in the order the car
comes to them, since gates begin as the state before left them. Fuses are taken to
hold: one that opens is a change more. Knows no faults.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from diagnose.circuit.calm_lines import ByteArray, Lines
from diagnose.circuit.car import FloatArray
from diagnose.circuit.compounds import Beside, Compound, Compounds
from diagnose.circuit.linearised import Changes
from diagnose.circuit.nodal import BoolArray, IntArray
from diagnose.circuit.operating_point import Start
from diagnose.circuit.singles import NOTHING, Singles, stacked
from diagnose.circuit.unions import CodeArray, Rests, Unions
from diagnose.circuit.ways import SOUND, Ways

CHUNK_PAIRS = 8192
# Chosen: all draws of so many take some hundred megabytes on their way.


class Pairs:
    """Pairs of changes of one car in all its states.

    Where the sound car finds no rest nothing is said of a state, nor of those that come
    after it.

    Parameters
    ----------
    singles : Singles
        The changes, each alone.

    Attributes
    ----------
    held : ByteArray
        The draws in which a pair follows from what each change does alone, a bit each,
        shape (n_states, n_changes, n_changes, n_bytes); none on the diagonal.
    is_beside : BoolArray
        Pairs in which the first counts as it settles alone, and the second as one line
        beside it, or nothing, shape (n_states, n_changes, n_changes).
    rests : dict[int, Rests]
        Where the other draws rest, by state. Pairs in which both change one branch are
        in neither.
    """

    def __init__(self, singles: Singles) -> None:
        self._singles, self._solver = singles, singles.solver
        self._length = length = singles.length
        self._points = self._solver.origin.solver
        n_states, n_changes = singles.branch.shape
        self._compounds: list[dict[int, Compound]] = [{} for _ in range(n_states)]
        self._every = np.packbits(np.ones(length, dtype=np.bool_), bitorder="little")
        shape = (n_states, n_changes, n_changes)
        self.held: ByteArray = np.zeros((*shape, len(self._every)), dtype=np.uint8)
        self.is_beside: BoolArray = np.zeros(shape, dtype=np.bool_)
        self.rests: dict[int, Rests] = {}
        each, unknown = np.arange(n_changes), set()
        for state in singles.in_order():
            is_settled = self._solver.base.is_settled[singles.draws(state)]
            if not is_settled.all() or singles.came[state] in unknown:
                unknown.add(state)
                continue
            self._answer(state)
            self.held[state, each, each] = 0

    @property
    def is_held(self) -> BoolArray:
        """Pairs that in all draws follow from what each change does alone."""
        return np.asarray((self.held == self._every).all(axis=3))

    @property
    def is_left(self) -> BoolArray:
        """Pairs that are neither held nor settled, shape (n_states, n_changes, ...)."""
        return np.stack(
            [self._is_left(state) for state in range(len(self._singles.came))]
        )

    def _is_left(self, state: int) -> BoolArray:
        is_left = (self.held[state] != self._every).any(axis=2)
        if state in self.rests:
            is_left &= self.rests[state].pair < 0
        return np.asarray(is_left)

    def _answer(self, state: int) -> None:
        """Find how all pairs of a state are answered."""
        singles, alike = self._singles, self._begin_as_first(state)
        simple = np.flatnonzero(singles.branch[state] >= 0)
        lines = Lines.of(
            self._solver.origin,
            state,
            singles.branch[state, simple],
            siemens=singles.siemens[state, simple],
            amps=singles.amps[state, simple],
            low=singles.low[state, simple],
            high=singles.high[state, simple],
        )
        is_calm = self._hold_calm(state, simple, lines, alike)
        self._hold_alone(state, alike)
        ways = self._hold_moving(state, simple, lines, is_calm, alike)
        self._settle(state, ways)

    def _hold_calm(
        self, state: int, simple: IntArray, lines: Lines, alike: ByteArray
    ) -> BoolArray:
        """Hold the pairs of lines that leave the sound car on its way.

        Returns
        -------
        BoolArray
            The lines that do so alone.
        """
        compounds = Compounds(self._solver.nearby, state)
        Ways(self._singles, state, {}).follow(compounds)
        compounds.seal()
        beside = Beside(compounds, lines)
        views = [beside.among(stage) for stage in compounds.found.get(SOUND, ())]
        is_calm = np.logical_and.reduce([view.is_calm for view in views])
        is_calm = self._singles.is_near[state, simple] & is_calm & bool(views)
        calm = np.flatnonzero(is_calm)
        branch = self._singles.branch[state, simple[calm]]
        stays = np.tile(self._every, (len(calm), len(calm), 1))
        stays[branch[:, None] == branch] = 0
        for view in views:
            view.take(calm).clear(stays)
        chosen = np.ix_(simple[calm], simple[calm])
        self.held[state][chosen] = stays & alike[chosen]
        return np.asarray(is_calm)

    def _hold_moving(
        self,
        state: int,
        simple: IntArray,
        lines: Lines,
        is_calm: BoolArray,
        alike: ByteArray,
    ) -> Ways:
        """Hold lines beside changes that move something; return how those go."""
        singles = self._singles
        moving = singles.lines(state, simple[~is_calm])
        ways = Ways(singles, state, {**moving, **singles.ways[state]})
        compounds = Compounds(self._solver.nearby, state)
        ways.follow(compounds)
        compounds.seal()
        beside = Beside(compounds, lines)
        idle = np.flatnonzero(singles.branch[state] == NOTHING)
        for number, stages in compounds.found.items():
            if number == SOUND:
                continue
            stays = np.logical_and.reduce([beside.stays(stage) for stage in stages])
            self._compounds[state][number] = stages[-1].without_margins()
            stays &= self._unpacked(alike[number, simple]).T
            self._hold_beside(state, number, simple, stays)
            if all(stage.is_known.all() for stage in stages):
                some = idle[(alike[number, idle] == self._every).all(axis=1)]
                self.held[state, number, some] = self._every
                self.held[state, some, number] = self._every
                self.is_beside[state, number, some] = True
        return ways

    def _hold_alone(self, state: int, alike: ByteArray) -> None:
        """Hold what changes nothing beside what is near, if in all draws."""
        near = self._singles.is_near[state]
        nothing = self._singles.branch[state] == NOTHING
        alone = nothing[:, None] & near & (alike == self._every).all(axis=2)
        self.held[state, alone | alone.T] = self._every

    def _hold_beside(
        self, state: int, number: int, simple: IntArray, stays: BoolArray
    ) -> None:
        """Note in which draws lines leave another change as it is alone."""
        bits = np.packbits(stays, axis=0, bitorder="little").T
        held = np.bitwise_count(self.held[state, number, simple]).sum(axis=1)
        is_more = np.bitwise_count(bits).sum(axis=1) > held
        simple, bits = simple[is_more], bits[is_more]
        self.is_beside[state, number, simple] = True
        self.is_beside[state, simple, number] = False
        self.held[state, number, simple] = self.held[state, simple, number] = bits

    def _unpacked(self, bits: ByteArray) -> BoolArray:
        """Return bits of draws as such, shape (..., length)."""
        every = np.unpackbits(bits, axis=-1, bitorder="little", count=self._length)
        return every.view(np.bool_)

    def _begin_as_first(self, state: int) -> ByteArray:
        """Return the draws in which gates of pairs begin as the first change has them.

        A bit each, shape (n_changes, n_changes, n_bytes).
        """
        singles, came = self._singles, int(self._singles.came[state])
        if came < 0:
            return np.asarray(np.tile(self._every, (*self.held.shape[1:3], 1)))
        begins, rests = singles.begins[state], self.rests[came]
        weight = 1 << np.arange(begins.shape[2])
        code, sound = (
            begins @ weight,
            self._solver.begins[singles.draws(state)] @ weight,
        )
        as_other = np.packbits(code[:, None] == code, axis=2, bitorder="little")
        as_sound = np.packbits(code == sound, axis=1, bitorder="little")[:, None]
        # what a line stands beside leaves gates as alone, calm lines as the sound car
        beside = self.is_beside[came][..., None]
        alike = np.where(beside.swapaxes(0, 1), as_other, as_sound)
        alike = self.held[came] & np.where(beside, self._every, alike)
        first, second = rests.changes
        left = rests.left @ weight
        for one, other in ((first, second), (second, first)):
            is_alike = rests.is_there.copy()
            is_alike[rests.is_there] = left == code[one][rests.is_there]
            alike[one, other] |= np.packbits(is_alike, axis=1, bitorder="little")
        return np.asarray(alike)

    def _begins_beside(self, state: int, number: IntArray, line: IntArray) -> BoolArray:
        """Return how gates begin that a line beside a change left as that does.

        A gate that the line holds follows its leader. Shape (n_pairs, length, n_gates).
        """
        singles, gates = self._singles, self._solver.gates
        begins = singles.begins[state, number]
        held = singles.branch[singles.came[state], line][:, None] == gates.branches
        pair, gate = np.nonzero(held)
        leader = gates.leader[gate]
        begins[pair, :, gate] = begins[pair, :, leader] & (leader != gate)[:, None]
        return np.asarray(begins)

    def _begins_together(
        self, state: int, first: IntArray, second: IntArray
    ) -> BoolArray:
        """Return how gates of pairs begin, shape (n_pairs, n_active, length)."""
        gates = self._singles.begins_alone(state, first, second)
        came = int(self._singles.came[state])
        if came >= 0:
            for one, other in ((first, second), (second, first)):
                some = np.flatnonzero(self.is_beside[came, one, other])
                gates[some] = self._begins_beside(state, one[some], other[some])
            rests = self.rests[came]
            pair = rests.pair[first, second]
            known = np.flatnonzero(pair >= 0)
            which, draw = np.nonzero(rests.is_there[pair[known]])
            gates[known[which], draw] = rests.left[rests.rows(pair[known])]
        shape = (len(first), len(self._points.plan.active), self._length)
        begins = np.zeros(shape, dtype=np.bool_)
        place = self._points.place[self._solver.gates.branches]
        begins[:, place] = gates.swapaxes(1, 2)
        return begins

    def _settle(self, state: int, ways: Ways) -> None:
        """Settle the draws of pairs that do not follow from what each does alone."""
        n_changes = self._singles.branch.shape[1]
        calm = np.flatnonzero(self._singles.branch[state] >= 0)
        lines = self._singles.lines(state, np.setdiff1d(calm, ways.numbers))
        slots = stacked([ways.slots, *lines.values()])
        n_ways = len(ways.numbers)
        # what changes nothing is as the sound car, the last of the ways
        place = np.full(n_changes, n_ways - 1)
        place[ways.numbers[:-1]] = np.arange(n_ways - 1)
        place[[*lines]] = n_ways + np.arange(len(lines))
        way = np.append(np.arange(n_ways), np.full(len(lines), n_ways - 1))
        unions = Unions(self._solver, state, slots, way, ways.stages)
        first, second = np.triu_indices(n_changes, 1)
        is_left = (self.held[state, first, second] != self._every).any(axis=1)
        first, second = first[is_left], second[is_left]
        is_meant = ~unions.meets(place[first], place[second])
        came = int(self._singles.came[state])
        if came >= 0:
            is_meant &= ~self._is_left(came)[first, second]
        first, second = first[is_meant], second[is_meant]
        pair = np.full((n_changes, n_changes), -1)
        pair[first, second] = pair[second, first] = np.arange(len(first))
        is_wanted = ~self._unpacked(self.held[state, first, second])
        parts = [
            self._settled(unions, state, place, first[some], second[some])
            for some in _chunks(len(first))
        ]
        code, is_settled, left = (
            np.concatenate(part) for part in zip(*parts, strict=True)
        )
        self.rests[state] = Rests(
            pair=pair,
            first_row=np.append(0, np.cumsum(is_wanted.sum(axis=1))),
            is_there=is_wanted,
            code=code,
            is_settled=is_settled,
            left=left,
        )

    def _settled(
        self,
        unions: Unions,
        state: int,
        place: IntArray,
        first: IntArray,
        second: IntArray,
    ) -> tuple[CodeArray, BoolArray, BoolArray]:
        """Return where the draws of pairs rest that are not held, as `Rests` has it.

        Parameters
        ----------
        place : IntArray
            Where each change is among those of `unions`, shape (n_changes,).
        """
        is_wanted = ~self._unpacked(self.held[state, first, second])
        begins = self._begins_together(state, first, second)
        code, is_settled = unions.settle(place[first], place[second], begins, is_wanted)
        which, draw = np.nonzero(is_wanted)
        one, other = place[first][which], place[second][which]
        is_on = Rests.gates(code)[:, self._points.place[self._solver.gates.branches]]
        left = self._solver.gates.left(is_on, unions.free_gates(one, other, draw))
        return code, is_settled, left

    def changes_both(self, state: int, first: int, second: int) -> bool:
        """Return whether neither of a pair changes nothing in a state."""
        return NOTHING not in self._singles.branch[state, [first, second]]

    def volts(self, state: int, first: int, second: int) -> FloatArray | None:
        """Return the volts of a pair in a state, shape (length, n_nodes). [V].

        Without a number where a gate chatters. None where both change one branch, and
        where one of the two shows alone what both do.
        """
        is_held = self._unpacked(self.held[state, first, second])
        rests = self.rests.get(state)
        pair = -1 if rests is None else int(rests.pair[first, second])
        if is_held.all() and not self.changes_both(state, first, second):
            return None
        if rests is None or (not is_held.all() and pair < 0):
            return None
        start = self._start(state, first, second)
        is_settled = np.ones(self._length, dtype=np.bool_)
        if pair >= 0:
            rows, there = rests.rows(np.array([pair])), rests.is_there[pair]
            active = self._points.plan.active
            start.segment[np.ix_(there, active)] = Rests.segments(rests.code[rows])
            start.is_on[np.ix_(there, active)] = Rests.gates(rests.code[rows])
            is_settled[there] = rests.is_settled[rows]
        volts = np.full((self._length, len(self._solver.network.nodes)), np.nan)
        solved = self._changes(state, first, second)
        if solved is not None:
            origin, is_near = self._solver.origin, solved.is_sound & is_held
            falls = origin.falls(origin.response, solved)
            volts[is_near] = (origin.base.volts[solved.draw] - falls)[is_near]
            is_settled &= ~is_near
        draw = np.flatnonzero(is_settled)
        if len(draw):
            one, other = (
                self._singles.slots(state, change).take(draw)
                for change in (first, second)
            )
            draws = self._singles.draws(state)[draw]
            start = start.take(draw)
            point = self._points.solve(draws, one.beside(other), start=start)
            volts[draw] = point.volts
        return volts

    def _start(self, state: int, first: int, second: int) -> Start:
        """Return where a pair rests that follows from what each does alone."""
        draws, base = self._singles.draws(state), self._solver.base
        start = Start(base.segment[draws].astype(np.int64), base.is_on[draws].copy())
        for one, other in ((first, second), (second, first)):
            if self.is_beside[state, one, other]:
                stage, active = (
                    self._compounds[state][one].stage,
                    self._points.plan.active,
                )
                start.segment[:, active] = stage.segment.T
                start.is_on[:, active] = stage.is_on.T
        return start

    def _changes(self, state: int, first: int, second: int) -> Changes | None:
        """Return a held pair on its lines, solved as a change of the sound car."""
        if self.is_beside[state, second, first]:
            first, second = second, first
        pair = np.array([first, second])
        singles = self._singles
        branch = singles.branch[state, pair]
        siemens, amps = singles.siemens[state, pair], singles.amps[state, pair]
        if self.is_beside[state, first, second]:
            alone = self._compounds[state][first]
            branch = np.append(alone.branch, branch[1])
            siemens = np.concatenate([alone.siemens, siemens[1:]])
            amps = np.concatenate([alone.amps, amps[1:]])
        if branch.min() < 0:
            return None
        siemens, amps = siemens.T, amps.T
        return self._solver.origin.changes(
            singles.draws(state),
            np.tile(branch, (self._length, 1)),
            siemens=np.ascontiguousarray(siemens),
            amps=np.ascontiguousarray(amps),
            is_conducting=(siemens != 0.0) | (amps != 0.0),
        )


def _chunks(count: int) -> Iterator[slice]:
    """Yield slices of many rows."""
    for start in range(0, max(count, 1), CHUNK_PAIRS):
        yield slice(start, start + CHUNK_PAIRS)
