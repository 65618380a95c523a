"""Two changes at once, settled from what either moves alone.

From where the state before left its gates a change goes through stages to its rest.
Where the sound car goes through others, or through the same on other segments, the
change has moved them. Two changes are guessed to move what either does; then segments
and gates are followed until nothing changes, as `settling` has it, but all draws of a
pair together as small changes of one solution, whose system is as large as what any
draw moves. The few draws of a pair that go another way are settled one by one
(`operating_point`), from the same guesses. Only where a pair rests is kept, a byte for
each branch that bends or switches: its volts are then one linear solution. Arrays are
(active branch, pair, draw of the state). Knows no faults.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.compensation import Compensated
from diagnose.circuit.linearised import MOST_LOSS
from diagnose.circuit.nodal import (
    FORCED,
    INVERTED,
    MAX_SEGMENTS,
    OFF_VOLTS,
    ON_VOLTS,
    BoolArray,
    IntArray,
    Slots,
)
from diagnose.circuit.operating_point import (
    CHUNK_POINTS,
    MAX_ROUNDS,
    fixed_siemens,
)
from diagnose.circuit.runs import Runs
from diagnose.circuit.settling import (
    MAX_FLIPS,
    Curves,
    Segments,
    Stages,
    conducting,
)

BLOCK_POINTS = 16384
# Measured: the more pairs are followed together, the fewer calls it takes in all.
SYSTEM_POINTS = 2048
# Measured: systems of more overflow the processor's cache.
MOST_BRANCHES = 16
# Measured: pairs that move more are rare, and settled one by one as soon.
MOST_TRIES = 4
# Measured: most are guessed right, and the others rest in two.
SOME_ROUNDS = 12
# Measured: what has not come to rest by then mostly chatters; the last of many chunks
# are settled sooner together.
FEW_DRAWS = 24
# Measured: so many draws of a pair are settled one by one as soon as all of them once
# more together.
CLEAR_VOLTS = 1e-5
# Derived: three times what may be uncertain of volts with most digits lost.
AS_SOUND = 99
"""In place of a segment: where the sound car is."""

CodeArray = npt.NDArray[np.int8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rests:
    """Where pairs rest, a row for each draw that was asked for, all of a pair in turn.

    Parameters
    ----------
    pair : IntArray
        Which pair it is, shape (n_changes, n_changes); -1 where none was asked for.
    first_row : IntArray
        The first row of each pair, and the end, shape (n_pairs + 1,).
    is_there : BoolArray
        The draws that were asked for, shape (n_pairs, length).
    code : CodeArray
        Segment and gate of each active branch, shape (n_rows, n_active).
    is_settled : BoolArray
        False where a gate chatters, shape (n_rows,).
    left : BoolArray
        How gates are left to the state that comes after, shape (n_rows, n_gates).
    """

    pair: IntArray
    first_row: IntArray
    is_there: BoolArray
    code: CodeArray
    is_settled: BoolArray
    left: BoolArray

    @staticmethod
    def coded(segment: IntArray, is_on: BoolArray) -> CodeArray:
        """Return segments and gates in one."""
        return np.asarray(segment * 2 + is_on, dtype=np.int8)

    @staticmethod
    def segments(code: CodeArray) -> CodeArray:
        """Return the segments of a code."""
        return np.asarray(code >> 1)

    @staticmethod
    def gates(code: CodeArray) -> BoolArray:
        """Return the gates of a code."""
        return np.asarray((code & 1).astype(np.bool_))

    @property
    def changes(self) -> tuple[IntArray, IntArray]:
        """The changes of each pair, shape (n_pairs,) each."""
        first, second = np.nonzero(np.triu(self.pair + 1, 1))
        return first, second

    def rows(self, pairs: IntArray) -> IntArray:
        """Return the rows of some pairs, in turn."""
        first, last = self.first_row[pairs], self.first_row[pairs + 1]
        count = last - first
        ends = np.cumsum(count)
        total = int(ends[-1]) if len(ends) else 0
        return np.asarray(np.arange(total) + np.repeat(first - ends + count, count))


class Unions:
    """Changes of one state, and what they move on their way.

    Parameters
    ----------
    solver : Compensated
        The sound car; its solution is what lines are told apart from.
    block : int
        Its draws of the state.
    slots : Slots
        The changed branches of each point, all draws of a change in turn.
    way : IntArray
        Which of the ways below each change goes, shape (n_changes,).
    stages : Stages
        Of each point of each way; the last is that of the sound car.
    """

    def __init__(
        self,
        solver: Compensated,
        block: int,
        slots: Slots,
        way: IntArray,
        stages: Stages,
    ) -> None:
        self.linear, self._block, self._slots, self._way = (
            solver.origin,
            block,
            slots,
            way,
        )
        linear = solver.origin
        self.length = length = linear.length
        points, network = linear.solver, linear.network
        self.active = active = points.plan.active
        self.gated = np.flatnonzero(network.has_gate[active])
        n_active, n_changes = len(active), len(way)
        self._draws = draws = np.arange(block * length, (block + 1) * length)
        self._siemens = linear.base.siemens[draws][:, active].T[:, None]
        self._amps = linear.base.amps[draws][:, active].T[:, None]
        branch = slots.branch[::length]
        changed = slots.curves.reshape(n_changes, length, *slots.curves.shape[1:])
        place = points.place[branch]
        own, column = np.nonzero(place >= 0)
        curves = network.curves[draws][:, active].transpose(2, 1, 0)
        table = np.concatenate(
            [curves, changed[own, :, column].transpose(2, 0, 1)], axis=1
        )
        # all curves of the state in one table, a row for each curve and draw
        self.table = np.ascontiguousarray(table).reshape(len(table), -1)
        rows = Curves(self.table, np.arange(self.table.shape[1]))
        number = np.arange(MAX_SEGMENTS)[:, None]
        self._every_segment = Segments.of(
            rows, np.broadcast_to(number, (MAX_SEGMENTS, self.table.shape[1]))
        )
        self.own = np.full((n_changes, n_active), -1)
        self.own[own, place[own, column]] = n_active + np.arange(len(own))
        is_fixed = (branch >= 0) & (place < 0)
        most = int(is_fixed.sum(axis=1).max(initial=0))
        order = np.argsort(~is_fixed, axis=1, kind="stable")[:, :most]
        each = np.arange(n_changes)[:, None]
        self.fixed = np.where(is_fixed, branch, -1)[each, order]
        siemens = fixed_siemens(changed).transpose(0, 2, 1)
        self.fixed_siemens = siemens[each, order]
        shape = (len(stages), n_active, -1, length)
        segment = stages.segment.reshape(shape).astype(np.int8)
        is_on = stages.is_on.reshape(shape)
        self._sound = segment[:, :, -1:].copy()
        self._differs = segment != self._sound
        self._differs |= is_on != is_on[:, :, -1:]
        segment[~self._differs] = AS_SOUND
        self._segment = segment
        free = solver.gates.free(np.tile(draws, n_changes), slots)
        self._is_free, self._is_changed = free

    def meets(self, first: IntArray, second: IntArray) -> BoolArray:
        """Return which pairs change one branch both, shape (n_pairs,)."""
        branch = self._slots.branch[:: self.length]
        one, other = branch[first], branch[second]
        meets = (one[:, :, None] == other[:, None, :]) & (one >= 0)[:, :, None]
        return np.asarray(meets.any(axis=(1, 2)))

    def free_gates(
        self, first: IntArray, second: IntArray, draw: IntArray
    ) -> BoolArray:
        """Return which gates of points switch their branch, (n_points, n_gates).

        Parameters
        ----------
        first, second, draw : IntArray
            The changes of each, and which draw of the state, shape (n_points,).
        """
        one, other = first * self.length + draw, second * self.length + draw
        is_free, is_changed = self._is_free, self._is_changed
        return np.asarray(np.where(is_changed[one], is_free[one], is_free[other]))

    def settle(
        self,
        first: IntArray,
        second: IntArray,
        begins: BoolArray,
        is_wanted: BoolArray,
    ) -> tuple[CodeArray, BoolArray]:
        """Settle pairs.

        Parameters
        ----------
        first, second : IntArray
            The changes of each pair, shape (n_pairs,).
        begins : BoolArray
            How gates begin, shape (n_pairs, n_active, length).
        is_wanted : BoolArray
            The draws that are asked for, shape (n_pairs, length).

        Returns
        -------
        code : CodeArray
            As in `Rests`, for each draw of each pair in turn that is asked for.
        is_settled : BoolArray
            Same length.
        """
        code = np.zeros((*is_wanted.shape, len(self.active)), dtype=np.int8)
        is_found = np.zeros(is_wanted.shape, dtype=np.bool_)
        many = np.flatnonzero(is_wanted.sum(axis=1) >= FEW_DRAWS)
        size = self._differs[-1].any(axis=2).sum(axis=0)[self._way]
        size = size[first[many]] + size[second[many]]
        for some in _blocks(many, size, BLOCK_POINTS // self.length):
            code[some], is_found[some] = self._together(
                first[some], second[some], begins[some], is_wanted[some]
            )
        lost, within = np.nonzero(is_wanted & ~is_found)
        is_settled = is_wanted.copy()
        code[lost, within], is_settled[lost, within] = self._one_by_one(
            first[lost], second[lost], within, begins[lost, :, within]
        )
        return code[is_wanted], is_settled[is_wanted]

    def _together(
        self,
        first: IntArray,
        second: IntArray,
        begins: BoolArray,
        is_left: BoolArray,
    ) -> tuple[CodeArray, BoolArray]:
        """Return where some pairs rest, and in which draws that is found."""
        code = np.zeros((len(first), self.length, len(self.active)), dtype=np.int8)
        is_found = np.zeros(is_left.shape, dtype=np.bool_)
        pairs, here = _Pairs.of(self, first, second), np.arange(len(first))
        segment, is_on = self._guess(first, second, 0), begins.swapaxes(0, 1)
        for stage in range(1, MAX_FLIPS + 1):
            segment, watch_volts, is_left = self._follow(pairs, segment, is_on, is_left)
            wants = pairs.wants(is_on, watch_volts)
            turns = (wants != is_on).any(axis=0) & is_left
            is_left &= ~_few(turns)
            goes_on = (turns & is_left).any(axis=1)
            done = np.flatnonzero(~goes_on)
            rests = Rests.coded(segment[:, done], is_on[:, done])
            code[here[done]] = rests.transpose(1, 2, 0)
            is_found[here[done]] = is_left[done]
            go = np.flatnonzero(goes_on)
            if not len(go):
                break
            here, pairs, is_left = here[go], pairs.take(go), is_left[go]
            guess = self._guess(first[here], second[here], stage)
            segment = np.where(turns[go], guess, segment[:, go])
            is_on = wants[:, go]
        return code, is_found

    def _guess(self, first: IntArray, second: IntArray, stage: int) -> IntArray:
        """Return the segments that pairs are taken to have in a stage.

        Those that either change has and the sound car has not; where both do, the
        lower, which is nearer to no volts.
        """
        stage = min(stage, len(self._segment) - 1)
        segment = self._segment[stage]
        lower = np.minimum(segment[:, self._way[first]], segment[:, self._way[second]])
        guess = np.where(lower == AS_SOUND, self._sound[stage], lower)
        return np.asarray(guess, dtype=np.int64)

    def _follow(
        self, pairs: _Pairs, segment: IntArray, is_on: BoolArray, is_left: BoolArray
    ) -> tuple[IntArray, FloatArray, BoolArray]:
        """Follow segments while gates stay.

        Returns
        -------
        segment : IntArray
        watch_volts : FloatArray
            What gates watch, shape (n_gated, n_pairs, length). [V]
        is_left : BoolArray
            Points that were asked for and rest, shape (n_pairs, length).
        """
        segment, is_left = segment.copy(), is_left.copy()
        watch_volts = np.zeros((len(self.gated), *is_left.shape))
        moving, n_active = np.arange(len(is_left)), len(self.active)
        for number in range(1, MOST_TRIES + 1):
            there = pairs if len(moving) == len(is_left) else pairs.take(moving)
            carries = there.carries(is_on[:, moving])
            segments = self._segments(there, segment[:, moving])
            looks, loss = self._looks(there, segments, carries)
            control = looks[:, :n_active].swapaxes(0, 1)
            watch_volts[:, moving] = looks[:, n_active:].swapaxes(0, 1)
            over = (control > segments.high) & carries
            under = (control < segments.low) & carries
            strays = (over | under).any(axis=0)
            is_sure = self._is_sure(
                there, segments, carries, is_on[:, moving], looks, loss
            )
            is_left[moving] &= is_sure
            strays &= is_left[moving]
            is_left[moving] &= ~(_few(strays) if number < MOST_TRIES else strays)
            strays &= is_left[moving]
            go = np.flatnonzero(strays.any(axis=1))
            segment[:, moving[go]] += over[:, go]
            segment[:, moving[go]] -= under[:, go]
            moving = moving[go]
            if not len(moving):
                break
        return segment, watch_volts, is_left

    def _segments(self, pairs: _Pairs, segment: IntArray) -> Segments:
        """Return the segments in force, shape (n_active, n_pairs, length) each."""
        place = segment * self.table.shape[1]
        place += pairs.row
        every = self._every_segment
        return Segments(
            low=every.low.take(place),
            high=every.high.take(place),
            siemens=every.siemens.take(place),
            amps=every.amps.take(place),
        )

    def _is_sure(
        self,
        pairs: _Pairs,
        segments: Segments,
        carries: BoolArray,
        is_on: BoolArray,
        looks: FloatArray,
        loss: FloatArray,
    ) -> BoolArray:
        """Return where rounding does not say on which line a branch is.

        Where digits do not suffice, no edge and no gate may be near.
        """
        is_sure = np.asarray(loss < 1.0)
        is_doubted = ~is_sure & (loss < MOST_LOSS)
        some = np.flatnonzero(is_doubted.any(axis=1))
        if len(some):
            n_active = len(self.active)
            control = looks[some, :n_active].swapaxes(0, 1)
            room = np.minimum(
                np.abs(control - segments.low[:, some]),
                np.abs(segments.high[:, some] - control),
            )
            is_near = ((room < CLEAR_VOLTS) & carries[:, some]).any(axis=0)
            watch = np.abs(looks[some, n_active:].swapaxes(0, 1))
            room = np.abs(watch - pairs.turning_volts(is_on)[:, some])
            is_near |= ((room < CLEAR_VOLTS) & pairs.is_free[:, some]).any(axis=0)
            is_sure[some] |= is_doubted[some] & ~is_near
        return is_sure

    def _looks(
        self, pairs: _Pairs, segments: Segments, carries: BoolArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return what looks show, and the digits lost (`Linearised.extra_amps`).

        Shape (n_pairs, n_looks, length), (n_pairs, length).
        """
        siemens, amps = segments.siemens * carries, segments.amps * carries
        differs = siemens != self._siemens
        differs |= amps != self._amps
        moved = np.where(differs.any(axis=2), self.active[:, None], -1)
        branch = np.concatenate([pairs.fixed, moved])
        siemens = np.concatenate([pairs.fixed_siemens, siemens])
        amps = np.concatenate([np.zeros_like(pairs.fixed_siemens), amps])
        count = (branch >= 0).sum(axis=0)
        order = np.argsort(branch < 0, axis=0, kind="stable")
        n_pairs = len(count)
        looks = np.zeros((n_pairs, len(self.linear.looks), self.length))
        loss = np.full((n_pairs, self.length), np.inf)
        few = np.flatnonzero(count <= MOST_BRANCHES)
        for some in _blocks(few, count[few], SYSTEM_POINTS // self.length):
            places = order[: int(count[some[-1]]), some]
            looks[some], loss[some] = self._looks_with(
                branch[places, some], siemens[places, some], amps[places, some]
            )
        return looks, loss

    def _looks_with(
        self, branch: IntArray, siemens: FloatArray, amps: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return what looks show with branches on other lines, as `_looks` does.

        Parameters
        ----------
        branch : IntArray
            Shape (n_changed, n_pairs); -1 for none.
        siemens, amps : FloatArray
            Their lines, shape (n_changed, n_pairs, length). [S], [A]
        """
        linear = self.linear
        runs = Runs(
            block=np.full(branch.shape[1], self._block),
            within=slice(0, self.length, 1),
            single=None,
            length=self.length,
        )
        x, extra_amps, loss = linear.extra_amps(
            runs, branch, siemens=siemens, amps=amps, bearable_loss=MOST_LOSS
        )
        looks = linear.looked_volts(runs, branch, extra_amps)
        place = linear.solver.place[branch]
        own, pair = np.nonzero(place >= 0)
        looks[pair, place[own, pair]] = x[own, pair]
        return looks, loss

    def _one_by_one(
        self, first: IntArray, second: IntArray, within: IntArray, begins: BoolArray
    ) -> tuple[CodeArray, BoolArray]:
        """Settle points, each by itself.

        Parameters
        ----------
        first, second, within : IntArray
            The changes of each, and which draw of the state, shape (n_points,).
        begins : BoolArray
            How gates begin, shape (n_points, n_active).
        """
        code = np.zeros(begins.shape, dtype=np.int8)
        is_settled = np.zeros(len(first), dtype=np.bool_)
        points = np.arange(len(first))
        for max_rounds in (SOME_ROUNDS, MAX_ROUNDS):
            late = [points[:0]]
            for start in range(0, len(points), CHUNK_POINTS):
                some = points[start : start + CHUNK_POINTS]
                one, other, draw = first[some], second[some], within[some]
                slots = self._slots.take(one * self.length + draw)
                slots = slots.beside(self._slots.take(other * self.length + draw))
                rest = self.linear.solver.rests(
                    self._draws[draw],
                    slots,
                    np.ascontiguousarray(begins[some].T),
                    self._guesses(one, other, draw),
                    max_rounds=max_rounds,
                )
                code[some] = Rests.coded(rest.segment, rest.is_on).T
                is_settled[some] = rest.is_settled
                late.append(some[rest.is_moving])
            points = np.concatenate(late)
        return code, is_settled

    def _guesses(self, first: IntArray, second: IntArray, within: IntArray) -> IntArray:
        """Return segments of points in all stages, (n_stages, n_active, n_points)."""
        one = self._way[first] * self.length + within
        other = self._way[second] * self.length + within
        segment = self._segment.reshape(*self._segment.shape[:2], -1)
        lower = np.minimum(segment[:, :, one], segment[:, :, other])
        sound = self._sound[:, :, 0, within]
        return np.asarray(np.where(lower == AS_SOUND, sound, lower), dtype=np.int64)


def _blocks(rows: IntArray, size: IntArray, at_once: int) -> Iterator[IntArray]:
    """Yield rows, those of about one size together."""
    order, at_once = rows[np.argsort(size, kind="stable")], max(1, at_once)
    for start in range(0, len(order), at_once):
        yield order[start : start + at_once]


def _few(chosen: BoolArray) -> BoolArray:
    """Return the chosen draws of pairs that have few of them."""
    count = chosen.sum(axis=1, keepdims=True)
    return np.asarray(chosen & (count < FEW_DRAWS))


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Pairs being settled.

    Parameters
    ----------
    row : IntArray
        The curve of each active branch, shape (n_active, n_pairs, length).
    forced, inverted : FloatArray
        Of the same.
    gated : IntArray
        The active branches that have a gate.
    is_free : BoolArray
        Gates that switch their branch, shape (n_gated, n_pairs, length).
    on_volts, off_volts : FloatArray
        Same shape. [V]
    fixed : IntArray
        The other changed branches, shape (n_fixed, n_pairs); -1 for none.
    fixed_siemens : FloatArray
        Shape (n_fixed, n_pairs, length). [S]
    """

    row: IntArray
    forced: FloatArray
    inverted: FloatArray
    gated: IntArray
    is_free: BoolArray
    on_volts: FloatArray
    off_volts: FloatArray
    fixed: IntArray
    fixed_siemens: FloatArray

    @staticmethod
    def of(unions: Unions, first: IntArray, second: IntArray) -> _Pairs:
        """Return pairs of changes that change no branch both."""
        own, other = unions.own[first], unions.own[second]
        as_it_is = np.arange(own.shape[1])
        curve = np.where(own >= 0, own, np.where(other >= 0, other, as_it_is)).T
        rows = curve[..., None] * unions.length + np.arange(unions.length)
        curves = Curves(unions.table, rows)
        gates = Curves(unions.table, rows[unions.gated])
        both = np.concatenate(
            [unions.fixed_siemens[first], unions.fixed_siemens[second]], axis=1
        )
        return _Pairs(
            row=rows,
            forced=curves[FORCED],
            inverted=curves[INVERTED],
            gated=unions.gated,
            is_free=gates[FORCED] == 0.0,
            on_volts=gates[ON_VOLTS],
            off_volts=gates[OFF_VOLTS],
            fixed=np.concatenate([unions.fixed[first], unions.fixed[second]], axis=1).T,
            fixed_siemens=both.swapaxes(0, 1),
        )

    def take(self, some: IntArray) -> _Pairs:
        """Return some of the pairs."""
        return _Pairs(
            row=self.row[:, some],
            forced=self.forced[:, some],
            inverted=self.inverted[:, some],
            gated=self.gated,
            is_free=self.is_free[:, some],
            on_volts=self.on_volts[:, some],
            off_volts=self.off_volts[:, some],
            fixed=self.fixed[:, some],
            fixed_siemens=self.fixed_siemens[:, some],
        )

    def carries(self, is_on: BoolArray) -> BoolArray:
        """Return which active branches carry current."""
        return conducting(is_on, self.forced, self.inverted)

    def turning_volts(self, is_on: BoolArray) -> FloatArray:
        """Return at what volts gates turn, shape (n_gated, n_pairs, length). [V]."""
        return np.where(is_on[self.gated], self.off_volts, self.on_volts)

    def wants(self, is_on: BoolArray, watch_volts: FloatArray) -> BoolArray:
        """Return how gates turn, shape as `is_on`."""
        wants = is_on.copy()
        pulled = np.abs(watch_volts) >= self.turning_volts(is_on)
        wants[self.gated] = np.where(self.is_free, pulled, is_on[self.gated])
        return wants
