"""What each branch of a solved network sees when it is taken out.

That is open-circuit volts behind a resistance (Thévenin's theorem), and how far other
branches move those volts. Leaves to `base_case` what follows for changed branches.

Decision: branches are looked at as taken out, not as they are in place. In place, a
wire that an open fault takes out leaves a difference that is all rounding, and every
pair of faults with such a wire would have to be solved from the start.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.runs import POINTS_AT_ONCE, Runs, in_rows
from diagnose.circuit.solver.factored import Factored
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# Least share of the current between its ends that flows beside a branch, for what it
# sees to be worked out from the network with it in place, no unit. Derived: one minus a
# share that leaves this little has lost 2 of 16 digits, and the volts of a pair of
# changes may lose 4 more.
LOOSE_SHARE = 1e-2

# Relative spacing of double-precision numbers, no unit. Derived: 52 bits of fraction,
# IEEE 754.
ROUNDING = 2.0**-52


@dataclass(frozen=True, slots=True)
class Ports:
    """Branches as the network sees them and as they see the network.

    Arrays are of shape (n_changes, n_runs, n_together).

    Parameters
    ----------
    siemens, amps : FloatArray
        The line of each in the base case. [S], [A]
    open_volts : FloatArray
        Control volts with the branch taken out. [V]
    open_ohms : FloatArray
        What those fall by per amp through the branch. [Ω]
    gain : FloatArray
        How much more they move, taken out, than in place; no unit.
    reading_rounding : FloatArray
        Share of its transfer resistances that rounding may have left uncertain, no
        unit.
    node_rounding : FloatArray
        Volts of any node that rounding leaves uncertain per amp through the branch.
        [Ω]
    most_reading_rounding : FloatArray
        At most so many control volts are uncertain per amp through any other branch.
        [Ω]
    """

    siemens: FloatArray
    amps: FloatArray
    open_volts: FloatArray
    open_ohms: FloatArray
    gain: FloatArray
    reading_rounding: FloatArray
    node_rounding: FloatArray
    most_reading_rounding: FloatArray


class TheveninEquivalents:
    """The Thévenin equivalent that each branch of a network sees, in every draw.

    Parameters
    ----------
    solver : OperatingPointSolver
        With the network solved as it is.
    factored : Factored
        That solution, to be asked more.
    response : FloatArray
        Volts of each node per amp into a branch's first output node and out of the
        second, shape (n_nodes, n_branches, n_draws). [Ω]
    self_ohms : FloatArray
        Resistance of each node to the reference, shape (n_draws, n_nodes). [Ω]
    block_length : int
        Draws in a block, see `runs`.
    """

    def __init__(
        self,
        solver: OperatingPointSolver,
        factored: Factored,
        response: FloatArray,
        self_ohms: FloatArray,
        block_length: int,
    ) -> None:
        self._solver, self._network, self._base = solver, solver.network, solver.base
        network, base = self._network, self._base
        reading = response
        if factored.has_controls:
            reading = factored.reading_volts(network.control)
        each, (first, second) = np.arange(len(network.branches)), network.control.T
        own_ohms = (response[first, each] - response[second, each]).T
        share = 1.0 - base.siemens * own_ohms
        is_loose = share < LOOSE_SHARE
        share[is_loose] = 1.0
        open_ohms = own_ohms / share
        falls = open_ohms * base.branch_amps(network)
        open_volts = base.control_volts(network) + falls
        open_reading = reading.transpose(1, 0, 2) / share.T[:, None]
        self._take_out(is_loose, open_volts, open_ohms, open_reading)
        most_reading = 2.0 * np.abs(open_reading).max(axis=1).T
        ports = Ports(
            siemens=base.siemens,
            amps=base.amps,
            open_volts=open_volts,
            open_ohms=open_ohms,
            gain=1.0 + open_ohms * base.siemens,
            reading_rounding=is_loose * ROUNDING,
            node_rounding=self._most_volts_per_amp(response, self_ohms) * ROUNDING,
            most_reading_rounding=is_loose * ROUNDING * most_reading,
        )
        columns = [getattr(ports, field.name) for field in fields(Ports)]
        self._n_columns = len(columns)
        table = np.stack(columns, axis=1).transpose(2, 1, 0)
        self._table = in_rows(table, block_length)
        self._reading = in_rows(open_reading, block_length)

    def _most_volts_per_amp(
        self, response: FloatArray, self_ohms: FloatArray
    ) -> FloatArray:
        """Return what rounding of responses goes by, (n_draws, n_branches). [Ω].

        The most volts of any node per amp; and what holds both ends together, for an
        amp goes in at one and out at the other, and cancels but for its last digit.
        """
        most = np.maximum(response.max(axis=0), -response.min(axis=0)).T
        ends = self_ohms[:, self._network.output]
        return np.asarray(np.maximum(most, ends.min(axis=2)))

    def _take_out(
        self,
        is_loose: BoolArray,
        open_volts: FloatArray,
        open_ohms: FloatArray,
        open_reading: FloatArray,
    ) -> None:
        """Write what some branches see, each taken out of the network for it.

        For branches that carry nearly all the current between their ends: once they
        open, little holds the far side, and a difference would be all rounding.
        """
        controlled, control = list(self._solver.plan.controlled), self._network.control
        into_base = self._source_amps()
        draws, branches = np.nonzero(is_loose)
        for start in range(0, len(draws), POINTS_AT_ONCE):
            draw = draws[start : start + POINTS_AT_ONCE]
            branch = branches[start : start + POINTS_AT_ONCE]
            each, (a, b) = np.arange(len(draw)), self._network.output[branch].T
            siemens, amps = self._base.siemens[draw].T, self._base.amps[draw].T
            removed_amps = np.where(
                np.isin(branch, controlled), 0.0, amps[branch, each]
            )
            siemens[branch, each] = amps[branch, each] = 0.0
            # two cases: the car's own sources, and one amp into the branch's ends
            into = np.zeros((len(into_base), 2, len(draw)))
            into[:, 0] = into_base[:, draw]
            for case, current in ((0, removed_amps), (1, 1.0)):
                into[a, case, each] += current
                into[b, case, each] -= current
            control_amps = np.zeros((len(controlled), 2, len(draw)))
            control_amps[:, 0] = amps[controlled]
            factored = self._solver.plan.factored(siemens)
            volts = factored.volts(into, range(len(into)), control_amps)
            first, second = control[branch].T
            across = volts[first, :, each] - volts[second, :, each]
            open_volts[draw, branch], open_ohms[draw, branch] = across.T
            reading = factored.own_reading_volts(control[branch])
            open_reading[branch, :, draw] = reading.T

    def _source_amps(self) -> FloatArray:
        """Return the fixed current into each node, (n_nodes, n_draws). [A].

        Without that of controlled branches, which `Factored.volts` is given apart.
        """
        output, amps = self._network.output, self._base.amps
        into = np.zeros((len(self._network.nodes), len(amps)))
        controlled = list(self._solver.plan.controlled)
        for branch in np.setdiff1d(np.arange(len(output)), controlled).tolist():
            a, b = output[branch]
            into[a] -= amps[:, branch]
            into[b] += amps[:, branch]
        return into

    def ports(self, runs: Runs, branch: IntArray) -> Ports:
        """Return what changed branches see.

        Parameters
        ----------
        runs : Runs
            The points.
        branch : IntArray
            The branches of each run, shape (n_changes, n_runs); -1 marks an unused
            place, for which there are some numbers that mean nothing.

        Returns
        -------
        Ports
            Arrays of shape (n_changes, n_runs, n_together).
        """
        first = runs.block * len(self._network.branches) + np.maximum(branch, 0)
        columns = np.arange(self._n_columns)[:, None, None]
        return Ports(*runs.look_up(self._table, first * self._n_columns + columns))

    def transfer_ohms(self, runs: Runs, branch: IntArray) -> FloatArray:
        """Return the transfer resistances from changed branches to each other.

        Parameters
        ----------
        runs : Runs
            The points.
        branch : IntArray
            The branches of each run, shape (n_changes, n_runs).

        Returns
        -------
        FloatArray
            Control volts of branch k, taken out, per amp through branch l, nothing for
            k = l; shape (n_changes k, n_changes l, n_runs, n_together). [Ω]
        """
        into_first, into_second = self._end_readings(runs, branch)
        into_first -= into_second
        diagonal = np.arange(len(branch))
        into_first[diagonal, diagonal] = 0.0
        return into_first

    def transfer_sizes(self, runs: Runs, branch: IntArray) -> FloatArray:
        """Return the sizes of the numbers whose difference `transfer_ohms` is.

        Parameters
        ----------
        runs : Runs
            The points.
        branch : IntArray
            The branches of each run, shape (n_changes, n_runs).

        Returns
        -------
        FloatArray
            The sum of both, shape as that of `transfer_ohms`. [Ω]
        """
        into_first, into_second = self._end_readings(runs, branch)
        size = np.abs(into_first) + np.abs(into_second)
        diagonal = np.arange(len(branch))
        size[diagonal, diagonal] = 0.0
        return size

    def _end_readings(
        self, runs: Runs, branch: IntArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return control volts of k per amp into the first node of l, and the second.

        Shape (k, l, n_runs, n_together) each. [Ω]
        """
        network, used = self._network, np.maximum(branch, 0)
        start = (runs.block * len(network.branches) + used) * len(network.nodes)
        one, other = network.output[used].transpose(2, 0, 1)
        return (
            runs.look_up(self._reading, start[:, None] + one),
            runs.look_up(self._reading, start[:, None] + other),
        )
