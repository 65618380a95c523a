"""What an amp through a branch of a solved network does to its nodes.

The network is asked for a branch when that is first wanted, see `row_table`. Leaves to
`thevenin` what a branch sees that is taken out, and to `base_case` what follows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.changes.runs import Runs, in_blocks
from diagnose.circuit.changes.tables.row_table import RowTable
from diagnose.circuit.solver.factored import Factored
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# How much is kept of what branches do, for each draw, at most. [byte] Own choice: of a
# car of two hundred wires in all its states some 300 MB.
MOST_KEPT_BYTES = 500_000

# Branches beside half of the active ones that are kept. [1] Measured: faults of one
# neighbourhood are solved together, and of the active branches half move with them.
# With a fifth fewer a sedan's rows are solved half as often again.
KEPT_BESIDE = 30

# How much more of what branches do is kept than of what they read taken out. [1]
# Derived: a row of the former is half as long again, and so there are as many.
OWN_SHARE = 1.5


def kept_bytes(solver: OperatingPointSolver) -> int:
    """Return how much of a table of branches, draws and nodes is kept.

    Parameters
    ----------
    solver : OperatingPointSolver
        Of the network.

    Returns
    -------
    int
        [byte]
    """
    network = solver.network
    each = 8 * len(network.nodes) * (len(solver.plan.active) // 2 + KEPT_BESIDE)
    return network.n_draws * min(each, MOST_KEPT_BYTES)


class Responses:
    """What an amp through each branch does, and what each branch reads of an amp.

    Parameters
    ----------
    solver : OperatingPointSolver
        With the network solved as it is.
    factored : Factored
        That solution, to be asked more.
    monitored : IntArray
        Pairs of nodes that are asked for by themselves, shape (n_monitored, 2).
    block_length : int
        Draws in a block, see `runs`.
    """

    def __init__(
        self,
        solver: OperatingPointSolver,
        factored: Factored,
        monitored: IntArray,
        *,
        block_length: int,
    ) -> None:
        network = solver.network
        self._network, self._factored = network, factored
        self._monitored, self._block_length = monitored, block_length
        controlled = solver.base.siemens[:, list(solver.plan.controlled)]
        # the draws in which a branch reads otherwise than it acts, and those alone
        self._controlled = np.flatnonzero(controlled.any(axis=1))
        self._reads = solver.plan.factored(solver.base.siemens[self._controlled].T)
        self._place = np.full(network.n_draws, -1)
        self._place[self._controlled] = np.arange(len(self._controlled))
        n_nodes, n_blocks = len(network.nodes), network.n_draws // block_length
        self.table = RowTable(
            len(network.branches),
            [
                (network.n_draws, n_nodes),
                (n_blocks, len(monitored), block_length),
                (len(self._controlled), n_nodes),
            ],
            most_bytes=int(OWN_SHARE * kept_bytes(solver)),
        )

    def prepare(self, most_bytes: int) -> None:
        """Solve all branches where there is room for them.

        Parameters
        ----------
        most_bytes : int
            How much is kept from now on, if that is more than before.
        """
        for some in self.table.widen(most_bytes):
            self.table.fill(some, self._solved)

    def _solved(self, branches: IntArray) -> Sequence[FloatArray]:
        """Return the rows of some branches."""
        by_node = self._factored.response_volts(self._network.output[branches])
        first, second = self._monitored.T
        across = in_blocks(by_node[first] - by_node[second], self._block_length)
        reading = np.empty((len(branches), 0, len(by_node)))
        if len(self._controlled):
            read = self._reads.reading_volts(self._network.control[branches])
            reading = read.transpose(1, 2, 0)
        return (
            by_node.transpose(1, 2, 0),
            across.transpose(2, 0, 1, 3),
            reading,
        )

    def volts(self, branch: IntArray, draw: IntArray) -> FloatArray:
        """Return the volts of all nodes per amp through a branch, from node to node.

        Parameters
        ----------
        branch, draw : IntArray
            Of each case; of shapes that make one together.

        Returns
        -------
        FloatArray
            That shape, and (n_nodes,) behind it. [Ω]
        """
        with self.table.held(branch, self._solved) as (slot, (response, *_)):
            rows = slot * self._network.n_draws + draw
            return response.reshape(-1, response.shape[2]).take(rows, axis=0)

    def readings(
        self, branch: IntArray, draw: IntArray, response: FloatArray
    ) -> FloatArray:
        """Return the control volts of a branch per amp into each node.

        The same as `volts` (reciprocity) unless a branch is controlled.

        Parameters
        ----------
        branch, draw : IntArray
            Of each case; of shapes that make one together.
        response : FloatArray
            What `volts` says of them. [Ω]

        Returns
        -------
        FloatArray
            Shaped as `response`. [Ω]
        """
        branch, draw = np.broadcast_arrays(branch, draw)
        where = np.nonzero(self._place[draw] >= 0)
        if not len(where[0]):
            return response
        result = response.copy()
        with self.table.held(branch[where], self._solved) as (slot, (_, _, reading)):
            result[where] = reading[slot, self._place[draw[where]]]
        return result

    def monitored_volts(self, runs: Runs, branch: IntArray) -> FloatArray:
        """Return the volts between monitored nodes per amp through a branch.

        Parameters
        ----------
        runs : Runs
            The points.
        branch : IntArray
            The branch of each run, shape (n_runs,).

        Returns
        -------
        FloatArray
            Shape (n_runs, n_monitored, n_together). [Ω]
        """
        with self.table.held(branch, self._solved) as (slot, (_, across, _)):
            n_blocks = across.shape[1]
            groups = slot * n_blocks + runs.block
            return runs.look_up_groups(across.reshape(-1, *across.shape[2:]), groups)
