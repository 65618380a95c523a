"""One solved state and how it answers to small changes of its branches.

A branch sees the rest of the car as open-circuit volts behind a resistance (Thévenin),
so one changed branch is settled by hand; k changed branches are a k x k system
(Woodbury; in power-system contingency analysis the compensation method). Each carries
an extra current

    delta = (g' - g) x + (j' - j),
    x_k (1 + R_k g'_k) = V_k - R_k j'_k - sum over the others of T_kl delta_l,

with V_k and R_k what branch k sees when it is taken out, and T_kl its control volts
then per amp through branch l. Lines are given here: which segments and gates they come
from is for `nearby` to find.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.runs import Runs, in_blocks
from diagnose.circuit.changes.small_systems import solve_many
from diagnose.circuit.solver.point_solver import OperatingPointSolver

LOOSE_SHARE = 1e-2
# Derived: one minus a share that leaves this little has lost 2 of 16 digits, and the
# volts of a pair of changes may lose 4 more.
ROUNDING = 2.0**-52
MOST_ERROR_VOLTS = 1e-11
# Derived: what rounding may do to the volts of a changed branch, far under a microvolt.
MOST_CANCELLED_VOLTS = 3e-10
# Derived: as above, for any node; a third of a nanovolt.
MOST_LOSS = 1e4
# Derived: with so many times as much lost, a third of a nanovolt is some microvolts:
# enough to say on which line a branch is, if no edge is near.
BLOCK_POINTS = 4096
# Measured: fewer points cost calls, more overflow the processor's cache.
N_SIDES = 8


@dataclass(frozen=True, slots=True)
class Changes:
    """Points with some of their branches on other lines.

    Parameters
    ----------
    draw : IntArray
        Shape (n_points,).
    branch : IntArray
        Shape (n_points, n_changes); -1 marks an unused place.
    siemens, amps : FloatArray
        The lines, shape (n_points, n_changes). [S], [A]
    is_conducting : BoolArray
        Shape (n_points, n_changes).
    control_volts, extra_amps : FloatArray
        Shape (n_points, n_changes). [V], [A]
    is_sound : BoolArray
        False where the digits do not suffice, shape (n_points,).
    """

    draw: IntArray
    branch: IntArray
    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray
    control_volts: FloatArray
    extra_amps: FloatArray
    is_sound: BoolArray

    def take(self, points: IntArray) -> Changes:
        """Return some of the points."""
        return Changes(*(getattr(self, field.name)[points] for field in _FIELDS))

    @staticmethod
    def joined(parts: Sequence[Changes]) -> Changes:
        """Return the points of all parts in turn; they have as many changes."""
        return Changes(
            *(
                np.concatenate([getattr(part, field.name) for part in parts])
                for field in _FIELDS
            )
        )


_FIELDS = fields(Changes)


class Linearised:
    """A network at the operating point of each draw.

    Parameters
    ----------
    solver : OperatingPointSolver
    length : int
        Draws that lie together, see `runs`.

    Attributes
    ----------
    response : FloatArray
        Volts of each node per amp into a branch's first output node and out of the
        second, shape (n_branches, n_draws, n_nodes). [Ω]
    look_response : FloatArray
        Volts of each of `looks` per amp into a branch's first output node and out of
        the second, a row for each block of draws and branch, shape
        (n_blocks n_branches, n_looks, length). [Ω]
    looks : IntArray
        Pairs of nodes: those that control the active branches, then those that gates
        watch; shape (n_looks, 2).
    look_volts : FloatArray
        What they show of the state as it is, shape (n_blocks, n_looks, length). [V]
    """

    def __init__(
        self,
        solver: OperatingPointSolver,
        length: int = 1,
    ) -> None:
        self.solver, self.network, self.base = solver, solver.network, solver.base
        self.length = length
        network, base, active = self.network, self.base, solver.plan.active
        gated = active[network.has_gate[active]]
        self.looks = np.concatenate([network.control[active], network.watch[gated]])
        self._factored = solver.plan.factored(base.siemens.T)
        by_node = self._factored.response_volts(network.output)
        self.response = np.ascontiguousarray(by_node.transpose(1, 2, 0))
        first, second = self.looks.T
        looks = (base.volts[:, first] - base.volts[:, second]).T
        self.look_volts = in_blocks(looks, length)
        looked = (by_node[first] - by_node[second]).transpose(1, 0, 2)
        self.look_response = _grouped(looked, length)
        reading = by_node
        if self._factored.has_controls:
            reading = self._factored.reading_volts(network.control)
        each, (first, second) = np.arange(len(network.branches)), network.control.T
        own_ohms = (by_node[first, each] - by_node[second, each]).T
        control_volts = base.control_volts(network)
        share = 1.0 - base.siemens * own_ohms
        is_loose = share < LOOSE_SHARE
        share[is_loose] = 1.0
        self.open_ohms = own_ohms / share
        falls = self.open_ohms * base.branch_amps(network)
        self.open_volts = control_volts + falls
        self._open_reading = reading.transpose(1, 0, 2) / share.T[:, None]
        self._open(*np.nonzero(is_loose))
        most_reading = 2.0 * np.abs(self._open_reading).max(axis=1).T
        self._open_reading = _rows_of(self._open_reading, length)
        sides = [
            base.siemens,
            base.amps,
            self.open_volts,
            self.open_ohms,
            1.0 + self.open_ohms * base.siemens,
            is_loose * ROUNDING,
            self._reach(by_node) * ROUNDING,
            is_loose * ROUNDING * most_reading,
        ]
        self._sides = _rows_of(np.stack(sides, axis=1).transpose(2, 1, 0), length)

    def _reach(self, by_node: FloatArray) -> FloatArray:
        """Return what rounding of responses goes by, shape (n_draws, n_branches). [Ω].

        The most volts of any node per amp; and what holds both ends together, for an
        amp goes in at one and out at the other, and cancels but for its last digit.
        """
        most = np.maximum(by_node.max(axis=0), -by_node.min(axis=0)).T
        ends = self.self_ohms[:, self.network.output]
        return np.asarray(np.maximum(most, ends.min(axis=2)))

    def _open(self, draws: IntArray, branches: IntArray) -> None:
        """Find what branches see by taking each out of the network.

        For branches that carry nearly all the current between their ends: once they
        open, little holds the far side, and a difference would be all rounding.
        """
        output, control = self.network.output, self.network.control
        controlled = list(self.solver.plan.controlled)
        into_base = np.zeros((len(self.network.nodes), len(self.base.amps)))
        for branch in np.setdiff1d(np.arange(len(output)), controlled).tolist():
            a, b = output[branch]
            into_base[a] -= self.base.amps[:, branch]
            into_base[b] += self.base.amps[:, branch]
        for start in range(0, len(draws), BLOCK_POINTS):
            draw = draws[start : start + BLOCK_POINTS]
            branch = branches[start : start + BLOCK_POINTS]
            each, (a, b) = np.arange(len(draw)), output[branch].T
            siemens, amps = self.base.siemens[draw].T, self.base.amps[draw].T
            removed_amps = np.where(
                np.isin(branch, controlled), 0.0, amps[branch, each]
            )
            siemens[branch, each] = amps[branch, each] = 0.0
            into = np.zeros((len(into_base), 2, len(draw)))
            into[:, 0] = into_base[:, draw]
            for side, current in ((0, removed_amps), (1, 1.0)):
                into[a, side, each] += current
                into[b, side, each] -= current
            control_amps = np.zeros((len(controlled), 2, len(draw)))
            control_amps[:, 0] = amps[controlled]
            factored = self.solver.plan.factored(siemens)
            volts = factored.volts(into, range(len(into)), control_amps)
            first, second = control[branch].T
            across = volts[first, :, each] - volts[second, :, each]
            self.open_volts[draw, branch], self.open_ohms[draw, branch] = across.T
            reading = factored.own_reading_volts(control[branch])
            self._open_reading[branch, :, draw] = reading.T

    def extra_amps(
        self,
        runs: Runs,
        branch: IntArray,
        *,
        siemens: FloatArray,
        amps: FloatArray,
        bearable_loss: float = 1.0,
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the solution with branches on other lines.

        Parameters
        ----------
        branch : IntArray
            The branches of each run, shape (n_changes, n_runs); -1 marks an unused
            place: it is put on the line of the base, so that it changes nothing.
        siemens, amps : FloatArray
            Their lines, shape (n_changes, n_runs, n_together). [S], [A]
        bearable_loss : float
            Below that a bound on the digits lost will do.

        Returns
        -------
        control_volts, extra_amps : FloatArray
            Of the changed branches, shape (n_changes, n_runs, n_together). [V], [A]
        loss : FloatArray
            How many times as much rounding may leave uncertain as is allowed; from
            `MOST_LOSS` on nothing is said. Shape (n_runs, n_together).
        """
        sides = self._sides_of(runs, branch)
        base_siemens, base_amps, volts, ohms, _, rounding, reach, most_blur = sides
        siemens_change, amps_change = siemens - base_siemens, amps - base_amps
        if branch.min(initial=0) < 0:
            is_used = (branch >= 0)[..., None]
            siemens = np.where(is_used, siemens, 0.0)
            siemens_change *= is_used
            amps_change *= is_used
            most_blur = most_blur * is_used
        own = 1.0 + ohms * siemens
        x = volts - ohms * amps
        if len(branch) < 2:
            x /= own
            extra, loss = _extra(siemens_change * x, amps_change, reach)
            return x, extra, loss
        others = self._others(runs, branch)
        if amps_change.any():
            x -= np.einsum("klrp,lrp->krp", others, amps_change)
        others *= siemens_change
        loss = _solve(others, own, x)
        x[:, ~(loss < MOST_LOSS)] = 0.0
        extra, cancelled = _extra(siemens_change * x, amps_change, reach)
        np.maximum(loss, cancelled, out=loss)
        if most_blur.any():
            amps_of_all = np.abs(extra)
            amps_of_others = amps_of_all.sum(axis=0) - amps_of_all
            error_volts = (most_blur * amps_of_others / own).max(axis=0)
            most_volts = bearable_loss * MOST_ERROR_VOLTS
            some = np.flatnonzero((error_volts >= most_volts).any(axis=1))
            if len(some):
                error_volts[some] = self._error_volts(
                    runs.take(some),
                    np.where(branch[:, some] < 0, 0, branch[:, some]),
                    rounding[:, some] * (branch[:, some, None] >= 0) / own[:, some],
                    amps_of_all[:, some],
                )
            np.maximum(loss, error_volts / MOST_ERROR_VOLTS, out=loss)
        return x, extra, loss

    def changes(
        self,
        draw: IntArray,
        branch: IntArray,
        *,
        siemens: FloatArray,
        amps: FloatArray,
        is_conducting: BoolArray,
    ) -> Changes:
        """Return the solution of single points, arguments as in `Changes`."""
        x, extra_amps, loss = self.extra_amps(
            Runs.of_points(draw, self.length, 1),
            branch.T,
            siemens=siemens.T[..., None],
            amps=amps.T[..., None],
        )
        return Changes(
            draw,
            branch,
            siemens,
            amps,
            is_conducting,
            x[..., 0].T,
            extra_amps[..., 0].T,
            loss[:, 0] < 1.0,
        )

    def looked_volts(
        self, runs: Runs, branch: IntArray, extra_amps: FloatArray
    ) -> FloatArray:
        """Return what looks show under changes, (n_runs, n_looks, n_together). [V].

        Parameters
        ----------
        branch : IntArray
            The branches of each run, shape (n_changes, n_runs); -1 for an unused place.
        extra_amps : FloatArray
            Shape (n_changes, n_runs, n_together). [A]
        """
        looks = runs.whole(self.look_volts, runs.block)
        first = runs.block * len(self.network.branches)
        for used, amps in zip(branch, extra_amps, strict=True):
            groups = first + np.maximum(used, 0)
            falls = runs.whole(self.look_response, groups)
            falls *= amps[:, None]
            looks -= falls
        return looks

    def block(self, number: int) -> tuple[FloatArray, FloatArray]:
        """Return what the branches of one block of draws see when taken out.

        Returns
        -------
        sides : FloatArray
            Their line as it is (siemens, amps), then open volts and open ohms, and
            more; shape (n_branches, n_sides, length). [S], [A], [V], [Ω]
        reading : FloatArray
            Their control volts per amp into each node, shape (n_branches, n_nodes,
            length). [Ω]
        """
        size = len(self.network.branches)
        shape = (-1, size, self._sides.shape[0] // self._n_blocks // size, self.length)
        sides = self._sides.reshape(self._n_blocks, *shape[1:])[number]
        reading = self._open_reading.reshape(self._n_blocks, size, -1, self.length)
        return sides, reading[number]

    @property
    def _n_blocks(self) -> int:
        return self.network.n_draws // self.length

    def _sides_of(self, runs: Runs, branch: IntArray) -> FloatArray:
        """Return the line, what is seen when open, and how much more than closed.

        Arrays of shape (n_changes, n_runs, n_together): siemens, amps, open volts, open
        ohms, open ohms over those with the branch in place, and how much rounding
        leaves uncertain: of what it sees of others, of any node for each amp, and of
        what it sees of others at most for each amp.
        """
        first = runs.block * len(self.network.branches) + np.maximum(branch, 0)
        sides = np.arange(N_SIDES)[:, None, None]
        return np.asarray(runs.of(self._sides, first * N_SIDES + sides))

    def _others(self, runs: Runs, branch: IntArray) -> FloatArray:
        """Return control volts of k, taken out, per amp through l, (k, l, n_runs, ...).

        Nothing for k = l.
        """
        here, there = self._readings(runs, branch)
        here -= there
        diagonal = np.arange(len(branch))
        here[diagonal, diagonal] = 0.0
        return here

    def _readings(self, runs: Runs, branch: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return control volts of k per amp into the first node of l, and the second.

        Shape (k, l, n_runs, n_together) each.
        """
        network, used = self.network, np.maximum(branch, 0)
        start = (runs.block * len(network.branches) + used) * len(network.nodes)
        one, other = network.output[used].transpose(2, 0, 1)
        return (
            runs.of(self._open_reading, start[:, None] + one),
            runs.of(self._open_reading, start[:, None] + other),
        )

    def _error_volts(
        self, runs: Runs, branch: IntArray, share: FloatArray, amps: FloatArray
    ) -> FloatArray:
        """Return how far wrong rounding may make volts of branches, (n_runs, ...). [V].

        Parameters
        ----------
        share : FloatArray
            Of the readings of each branch, shape (n_changes, n_runs, n_together).
        amps : FloatArray
            What flows through each, same shape. [A]
        """
        here, there = self._readings(runs, branch)
        blur = np.abs(here) + np.abs(there)
        diagonal = np.arange(len(branch))
        blur[diagonal, diagonal] = 0.0
        volts = share * np.einsum("klrp,lrp->krp", blur, amps)
        return np.asarray(volts.max(axis=0))

    def falls(self, table: FloatArray, changes: Changes) -> FloatArray:
        """Return the changed branches' rows of a table, weighted by extra amps.

        Parameters
        ----------
        table : FloatArray
            Shape (n_branches, n_draws, n_columns), such as `response`.

        Returns
        -------
        FloatArray
            Shape (n_points, n_columns).
        """
        flat, rows = _flat(table), self._rows(changes)
        total = flat.take(rows[:, 0], axis=0)
        total *= changes.extra_amps[:, :1]
        for k in range(1, rows.shape[1]):
            part = flat.take(rows[:, k], axis=0)
            part *= changes.extra_amps[:, k, None]
            total += part
        return np.asarray(total)

    def _rows(self, changes: Changes) -> IntArray:
        n_draws = self.network.n_draws
        return np.maximum(changes.branch, 0) * n_draws + changes.draw[:, None]

    def prepare_ohms(self) -> None:
        """Work out once what `self_ohms` and `fall_ohms` look up."""
        self.self_ohms, self._reading  # noqa: B018

    @cached_property
    def self_ohms(self) -> FloatArray:
        """Resistance of each node to the reference, (n_draws, n_nodes). [Ω]."""
        return np.ascontiguousarray(self._factored.self_ohms().T)

    @cached_property
    def _reading(self) -> FloatArray:
        """Control volts of a branch per amp into each node, shaped as `response`."""
        if not self._factored.has_controls:
            return self.response
        by_node = self._factored.reading_volts(self.network.control)
        return np.ascontiguousarray(by_node.transpose(1, 2, 0))

    def fall_ohms(self, changes: Changes) -> FloatArray:
        """Return how far `self_ohms` falls, shape (n_points, n_nodes). [Ω].

        Notes
        -----
        The diagonal of the updated inverse: Z - Z u D (I + T D)^-1 w Z.
        """
        rows = self._rows(changes)
        response = _flat(self.response).take(rows, axis=0)
        reading = response
        if self._reading is not self.response:
            reading = _flat(self._reading).take(rows, axis=0)
        mixed = self._factors(changes) @ reading
        return np.asarray(np.einsum("pkn,pkn->pn", response, mixed))

    def fall_between_ohms(self, changes: Changes, pair: IntArray) -> FloatArray:
        """Return how far `between_ohms` falls, shape (n_points,). [Ω]."""
        draw, (first, second) = changes.draw[:, None], pair[0]
        into = self.response[changes.branch, draw, first]
        into = into - self.response[changes.branch, draw, second]
        across = self._reading[changes.branch, draw, first]
        across = across - self._reading[changes.branch, draw, second]
        return np.asarray(
            np.einsum("pk,pkl,pl->p", into, self._factors(changes), across)
        )

    def between_ohms(self, pair: IntArray) -> FloatArray:
        """Return the resistance between two nodes, shape (n_draws,). [Ω].

        Parameters
        ----------
        pair : IntArray
            The nodes, shape (1, 2).
        """
        volts = self._factored.response_volts(pair)
        first, second = pair[0]
        return np.asarray(volts[first, 0] - volts[second, 0])

    def _factors(self, changes: Changes) -> FloatArray:
        """Return D (I + T D)^-1, shape (n_points, n_changes, n_changes). [S]."""
        branch = changes.branch.T
        runs = Runs.of_points(changes.draw, self.length, 1)
        sides = self._sides_of(runs, branch)
        base_siemens, _, _, ohms, gain = sides[:5]
        is_used = (branch >= 0)[..., None]
        siemens = np.where(is_used, changes.siemens.T[..., None], 0.0)
        change = np.where(is_used, siemens - base_siemens, 0.0)
        own = 1.0 + ohms * siemens
        if len(branch) == 1:
            return np.asarray((change * gain / own).transpose(1, 0, 2))
        matrix = self._others(runs, branch)
        diagonal = np.arange(len(branch))
        matrix *= change
        matrix[diagonal, diagonal] = own
        unit = np.zeros_like(matrix)
        unit[diagonal, diagonal] = 1.0
        inverse, _ = solve_many(matrix[..., 0], unit[..., 0])
        factors = change.transpose(0, 2, 1) * inverse * gain.transpose(2, 0, 1)
        return np.asarray(factors.transpose(2, 0, 1))


def _extra(
    by_slope: FloatArray, fixed: FloatArray, reach: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return extra currents, and how far a sum of large ones may have lost its digits.

    A battery whose terminals hang on its insulation is taken out by amps that cancel.
    """
    most_volts = (np.abs(by_slope) + np.abs(fixed)) * reach
    by_slope += fixed
    return by_slope, np.asarray(
        most_volts.max(axis=0, initial=0.0) / MOST_CANCELLED_VOLTS
    )


def _solve(matrix: FloatArray, own: FloatArray, right: FloatArray) -> FloatArray:
    """Solve for the volts of changed branches, over `right`; return the digits lost.

    Parameters
    ----------
    matrix : FloatArray
        Shape (n_changes, n_changes, n_runs, n_together); written over.
    own : FloatArray
        Its diagonal, shape (n_changes, n_runs, n_together).
    right : FloatArray
        Same shape.
    """
    size = len(matrix)
    diagonal = np.arange(size)
    matrix[diagonal, diagonal] = own
    solution, loss = solve_many(
        matrix.reshape(size, size, -1), right.reshape(size, 1, -1)
    )
    right[:] = solution.reshape(right.shape)
    return loss.reshape(right.shape[1:])


def _flat(table: FloatArray) -> FloatArray:
    return table.reshape(-1, table.shape[2])


def _grouped(array: FloatArray, length: int) -> FloatArray:
    """Return (branch, row, draw) as (block branch, row, draw of the block)."""
    blocks = in_blocks(array, length)
    return blocks.reshape(-1, *blocks.shape[2:])


def _rows_of(array: FloatArray, length: int) -> FloatArray:
    """Return (..., draw) as (row, draw of the block)."""
    return in_blocks(array, length).reshape(-1, length)
