"""The base case, and how it answers when some of its branches are on other lines.

A branch sees the rest of the car as open-circuit volts behind a resistance
(`thevenin`), so one changed branch is settled by hand; k changed branches are a k x k
system. Each carries a compensating current that has the same effect as the change:

    delta = (g' - g) x + (j' - j),
    x_k (1 + R_k g'_k) = V_k - R_k j'_k - sum over the others of T_kl delta_l,

with g, j the line of branch k in the base case and g', j' its new one, x_k its control
volts, V_k and R_k what it sees when it is taken out, and T_kl its control volts then
per amp through branch l (Woodbury's formula, with the network's inverse never formed).
Leaves to `nearby_points` which segments and gates the lines come from, and to
`source_ohms` what nodes show to a meter.

Decision: tolerance draws are shared by all faults. Differences between causes are then
physics and not chance, and one elimination for each draw serves every fault.

References
----------
M. A. Woodbury, "Inverting Modified Matrices", Memorandum Report 42, Statistical
Research Group, Princeton University, 1950 (from memory).

O. Alsac, B. Stott, W. F. Tinney, "Sparsity-Oriented Compensation Methods for Modified
Network Solutions", IEEE Transactions on Power Apparatus and Systems PAS-102, 1983
(from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.runs import Runs, in_blocks
from diagnose.circuit.changes.small_systems import solve_many
from diagnose.circuit.changes.tables.responses import Responses
from diagnose.circuit.changes.thevenin import Ports, TheveninEquivalents
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# How much of how branches act on nodes is kept while facts are told. [byte] Own choice:
# all of a car of seventy wires, which then waits for none of it.
PREPARED_BYTES = 200_000_000

# What rounding may do to the volts of a changed branch. [V] Own choice: a hundredth of
# a microvolt, a thousandth of what kept volts may be off.
MOST_ERROR_VOLTS = 1e-8

# What rounding may do to the volts of any node, by large compensating currents that
# cancel. [V] Own choice: as much.
MOST_CANCELLED_VOLTS = 1e-8


@dataclass(frozen=True, slots=True)
class Changes:
    """Points with some of their branches on other lines, solved.

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
    control_volts : FloatArray
        Of the changed branches, shape (n_points, n_changes). [V]
    compensating_amps : FloatArray
        What each carries more than its line of the base case would at these volts,
        shape (n_points, n_changes). [A]
    is_sound : BoolArray
        False where the digits do not suffice, shape (n_points,).
    """

    draw: IntArray
    branch: IntArray
    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray
    control_volts: FloatArray
    compensating_amps: FloatArray
    is_sound: BoolArray

    def take(self, points: IntArray) -> Changes:
        """Return some of the points.

        Parameters
        ----------
        points : IntArray
            Which, shape (n_chosen,).

        Returns
        -------
        Changes
            Of n_chosen points.
        """
        return Changes(*(getattr(self, field.name)[points] for field in fields(self)))

    def with_a_place(self) -> Changes:
        """Return the same with a place for a change, unused, where there is none.

        Points of which no branch is on another line than the base case's have none.

        Returns
        -------
        Changes
            Of the same points.
        """
        n_points, n_changes = self.branch.shape
        if n_changes:
            return self
        return replace(
            self,
            branch=np.full((n_points, 1), -1),
            siemens=np.zeros((n_points, 1)),
            amps=np.zeros((n_points, 1)),
            is_conducting=np.zeros((n_points, 1), dtype=np.bool_),
            control_volts=np.zeros((n_points, 1)),
            compensating_amps=np.zeros((n_points, 1)),
        )

    @staticmethod
    def joined(parts: Sequence[Changes]) -> Changes:
        """Return the points of all parts in turn.

        Parameters
        ----------
        parts : Sequence[Changes]
            With the same number of changes for each point.

        Returns
        -------
        Changes
            Of all their points.
        """
        return Changes(
            *(
                np.concatenate([getattr(part, field.name) for part in parts])
                for field in fields(Changes)
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Compensation:
    """What makes up for changed lines in runs of points.

    Parameters
    ----------
    control_volts, compensating_amps : FloatArray
        Of the changed branches, shape (n_changes, n_runs, n_together). [V], [A]
    is_sound : BoolArray
        False where the digits do not suffice; what is said there means nothing. Shape
        (n_runs, n_together).
    """

    control_volts: FloatArray
    compensating_amps: FloatArray
    is_sound: BoolArray


class BaseCase:
    """A network at the operating point of each draw, as the base of changes.

    Parameters
    ----------
    solver : OperatingPointSolver
        Its `base` is the base case.
    block_length : int
        Draws in a block, see `runs`.

    Attributes
    ----------
    solver : OperatingPointSolver
    network : Network
    base : OperatingPoint
        The solution, one point per draw.
    block_length : int
    factored : Factored
        The network on its lines of the base case.
    responses : Responses
        What an amp through each branch does.
    monitored : IntArray
        Pairs of nodes whose volts decide on segments and gates: those that control the
        active branches, then those that gates watch; shape (n_monitored, 2).
    monitored_volts : FloatArray
        What is between them, shape (n_blocks, n_monitored, block_length). [V]
    self_ohms : FloatArray
        Resistance of each node to the reference, shape (n_draws, n_nodes). [Ω]
    thevenin : TheveninEquivalents
        What each branch sees.
    """

    def __init__(self, solver: OperatingPointSolver, block_length: int = 1) -> None:
        self.solver, self.network, self.base = solver, solver.network, solver.base
        self.block_length = block_length
        network, base, active = self.network, self.base, solver.plan.active
        gated = active[network.has_gate[active]]
        self.monitored = np.concatenate([network.control[active], network.watch[gated]])
        self.factored = solver.plan.factored(base.siemens.T)
        self.responses = Responses(
            solver, self.factored, self.monitored, block_length=block_length
        )
        first, second = self.monitored.T
        volts = (base.volts[:, first] - base.volts[:, second]).T
        self.monitored_volts = in_blocks(volts, block_length)
        self.self_ohms = np.ascontiguousarray(self.factored.self_ohms().T)
        self.thevenin = TheveninEquivalents(
            solver, self.responses, self.self_ohms, block_length
        )

    def prepare(self) -> None:
        """Work out how branches act on nodes, where there is room for all of it."""
        self.responses.prepare(PREPARED_BYTES)
        self.thevenin.prepare(PREPARED_BYTES)

    def forget(self) -> None:
        """Give up how branches act on nodes until that is asked for again."""
        self.responses.table.forget()
        self.thevenin.forget()

    def compensation(
        self, runs: Runs, branch: IntArray, *, siemens: FloatArray, amps: FloatArray
    ) -> Compensation:
        """Return what makes up for branches on other lines.

        Parameters
        ----------
        runs : Runs
            The points.
        branch : IntArray
            The branches of each run, shape (n_changes, n_runs); -1 marks an unused
            place: it is put on the line of the base case, so that it changes nothing.
        siemens, amps : FloatArray
            Their lines, shape (n_changes, n_runs, n_together). [S], [A]

        Returns
        -------
        Compensation
            Arrays of shape (n_changes, n_runs, n_together).
        """
        ports = self.thevenin.ports(runs, branch)
        siemens_change, amps_change = siemens - ports.siemens, amps - ports.amps
        if branch.min(initial=0) < 0:
            is_used = (branch >= 0)[..., None]
            siemens = np.where(is_used, siemens, 0.0)
            siemens_change *= is_used
            amps_change *= is_used
        own = 1.0 + ports.open_ohms * siemens
        x = ports.open_volts - ports.open_ohms * amps
        if len(branch) < 2:
            x /= own
            currents, loss = _currents(siemens_change * x, amps_change, ports)
        else:
            transfer = self.thevenin.transfer_ohms(runs, branch)
            if amps_change.any():
                x -= np.einsum("klrp,lrp->krp", transfer, amps_change)
            transfer *= siemens_change
            loss = _solve(transfer, own, x)
            x[:, ~(loss < 1.0)] = 0.0
            currents, cancelled = _currents(siemens_change * x, amps_change, ports)
            np.maximum(loss, cancelled, out=loss)
            if ports.most_reading_rounding.any():
                error_volts = self._error_volts(runs, branch, ports, own, currents)
                np.maximum(loss, error_volts / MOST_ERROR_VOLTS, out=loss)
        return Compensation(
            control_volts=x, compensating_amps=currents, is_sound=loss < 1.0
        )

    def _error_volts(
        self,
        runs: Runs,
        branch: IntArray,
        ports: Ports,
        own: FloatArray,
        currents: FloatArray,
    ) -> FloatArray:
        """Return how far wrong rounding may make control volts, (n_runs, ...). [V].

        A bound where that will do. `own` is the diagonal of the system solved,
        `currents` are those that compensate.
        """
        is_used = (branch >= 0)[..., None]
        amps = np.abs(currents)
        amps_of_others = amps.sum(axis=0) - amps
        most = ports.most_reading_rounding * is_used
        error_volts = np.asarray((most * amps_of_others / own).max(axis=0))
        some = np.flatnonzero((error_volts >= MOST_ERROR_VOLTS).any(axis=1))
        if len(some):
            used = np.maximum(branch[:, some], 0)
            sizes = self.thevenin.transfer_sizes(runs.take(some), used)
            share = ports.reading_rounding[:, some] * is_used[:, some] / own[:, some]
            volts = share * np.einsum("klrp,lrp->krp", sizes, amps[:, some])
            error_volts[some] = volts.max(axis=0)
        return error_volts

    def changes(
        self,
        draw: IntArray,
        branch: IntArray,
        *,
        siemens: FloatArray,
        amps: FloatArray,
        is_conducting: BoolArray,
    ) -> Changes:
        """Return the solution of single points.

        Parameters
        ----------
        draw : IntArray
            Shape (n_points,).
        branch : IntArray
            The changed branches, shape (n_points, n_changes); -1 marks an unused place.
        siemens, amps : FloatArray
            Their lines, shape (n_points, n_changes). [S], [A]
        is_conducting : BoolArray
            Noted beside them, shape (n_points, n_changes).

        Returns
        -------
        Changes
            Of n_points points.
        """
        found = self.compensation(
            Runs.of_points(draw, self.block_length, 1),
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
            found.control_volts[..., 0].T,
            found.compensating_amps[..., 0].T,
            found.is_sound[:, 0],
        )

    def monitored_volts_after(
        self, runs: Runs, branch: IntArray, compensating_amps: FloatArray
    ) -> FloatArray:
        """Return the volts between monitored nodes under changes.

        Parameters
        ----------
        runs : Runs
            The points.
        branch : IntArray
            The branches of each run, shape (n_changes, n_runs); -1 for an unused place.
        compensating_amps : FloatArray
            Shape (n_changes, n_runs, n_together). [A]

        Returns
        -------
        FloatArray
            Shape (n_runs, n_monitored, n_together). [V]
        """
        volts = runs.look_up_groups(self.monitored_volts, runs.block)
        for used, amps in zip(branch, compensating_amps, strict=True):
            falls = self.responses.monitored_volts(runs, np.maximum(used, 0))
            falls *= amps[:, None]
            volts -= falls
        return volts

    def node_volts(self, changes: Changes) -> FloatArray:
        """Return the volts of all nodes under changes.

        Parameters
        ----------
        changes : Changes
            Of n_points points; a point may come to rest without any.

        Returns
        -------
        FloatArray
            Shape (n_points, n_nodes). [V]
        """
        used, draw = np.maximum(changes.branch, 0), changes.draw
        if not used.shape[1]:
            return np.asarray(self.base.volts[draw])
        falls = self.responses.volts(used[:, 0], draw)
        falls *= changes.compensating_amps[:, :1]
        for k in range(1, used.shape[1]):
            fall = self.responses.volts(used[:, k], draw)
            fall *= changes.compensating_amps[:, k, None]
            falls += fall
        return np.asarray(self.base.volts[draw] - falls)


def _currents(
    by_slope: FloatArray, fixed: FloatArray, ports: Ports
) -> tuple[FloatArray, FloatArray]:
    """Return compensating currents, and how far large ones may have lost their digits.

    A battery whose terminals hang on its insulation is taken out by amps that cancel.
    """
    most_volts = (np.abs(by_slope) + np.abs(fixed)) * ports.node_rounding
    by_slope += fixed
    loss = most_volts.max(axis=0, initial=0.0) / MOST_CANCELLED_VOLTS
    return by_slope, np.asarray(loss)


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
