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

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.changes.runs import POINTS_AT_ONCE, Runs, in_rows
from diagnose.circuit.changes.tables.responses import Responses, kept_bytes
from diagnose.circuit.changes.tables.row_table import RowTable
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# Least share of the current between its ends that flows beside a branch, for what it
# sees to be worked out from the network with it in place, no unit. Derived: one minus a
# share that leaves this little has lost 2 of 16 digits, and the volts of a pair of
# changes may lose 4 more.
LOOSE_SHARE = 1e-2

# Relative spacing of double-precision numbers, no unit. Derived: 52 bits of fraction,
# IEEE 754.
ROUNDING = 2.0**-52

# Volts of nodes that are solved at once for branches taken out. [1] Own choice: some
# 30 MB.
SOLVED_VALUES = 1_000_000


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
    responses : Responses
        What an amp through each branch does.
    self_ohms : FloatArray
        Resistance of each node to the reference, shape (n_draws, n_nodes). [Ω]
    block_length : int
        Draws in a block, see `runs`.

    Attributes
    ----------
    open_readings : RowTable
        Control volts of each branch, taken out, per amp into each node, shape
        (n_blocks, n_nodes, block_length) for each. [Ω]
    """

    def __init__(
        self,
        solver: OperatingPointSolver,
        responses: Responses,
        self_ohms: FloatArray,
        block_length: int,
    ) -> None:
        self._solver, self._network, self._base = solver, solver.network, solver.base
        self._responses, self._block_length = responses, block_length
        network, base = self._network, self._base
        shape = (network.n_draws, len(network.branches))
        self._is_loose = np.zeros(shape, dtype=np.bool_)
        self._gain, self._into_base = np.ones(shape), self._source_amps()
        n_blocks = network.n_draws // block_length
        self.open_readings = RowTable(
            shape[1],
            [(n_blocks, len(network.nodes), block_length)],
            most_bytes=kept_bytes(solver),
            fill=lambda branches: (self._taken_out(branches).readings,),
        )
        open_volts, open_ohms = np.empty(shape), np.empty(shape)
        most_reading, most_volts = np.empty(shape), np.empty(shape)
        control_volts, amps = base.control_volts(network), base.branch_amps(network)
        for some in responses.table.batches(np.arange(shape[1])):
            own_ohms, most_volts[:, some] = self._own(some, self_ohms)
            share = 1.0 - base.siemens[:, some] * own_ohms
            is_loose = share < LOOSE_SHARE
            share[is_loose] = 1.0
            self._is_loose[:, some] = is_loose
            open_ohms[:, some] = own_ohms / share
            falls = open_ohms[:, some] * amps[:, some]
            open_volts[:, some] = control_volts[:, some] + falls
            self._gain[:, some] = 1.0 / share
            found = self._taken_out(some)
            open_volts[found.draw, some[found.place]] = found.open_volts
            open_ohms[found.draw, some[found.place]] = found.open_ohms
            most = np.abs(found.readings).max(axis=2)
            most_reading[:, some] = 2.0 * most.reshape(len(some), -1).T
            if self.open_readings.is_roomy:
                self.open_readings.put(some, (found.readings,))
        self._gain = 1.0 + open_ohms * base.siemens
        is_loose = self._is_loose
        ports = Ports(
            siemens=base.siemens,
            amps=base.amps,
            open_volts=open_volts,
            open_ohms=open_ohms,
            gain=self._gain,
            reading_rounding=np.where(is_loose, ROUNDING, 0.0),
            node_rounding=most_volts * ROUNDING,
            most_reading_rounding=np.where(is_loose, ROUNDING * most_reading, 0.0),
        )
        columns = [getattr(ports, field.name) for field in fields(Ports)]
        self._n_columns = len(columns)
        table = np.stack(columns, axis=1).transpose(2, 1, 0)
        self._table = in_rows(table, block_length)

    def _own(
        self, branches: IntArray, self_ohms: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return how branches act on themselves, and what rounding goes by.

        The latter is the most volts of any node per amp; and what holds both ends
        together, for an amp goes in at one and out at the other, and cancels but for
        its last digit. Shape (n_draws, n_some) each. [Ω]
        """
        every = np.arange(self._network.n_draws)
        response = self._responses.volts(branches[:, None], every)
        first, second = self._network.control[branches].T
        each = np.arange(len(branches))
        own = (response[each, :, first] - response[each, :, second]).T
        most = np.maximum(response.max(axis=2), -response.min(axis=2)).T
        ends = self_ohms[:, self._network.output[branches]]
        return own, np.asarray(np.maximum(most, ends.min(axis=2)))

    def _taken_out(self, branches: IntArray) -> _TakenOut:
        """Return what some branches read, each taken out of the network.

        Those that carry nearly all the current between their ends are solved without
        it: once they open, little holds the far side, and a difference would be all
        rounding.
        """
        n_draws, every = self._network.n_draws, np.arange(self._network.n_draws)
        response = self._responses.volts(branches[:, None], every)
        readings = self._responses.readings(branches[:, None], every, response)
        readings = readings * self._gain[:, branches].T[..., None]
        n_blocks = n_draws // self._block_length
        by_block = readings.reshape(len(branches), n_blocks, -1, readings.shape[2])
        rows = np.ascontiguousarray(by_block.transpose(0, 1, 3, 2))
        draw, place = np.nonzero(self._is_loose[:, branches])
        across = np.empty((2, len(draw)))
        at_once = max(1, min(POINTS_AT_ONCE, SOLVED_VALUES // readings.shape[2]))
        for start in range(0, len(draw), at_once):
            some = slice(start, start + at_once)
            own, read = self._without(draw[some], branches[place[some]])
            across[:, some] = own
            block, within = np.divmod(draw[some], self._block_length)
            rows[place[some], block, :, within] = read.T
        return _TakenOut(
            readings=rows,
            draw=draw,
            place=place,
            open_volts=across[0],
            open_ohms=across[1],
        )

    def _without(
        self, draw: IntArray, branch: IntArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return what a branch sees in a draw, solved without it.

        That is the volts and the ohms between its control nodes, shape (2, n_points);
        and its control volts per amp into each node, shape (n_nodes, n_points).
        """
        network, into_base = self._network, self._into_base
        controlled = list(self._solver.plan.controlled)
        each, (a, b) = np.arange(len(draw)), network.output[branch].T
        siemens, amps = self._base.siemens[draw].T, self._base.amps[draw].T
        removed_amps = np.where(np.isin(branch, controlled), 0.0, amps[branch, each])
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
        first, second = network.control[branch].T
        across = (volts[first, :, each] - volts[second, :, each]).T
        # with nothing controlled, what a branch does is what it reads (reciprocity)
        is_alike = not factored.has_controls
        reading = (
            volts[:, 1]
            if is_alike
            else factored.own_reading_volts(network.control[branch])
        )
        return across, reading

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
        one, other = network.output[used].transpose(2, 0, 1)
        with self.open_readings.holding(used) as (slot, (table,)):
            start = (slot * table.shape[1] + runs.block) * table.shape[2]
            rows = table.reshape(-1, table.shape[3])
            return (
                runs.look_up(rows, start[:, None] + one),
                runs.look_up(rows, start[:, None] + other),
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class _TakenOut:
    """Branches taken out: `readings` is what they read, (n_some, n_blocks, ...).

    `draw` and `place` say which were solved without the branch, and `open_volts` and
    `open_ohms` what it sees there.
    """

    readings: FloatArray
    draw: IntArray
    place: IntArray
    open_volts: FloatArray
    open_ohms: FloatArray
