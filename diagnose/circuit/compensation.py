"""The fast path: many faults of one operating state as low-rank updates.

One factorisation per tolerance draw (`transfer_ohms`) serves every fault set and every
event. Replacing the line of k branches by another is a k x k solve (Woodbury; called the
compensation method in power-system contingency analysis): each changed branch carries an
extra current

    delta = (g' - g) x + (j' - j),   x = x0 - T delta,

with T the control volts of one branch per amp through another. Segments and gates that
change under a fault join the changed branches and the small system is solved again.
Leaves the meaning of faults to `faults`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nodal import BoolArray, IntArray, Network, transfer_ohms
from diagnose.circuit.small_systems import solve_many
from diagnose.circuit.operating_point import (
    BREAK_VOLTS,
    MAX_FLIPS,
    OperatingPoint,
    conducting,
    next_gate,
    next_segment,
    picked,
    solve_operating_point,
)

MAX_ROUNDS = 60
CALM_ROUNDS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Slots:
    """Changed branches of many points, side by side.

    Parameters
    ----------
    branch : IntArray
        Shape (n_points, n_slots); -1 marks an unused slot.
    breaks : FloatArray
        Shape (n_points, n_slots, n_segments - 1). [V]
    siemens, amps : FloatArray
        Shape (n_points, n_slots, n_segments). [S], [A]
    forced, on_volts, off_volts : FloatArray
        Shape (n_points, n_slots).
    """

    branch: IntArray
    breaks: FloatArray
    siemens: FloatArray
    amps: FloatArray
    forced: FloatArray
    on_volts: FloatArray
    off_volts: FloatArray

    def take(self, points: IntArray) -> Slots:
        """Return the slots of some of the points."""
        return Slots(**{name: getattr(self, name)[points] for name in _FIELDS})

    def beside(self, other: Slots) -> Slots:
        """Return these slots and other slots of the same points."""
        return Slots(
            **{
                name: np.concatenate([getattr(self, name), getattr(other, name)], 1)
                for name in _FIELDS
            }
        )


_FIELDS = ("branch", "breaks", "siemens", "amps", "forced", "on_volts", "off_volts")


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """Operating points in compact form: the extra currents of the changed branches.

    Parameters
    ----------
    draw : IntArray
        Shape (n_points,).
    branch : IntArray
        Shape (n_points, n_slots); -1 marks an unused slot.
    extra_amps : FloatArray
        The currents added to the base, shape (n_points, n_slots). [A]
    slope_change : FloatArray
        Shape (n_points, n_slots). [S]
    is_conducting : BoolArray
        Of the changed branches, shape (n_points, n_slots).
    is_settled : BoolArray
        Shape (n_points,).
    """

    draw: IntArray
    branch: IntArray
    extra_amps: FloatArray
    slope_change: FloatArray
    is_conducting: BoolArray
    is_settled: BoolArray

    def by_width(self) -> Iterator[tuple[IntArray, Solved]]:
        """Yield points with about as many changes each, without the unused slots."""
        is_used = (self.slope_change != 0.0) | (self.extra_amps != 0.0)
        count = is_used.sum(axis=1)
        order = np.argsort(~is_used, axis=1, kind="stable")
        low = -1
        for high in (1, 2, 3, 4, 6, 8, 12, 18, 30, order.shape[1]):
            points = np.flatnonzero((count > low) & (count <= high))
            low = max(low, high)
            if not len(points):
                continue
            width = max(int(count[points].max()), 1)
            rows, columns = points[:, None], order[points, :width]
            yield (
                points,
                Solved(
                    draw=self.draw[points],
                    branch=np.where(
                        is_used[rows, columns], self.branch[rows, columns], -1
                    ),
                    extra_amps=self.extra_amps[rows, columns],
                    slope_change=self.slope_change[rows, columns],
                    is_conducting=self.is_conducting[rows, columns],
                    is_settled=self.is_settled[points],
                ),
            )


class CompensatedState:
    """One operating state of the healthy car, ready for low-rank changes.

    Parameters
    ----------
    network : Network
    base : OperatingPoint or None
        The healthy operating point; solved here when None.
    """

    def __init__(self, network: Network, base: OperatingPoint | None = None) -> None:
        self.network = network
        self.base = solve_operating_point(network) if base is None else base
        base = self.base
        self.transfer = transfer_ohms(network, base.siemens)
        output, control, watch = network.output, network.control, network.watch
        # per amp through a branch's output, the fall of every node's voltage
        by_node = (
            self.transfer[:, :, output[:, 0]] - self.transfer[:, :, output[:, 1]]
        )
        self._by_node = np.ascontiguousarray(by_node.transpose(0, 2, 1))
        self._by_control = self._between(control)
        self._by_watch = self._between(watch)
        self.control_volts = base.control_volts(network)
        self.watch_volts = base.volts[:, watch[:, 0]] - base.volts[:, watch[:, 1]]
        self._prepare_checks()
        self._self_holding = np.flatnonzero(
            network.is_self_holding & base.is_on.any(axis=0)
        )
        self._cold: CompensatedState | None = None
        if len(self._self_holding):
            forced = network.forced.copy()
            forced[:, self._self_holding] = -1.0
            self._cold = CompensatedState(replace(network, forced=forced))

    def _between(self, pairs: IntArray) -> FloatArray:
        rows = self._by_node
        return np.ascontiguousarray(rows[:, :, pairs[:, 0]] - rows[:, :, pairs[:, 1]])

    def _prepare_checks(self) -> None:
        """Collect what has to be looked at in branches that were not changed."""
        network, base = self.network, self.base
        is_bent = np.isfinite(network.breaks).any(axis=(0, 2))
        is_switched = network.has_gate & (network.forced == 0.0).any(axis=0)
        self._bent = np.flatnonzero(is_bent & base.is_conducting.any(axis=0))
        self._switched = np.flatnonzero(is_switched)
        low = np.concatenate(
            [np.full((*network.breaks.shape[:2], 1), -np.inf), network.breaks], axis=2
        )
        high = np.concatenate(
            [network.breaks, np.full((*network.breaks.shape[:2], 1), np.inf)], axis=2
        )
        is_idle = ~base.is_conducting
        self._low = np.where(is_idle, -np.inf, picked(low, base.segment))
        self._high = np.where(is_idle, np.inf, picked(high, base.segment))
        self._low = self._low[:, self._bent] - BREAK_VOLTS
        self._high = self._high[:, self._bent] + BREAK_VOLTS
        self._bent_rows = np.ascontiguousarray(self._by_control[:, :, self._bent])
        switched = self._switched
        self._gate_rows = np.ascontiguousarray(self._by_watch[:, :, switched])
        self._switched_volts = self.watch_volts[:, switched]
        self._switched_on_volts = network.on_volts[:, switched]
        self._switched_is_on = base.is_on[:, switched]
        self._switched_is_free = network.forced[:, switched] == 0.0
        self._bent_volts = self.control_volts[:, self._bent]

    def base_slots(self, draw: IntArray, branch: IntArray) -> Slots:
        """Return the unchanged characteristics of branches as slots.

        Parameters
        ----------
        draw : IntArray
            Shape (n_points,).
        branch : IntArray
            Shape (n_points, n_slots); -1 allowed.
        """
        network, rows = self.network, draw[:, None]
        return Slots(
            branch=branch,
            breaks=network.breaks[rows, branch],
            siemens=network.siemens[rows, branch],
            amps=network.amps[rows, branch],
            forced=network.forced[rows, branch],
            on_volts=network.on_volts[rows, branch],
            off_volts=network.off_volts[rows, branch],
        )

    def solve(self, draw: IntArray, slots: Slots) -> Solved:
        """Return the operating points under changed branches, events included.

        Parameters
        ----------
        draw : IntArray
            The tolerance draw of each point, shape (n_points,).
        slots : Slots
            The changed branches of each point, n_points rows.
        """
        work = _Work.start(self, draw, self._with_unexcited(draw, slots))
        finished: list[tuple[IntArray, Solved]] = []
        alive = np.arange(len(draw))
        for round_number in range(MAX_ROUNDS):
            done, work = work.step(round_number)
            if done.any():
                rows = np.flatnonzero(done)
                finished.append((alive[rows], work.solved(rows, is_settled=True)))
                keep = np.flatnonzero(~done)
                alive, work = alive[keep], work.take(keep)
            if not len(alive):
                break
        if len(alive):
            rows = np.arange(len(alive))
            finished.append((alive, work.solved(rows, is_settled=False)))
        return _joined(finished, n_points=len(draw))

    def _with_unexcited(self, draw: IntArray, slots: Slots) -> Slots:
        """Hold off the branches whose own gate would have to start them, and can't.

        A second set of transfers, with those branches off, tells which points start.
        """
        if self._cold is None:
            return slots
        held = self._self_holding
        cold = self._cold
        watch = cold.watch_volts_of(cold.solve(draw, slots), held)
        off = np.abs(watch) < self.network.on_volts[draw][:, held]
        columns = np.flatnonzero(off.any(axis=0))
        if not len(columns):
            return slots
        is_slot = slots.branch[:, :, None] == held[None, None, :]
        slots.forced[(is_slot & off[:, None, :]).any(axis=2)] = -1.0
        is_new = off[:, columns] & ~is_slot.any(axis=1)[:, columns]
        extra = self.base_slots(draw, np.where(is_new, held[columns], -1))
        extra.forced[:] = -1.0
        return slots.beside(extra)

    def watch_volts_of(self, solved: Solved, branches: IntArray) -> FloatArray:
        """Return the gate volts of some branches, (n_points, n_branches). [V]."""
        rows = self._by_watch[:, :, branches][solved.draw[:, None], solved.branch]
        shift = np.einsum("pkn,pk->pn", rows, solved.extra_amps)
        return np.asarray(self.watch_volts[:, branches][solved.draw] - shift)

    def volts(self, solved: Solved) -> FloatArray:
        """Return the node voltages, shape (n_points, n_nodes). [V]."""
        result = self.base.volts[solved.draw]
        for points, part in solved.by_width():
            rows = self._by_node[part.draw[:, None], part.branch]
            result[points] -= np.einsum("pkn,pk->pn", rows, part.extra_amps)
        return result

    def source_ohms(self, solved: Solved) -> FloatArray:
        """Return the resistance each node shows to the reference.

        Returns
        -------
        FloatArray
            Shape (n_points, n_nodes). [Ω]

        Notes
        -----
        The diagonal of the updated inverse: Z - Z u D (I + T D)^-1 w Z.
        """
        result = np.einsum("snn->sn", self.transfer)[solved.draw]
        for points, part in solved.by_width():
            into = self._by_node[part.draw[:, None], part.branch]
            into *= part.slope_change[..., None]
            result[points] -= (into * self._solved_across(part)).sum(axis=1)
        return np.asarray(np.maximum(result, 0.0))

    def between_ohms(self, solved: Solved, first: int, second: int) -> FloatArray:
        """Return the resistance between two nodes, shape (n_points,). [Ω]."""
        draw = solved.draw
        into = self._by_node[draw[:, None], solved.branch]
        into = into[:, :, first] - into[:, :, second]
        across = self._solved_across(solved)
        across = across[:, :, first] - across[:, :, second]
        fall = np.einsum("pk,pk,pk->p", into, solved.slope_change, across)
        rows = self.transfer[:, first, :] - self.transfer[:, second, :]
        own = rows[:, first] - rows[:, second]
        return np.asarray(np.maximum(own[draw] - fall, 0.0))

    def _solved_across(self, solved: Solved) -> FloatArray:
        """Return (I + T D)^-1 w Z, shape (n_points, n_slots, n_nodes)."""
        draw, branch = solved.draw, solved.branch
        control = self.network.control[branch]
        across = (
            self.transfer[draw[:, None], control[..., 0]]
            - self.transfer[draw[:, None], control[..., 1]]
        )
        matrix = self._reduced(draw, branch, solved.slope_change)
        return solve_many(matrix, across)

    def branch_amps(self, solved: Solved, branches: IntArray) -> FloatArray:
        """Return the current of some branches, shape (n_points, n_branches). [A]."""
        draw = solved.draw
        x = self.control_volts[:, branches][draw]
        extra = np.zeros_like(x)
        by_branch = self._by_control[:, :, branches]
        for points, part in solved.by_width():
            rows = by_branch[part.draw[:, None], part.branch]
            x[points] -= np.einsum("pkn,pk->pn", rows, part.extra_amps)
            is_slot = part.branch[:, :, None] == branches[None, None, :]
            extra[points] = np.einsum("pkn,pk->pn", is_slot, part.extra_amps)
        amps = self.base.siemens[:, branches][draw] * x
        return np.asarray(amps + self.base.amps[:, branches][draw] + extra)

    def branch_conducts(self, solved: Solved, branches: IntArray) -> BoolArray:
        """Return whether some branches conduct, shape (n_points, n_branches)."""
        result = self.base.is_conducting[:, branches][solved.draw]
        for k in range(solved.branch.shape[1]):
            is_slot = solved.branch[:, k, None] == branches[None, :]
            result = np.where(is_slot, solved.is_conducting[:, k, None], result)
        return result

    def _among(
        self, table: FloatArray, draw: IntArray, branch: IntArray
    ) -> FloatArray:
        """Return a transfer table among the slots: volts of k per amp through l.

        Parameters
        ----------
        table : FloatArray
            Shape (n_draws, n_branches, n_branches), the branch with the amp first.

        Returns
        -------
        FloatArray
            Shape (n_points, n_slots, n_slots): [point, k, l].
        """
        size = table.shape[1]
        branch = np.where(branch < 0, size - 1, branch)
        flat = (draw[:, None] * size + branch) * size
        return np.asarray(table.ravel().take(flat[:, None, :] + branch[:, :, None]))

    def _reduced(
        self, draw: IntArray, branch: IntArray, slope_change: FloatArray
    ) -> FloatArray:
        """Return I + T D, shape (n_points, n_slots, n_slots)."""
        matrix = self._among(self._by_control, draw, branch)
        matrix *= slope_change[:, None, :]
        diagonal = np.arange(branch.shape[1])
        matrix[:, diagonal, diagonal] += 1.0
        return matrix

    def _solve_reduced(
        self,
        draw: IntArray,
        branch: IntArray,
        slope_change: FloatArray,
        amps_change: FloatArray,
    ) -> tuple[FloatArray, FloatArray]:
        """Return control volts and extra amps of the slots, (n_points, n_slots)."""
        cross = self._among(self._by_control, draw, branch)
        right = self.control_volts[draw[:, None], branch]
        right = right - np.einsum("pkl,pl->pk", cross, amps_change)
        cross *= slope_change[:, None, :]
        diagonal = np.arange(branch.shape[1])
        cross[:, diagonal, diagonal] += 1.0
        x = solve_many(cross, right[..., None])[..., 0]
        return x, slope_change * x + amps_change


@dataclass(frozen=True, slots=True)
class _Work:
    """The points still moving, with the mode of each of their slots."""

    state: CompensatedState
    draw: IntArray
    slots: Slots
    segment: IntArray
    is_on: BoolArray
    flips: IntArray
    extra_amps: FloatArray
    slope_change: FloatArray

    @staticmethod
    def start(state: CompensatedState, draw: IntArray, slots: Slots) -> _Work:
        segment = state.base.segment[draw[:, None], slots.branch]
        is_on = state.base.is_on[draw[:, None], slots.branch].copy()
        return _Work(
            state,
            draw,
            slots,
            segment,
            is_on,
            np.zeros_like(segment),
            np.zeros(segment.shape),
            np.zeros(segment.shape),
        )

    def take(self, rows: IntArray) -> _Work:
        return replace(
            self,
            draw=self.draw[rows],
            slots=self.slots.take(rows),
            segment=self.segment[rows],
            is_on=self.is_on[rows],
            flips=self.flips[rows],
            extra_amps=self.extra_amps[rows],
            slope_change=self.slope_change[rows],
        )

    def solved(self, rows: IntArray, *, is_settled: bool) -> Solved:
        slots = self.slots.take(rows)
        calm = (self.flips[rows] < MAX_FLIPS).all(axis=1)
        inverted = self.state.network.is_inverted[slots.branch]
        return Solved(
            draw=self.draw[rows],
            branch=slots.branch,
            extra_amps=self.extra_amps[rows],
            slope_change=self.slope_change[rows],
            is_conducting=conducting(self.is_on[rows], slots.forced, inverted),
            is_settled=calm & is_settled,
        )

    def step(self, round_number: int) -> tuple[BoolArray, _Work]:
        """Solve once; return which points are consistent, and the moved work."""
        state, slots, draw = self.state, self.slots, self.draw
        network, rows = state.network, draw[:, None]
        is_used = slots.branch >= 0
        inverted = network.is_inverted[slots.branch]
        carries = conducting(self.is_on, slots.forced, inverted) & is_used
        siemens = np.where(carries, picked(slots.siemens, self.segment), 0.0)
        amps = np.where(carries, picked(slots.amps, self.segment), 0.0)
        base_siemens = np.where(is_used, state.base.siemens[rows, slots.branch], 0.0)
        base_amps = np.where(is_used, state.base.amps[rows, slots.branch], 0.0)
        slope = siemens - base_siemens
        x, extra = state._solve_reduced(draw, slots.branch, slope, amps - base_amps)
        wanted = next_segment(x, slots.breaks, self.segment)
        moved = (wanted != self.segment) & carries
        bent = np.einsum("pkn,pk->pn", state._bent_rows[rows, slots.branch], extra)
        bent = state._bent_volts[draw] - bent
        strays = (bent < state._low[draw]) | (bent > state._high[draw])
        strays &= ~_has_slot(slots.branch, state._bent)
        if round_number > CALM_ROUNDS:
            moved, strays = _one_each(moved, strays, round_number)
        is_quiet = ~(moved.any(axis=1) | strays.any(axis=1))
        turns, gate_strays = self._gate_moves(extra, is_quiet)
        joined = _joining(
            [(state._bent, strays), (state._switched, gate_strays)], slots.branch
        )
        is_done = is_quiet & ~turns.any(axis=1) & ~gate_strays.any(axis=1)
        work = replace(
            self,
            segment=np.where(moved, wanted, self.segment),
            is_on=self.is_on ^ turns,
            flips=self.flips + turns,
            extra_amps=extra,
            slope_change=slope,
        )
        return is_done, work._with(joined, gate_strays)

    def _gate_moves(
        self, extra: FloatArray, is_quiet: BoolArray
    ) -> tuple[BoolArray, BoolArray]:
        """Return gates of slots that turn, and unchanged gates that would.

        Only where the segments have come to rest.
        """
        state = self.state
        turns = np.zeros(extra.shape, dtype=np.bool_)
        strays = np.zeros((len(extra), len(state._switched)), dtype=np.bool_)
        quiet = np.flatnonzero(is_quiet)
        if len(quiet):
            calm = self.take(quiet)
            turns[quiet] = calm._turns(extra[quiet])
            strays[quiet] = calm._gate_strays(extra[quiet])
        return turns, strays

    def _turns(self, extra: FloatArray) -> BoolArray:
        """Return which gates of slots turn, (n_points, n_slots)."""
        state, slots, rows = self.state, self.slots, self.draw[:, None]
        is_free = (slots.branch >= 0) & state.network.has_gate[slots.branch]
        is_free &= (slots.forced == 0.0) & (self.flips < MAX_FLIPS)
        if not is_free.any():
            return is_free
        watch = state.watch_volts[rows, slots.branch]
        among = state._among(state._by_watch, self.draw, slots.branch)
        watch = watch - np.einsum("pkl,pl->pk", among, extra)
        wanted = next_gate(
            watch_volts=watch,
            on_volts=slots.on_volts,
            off_volts=slots.off_volts,
            is_on=self.is_on,
            flips=self.flips,
        )
        return (wanted != self.is_on) & is_free

    def _gate_strays(self, extra: FloatArray) -> BoolArray:
        """Return which unchanged gates would turn, (n_points, n_switched)."""
        state, slots, rows = self.state, self.slots, self.draw[:, None]
        switched = state._switched
        shift = np.einsum("pkn,pk->pn", state._gate_rows[rows, slots.branch], extra)
        watch = state._switched_volts[self.draw] - shift
        is_high = np.abs(watch) >= state._switched_on_volts[self.draw]
        strays = (state._switched_is_on[self.draw] != is_high)
        strays &= state._switched_is_free[self.draw]
        return strays & ~_has_slot(slots.branch, switched)

    def _with(self, joined: IntArray, gate_strays: BoolArray) -> _Work:
        """Give the branches that left their base mode slots of their own."""
        if not joined.shape[1]:
            return self
        state, draw = self.state, self.draw
        more = state.base_slots(draw, joined)
        rows = draw[:, None]
        segment = state.base.segment[rows, joined]
        is_on = state.base.is_on[rows, joined]
        is_gate = _contains(state._switched, gate_strays, joined)
        zeros = np.zeros(joined.shape)
        return replace(
            self,
            slots=self.slots.beside(more),
            segment=np.concatenate([self.segment, segment], axis=1),
            is_on=np.concatenate([self.is_on, is_on ^ is_gate], axis=1),
            flips=np.concatenate([self.flips, is_gate.astype(np.int64)], axis=1),
            extra_amps=np.concatenate([self.extra_amps, zeros], axis=1),
            slope_change=np.concatenate([self.slope_change, zeros], axis=1),
        )


def _has_slot(branch: IntArray, columns: IntArray) -> BoolArray:
    """Return which of `columns` already have a slot, (n_points, n_columns)."""
    return (branch[:, :, None] == columns[None, None, :]).any(axis=1)


def _one_each(
    moved: BoolArray, strays: BoolArray, offset: int
) -> tuple[BoolArray, BoolArray]:
    """Keep one move per point, another one each round: breaks cycles."""
    both = np.concatenate([moved, strays], axis=1)
    rolled = np.roll(both, offset, axis=1)
    single = np.zeros_like(both)
    rows = np.flatnonzero(both.any(axis=1))
    single[rows, (rolled.argmax(axis=1)[rows] - offset) % both.shape[1]] = True
    return single[:, : moved.shape[1]], single[:, moved.shape[1] :]


def _joining(
    groups: list[tuple[IntArray, BoolArray]], branch: IntArray
) -> IntArray:
    """Return the branches that need slots, padded with -1, (n_points, n_new)."""
    columns = np.concatenate([columns for columns, _ in groups])
    flags = np.concatenate([flags for _, flags in groups], axis=1)
    order = np.argsort(columns, kind="stable")
    columns, flags = columns[order], flags[:, order]
    repeated = np.flatnonzero(columns[1:] == columns[:-1])
    flags[:, repeated] |= flags[:, repeated + 1]
    flags[:, repeated + 1] = False
    width = int(flags.sum(axis=1).max(initial=0))
    result = np.full((len(branch), width), -1, dtype=np.int64)
    points, which = np.nonzero(flags)
    position = np.cumsum(flags, axis=1)[points, which] - 1
    result[points, position] = columns[which]
    return result


def _contains(columns: IntArray, flags: BoolArray, joined: IntArray) -> BoolArray:
    """Return which of the joined branches joined because their gate turned."""
    hit = (joined[:, :, None] == columns[None, None, :]) & flags[:, None, :]
    return np.asarray(hit.any(axis=2))


def _joined(finished: list[tuple[IntArray, Solved]], *, n_points: int) -> Solved:
    """Put batches that finished in different rounds back into the caller's order."""
    width = max((part.branch.shape[1] for _, part in finished), default=0)

    def gather(name: str, fill: object) -> np.ndarray:
        sample = getattr(finished[0][1], name)
        shape = (n_points, width) if sample.ndim == 2 else (n_points,)
        whole = np.full(shape, fill, dtype=sample.dtype)
        for rows, part in finished:
            block = getattr(part, name)
            if block.ndim == 2:
                whole[rows[:, None], np.arange(block.shape[1])] = block
            else:
                whole[rows] = block
        return whole

    return Solved(
        draw=gather("draw", 0),
        branch=gather("branch", -1),
        extra_amps=gather("extra_amps", 0.0),
        slope_change=gather("slope_change", 0.0),
        is_conducting=gather("is_conducting", False),
        is_settled=gather("is_settled", False),
    )
