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

from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nodal import BoolArray, IntArray
from diagnose.circuit.operating_point import OperatingPointSolver
from diagnose.circuit.small_systems import solve_many

LOOSE_SHARE = 1e-2
# Derived: one minus a share that leaves this little has lost 2 of 16 digits, and the
# volts of a pair of changes may lose 4 more.
ROUNDING = 2.0**-52
MOST_ERROR_VOLTS = 1e-11
# Derived: what rounding may do to the volts of a changed branch, far under a microvolt.
BLOCK_POINTS = 4096
# Measured: fewer points cost calls, more overflow the processor's cache.


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


_FIELDS = fields(Changes)


class Linearised:
    """A network at the operating point of each draw.

    Parameters
    ----------
    solver : OperatingPointSolver

    Attributes
    ----------
    response : FloatArray
        Volts of each node per amp into a branch's first output node and out of the
        second, shape (n_draws, n_branches, n_nodes). [Ω]
    open_volts, open_ohms : FloatArray
        What each branch sees of the rest, shape (n_draws, n_branches). [V], [Ω]
    """

    def __init__(self, solver: OperatingPointSolver) -> None:
        self.solver, self.network, self.base = solver, solver.network, solver.base
        network, base = self.network, self.base
        self._factored = solver.plan.factored(base.siemens.T)
        by_node = self._factored.response_volts(network.output)
        self.response = np.ascontiguousarray(by_node.transpose(2, 1, 0))
        each, (first, second) = np.arange(len(network.branches)), network.control.T
        own_ohms = self.response[:, each, first] - self.response[:, each, second]
        self._control_volts = base.control_volts(network)
        share = 1.0 - base.siemens * own_ohms
        is_loose = share < LOOSE_SHARE
        share[is_loose] = 1.0
        self.open_ohms = own_ohms / share
        falls = self.open_ohms * base.branch_amps(network)
        self.open_volts = self._control_volts + falls
        self._open_row = np.full(share.shape, -1)
        self._open_row[is_loose] = np.arange(is_loose.sum())
        self._open_reading = np.empty((int(is_loose.sum()), len(network.nodes)))
        self._open(*np.nonzero(is_loose))
        # what is looked up together lies together
        self._sides = np.stack(
            [
                base.siemens,
                base.amps,
                self.open_volts,
                self.open_ohms,
                1.0 + self.open_ohms * base.siemens,
            ],
            axis=2,
        ).reshape(-1, 5)

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
            self._open_reading[start : start + BLOCK_POINTS] = reading.T

    def changes(
        self,
        draw: IntArray,
        branch: IntArray,
        *,
        siemens: FloatArray,
        amps: FloatArray,
        is_conducting: BoolArray,
    ) -> Changes:
        """Return the solution with branches on other lines, arguments as in `Changes`.

        An unused place is put on the line of the base, so that it changes nothing.
        """
        base_siemens, base_amps, volts, ohms, gain = self._sides_of(draw, branch)
        is_used = branch >= 0
        siemens_change = np.where(is_used, siemens - base_siemens, 0.0)
        amps_change = np.where(is_used, amps - base_amps, 0.0)
        if branch.shape[1] == 1:
            x = (volts - ohms * amps) / (1.0 + ohms * siemens)
            is_sound = np.ones(len(draw), dtype=np.bool_)
        else:
            others, blur = self._others(draw, branch, gain)
            right = (volts - ohms * amps).T
            right -= np.einsum("klp,pl->kp", others, amps_change)
            own = (1.0 + ohms * np.where(is_used, siemens, 0.0)).T
            matrix = _reduced(others, siemens_change, own)
            solution, is_sound = solve_many(matrix, right[:, None])
            x = solution[:, 0].T
            if blur is not None:
                current = np.abs(siemens_change * x + amps_change)
                error_volts = np.einsum("klp,pl->kp", blur, current) / own
                is_sound &= (error_volts < MOST_ERROR_VOLTS).all(axis=0)
        extra_amps = siemens_change * x + amps_change
        return Changes(
            draw, branch, siemens, amps, is_conducting, x, extra_amps, is_sound
        )

    def _sides_of(self, draw: IntArray, branch: IntArray) -> Iterable[FloatArray]:
        """Return the line, what is seen when open, and how much more than closed.

        Five arrays of shape (n_points, n_changes): siemens, amps, open volts, open
        ohms, and open ohms over those with the branch in place.
        """
        place = draw[:, None] * len(self.network.branches) + branch
        return self._sides.take(place, axis=0).transpose(2, 0, 1)

    def _others(
        self, draw: IntArray, branch: IntArray, gain: FloatArray
    ) -> tuple[FloatArray, FloatArray | None]:
        """Return control volts of k, taken out, per amp through l, (k, l, n_points).

        Nothing for k = l. With them what rounding leaves uncertain of them where that
        may count, None where it does not.
        """
        _, n_branches, n_nodes = self.response.shape
        through = (draw * n_branches + branch.T) * n_nodes
        first, second = self.network.control[branch.T].transpose(2, 0, 1)
        flat = self.response.reshape(-1)
        volts = flat.take(through[None, :] + first[:, None])
        volts -= flat.take(through[None, :] + second[:, None])
        volts *= gain.T[:, None]
        diagonal = np.arange(branch.shape[1])
        open_row = self._open_row.take(draw[:, None] * n_branches + branch)
        open_row[branch < 0] = -1
        points, places = np.nonzero(open_row >= 0)
        blur = None
        if len(points):
            blur = np.zeros_like(volts)
            start = open_row[points, places] * n_nodes
            ends = self.network.output[branch[points].T].transpose(2, 0, 1)
            flat = self._open_reading.reshape(-1)
            one, other = flat.take(start + ends[0]), flat.take(start + ends[1])
            volts[places, :, points] = (one - other).T
            blur[places, :, points] = (np.abs(one) + np.abs(other)).T * ROUNDING
            blur[diagonal, diagonal] = 0.0
        volts[diagonal, diagonal] = 0.0
        return volts, blur

    def falls(self, table: FloatArray, changes: Changes) -> FloatArray:
        """Return the changed branches' rows of a table, weighted by extra amps.

        Parameters
        ----------
        table : FloatArray
            Shape (n_draws, n_branches, n_columns), such as `response`.

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
        n_branches = len(self.network.branches)
        return changes.draw[:, None] * n_branches + np.maximum(changes.branch, 0)

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
        return np.ascontiguousarray(by_node.transpose(2, 1, 0))

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
        rows, (first, second) = changes.draw[:, None], pair[0]
        into = self.response[rows, changes.branch, first]
        into = into - self.response[rows, changes.branch, second]
        across = self._reading[rows, changes.branch, first]
        across = across - self._reading[rows, changes.branch, second]
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
        branch, is_used = changes.branch, changes.branch >= 0
        base_siemens, _, _, ohms, gain = self._sides_of(changes.draw, branch)
        change = np.where(is_used, changes.siemens - base_siemens, 0.0)
        if branch.shape[1] == 1:
            kept = (1.0 + ohms * changes.siemens) / gain
            return np.asarray((change / kept)[:, :, None])
        others, _ = self._others(changes.draw, branch, gain)
        own = (1.0 + ohms * np.where(is_used, changes.siemens, 0.0)).T
        matrix = _reduced(others, change, own)
        unit = np.broadcast_to(np.eye(branch.shape[1])[..., None], matrix.shape)
        inverse, _ = solve_many(matrix, unit)
        return change[:, :, None] * inverse.transpose(2, 0, 1) * gain[:, None]


def _flat(table: FloatArray) -> FloatArray:
    return table.reshape(-1, table.shape[2])


def _reduced(
    others: FloatArray, siemens_change: FloatArray, own: FloatArray
) -> FloatArray:
    """Return the system of the changed branches' volts, (k, l, n_points)."""
    matrix = others * siemens_change.T
    diagonal = np.arange(len(matrix))
    matrix[diagonal, diagonal] = own
    return matrix
