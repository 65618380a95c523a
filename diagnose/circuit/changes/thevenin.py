"""What each branch of a solved network sees when it is taken out.

That is open-circuit volts behind a resistance (Thévenin's theorem), and how far other
branches move those volts. Leaves to `base_case` what follows for changed branches.

Decision: branches are looked at as taken out, not as they are in place. In place, a
wire that an open fault takes out leaves a difference that is all rounding, and every
pair of faults with such a wire would have to be solved from the start.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.changes.runs import POINTS_AT_ONCE, Runs, in_blocks
from diagnose.circuit.changes.tables.responses import Responses, kept_bytes
from diagnose.circuit.changes.tables.row_table import RowTable
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# Share of the current between its ends that flows beside a branch, below which the
# digits that are lost are counted, no unit. Derived: one minus a share that leaves this
# little has lost 2 of 16, and the volts of a pair of changes may lose 4 more.
THIN_SHARE = 1e-2

# How uncertain what a branch sees may be, for that to be worked out from the network
# with it in place, no unit. Derived: 12 V are then off by a tenth of a nanovolt.
MOST_UNCERTAIN = 1e-11

# Relative spacing of double-precision numbers, no unit. Derived: 52 bits of fraction,
# IEEE 754.
ROUNDING = 2.0**-52

# How much is kept of what was solved without a branch. [byte] Own choice: half of that
# of a car of seventy wires, whose rows are then not solved twice.
LOOSE_BYTES = 10_000_000

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


# Where among them `reading_rounding` is, which is that of one operation where a branch
# is loose, and where `most_reading_rounding` is. [1] Derived.
LOOSE_COLUMN, MOST_COLUMN = (
    [field.name for field in fields(Ports)].index(name)
    for name in ("reading_rounding", "most_reading_rounding")
)


class TheveninEquivalents:
    """The Thévenin equivalent that each branch of a network sees, in every draw.

    It is worked out when a branch is first asked for.

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
        self._self_ohms = self_ohms
        network, base = self._network, self._base
        self._control_volts = base.control_volts(network)
        self._branch_amps = base.branch_amps(network)
        self._into_base = self._source_amps()
        n_branches, n_blocks = len(network.branches), network.n_draws // block_length
        self._gain = np.ones((network.n_draws, n_branches))
        self._n_columns = len(fields(Ports))
        self._table = np.empty((n_blocks, n_branches, self._n_columns, block_length))
        self._is_known = np.zeros(n_branches, dtype=np.bool_)
        self._loose: dict[int, _Loose] = {}
        self._loose_bytes_left = LOOSE_BYTES
        controlled = list(solver.plan.controlled)
        self._has_controls = np.asarray(base.siemens[:, controlled].any(axis=1))
        self.open_readings = RowTable(
            n_branches,
            [(n_blocks, len(network.nodes), block_length)],
            most_bytes=kept_bytes(solver),
        )

    def prepare(self, most_bytes: int) -> None:
        """Work out what all branches see, and what they read where there is room.

        Parameters
        ----------
        most_bytes : int
            How much of the readings is kept from now on, if that is more than before.
        """
        for some in self.open_readings.widen(most_bytes):
            self.open_readings.fill(some, self._open_readings)
        self._know(np.arange(len(self._is_known)))

    def forget(self) -> None:
        """Give up what branches read, which is solved again when it is asked for."""
        self.open_readings.forget()
        self._loose.clear()
        self._loose_bytes_left = LOOSE_BYTES

    def _know(self, branches: IntArray) -> None:
        """Work out what branches see that were not asked for before."""
        if self._is_known[branches].all():
            return
        asked = np.unique(branches)
        for some in self.open_readings.batches(asked[~self._is_known[asked]]):
            self.open_readings.fill(some, self._open_readings)

    def _open_readings(self, branches: IntArray) -> Sequence[FloatArray]:
        """Return what some branches read, each taken out of the network.

        Those that carry nearly all the current between their ends are solved without
        it: once they open, little holds the far side, and a difference would be all
        rounding. What a branch sees is entered with its first readings.
        """
        every = np.arange(self._network.n_draws)
        response = self._responses.volts(branches[:, None], every)
        is_new = ~self._is_known[branches]
        solved: Mapping[int, _Loose] = {}
        if is_new.any():
            solved = self._work_out(branches[is_new], response[is_new])
        # most of this is right by far, and what is not is written over
        readings = self._responses.readings(branches[:, None], every, response)
        shape = (len(branches), -1, self._block_length)
        by_block = readings.reshape(*shape, readings.shape[2]).transpose(0, 1, 3, 2)
        gain = self._gain[:, branches].T.reshape(shape)[:, :, None]
        rows = np.multiply(by_block, gain, out=np.empty(by_block.shape))
        # the others that are thin are off by a hundred times as much and more
        is_loose = self._table[:, branches, LOOSE_COLUMN] == ROUNDING
        for place in np.flatnonzero(is_loose.any(axis=(0, 2))).tolist():
            branch = int(branches[place])
            found = solved.get(branch) or self._loose.get(branch)
            if found is None:
                draw = np.flatnonzero(is_loose[:, place])
                (found,) = self._without(draw, np.full(len(draw), branch)).values()
            found.write(rows[place], self._block_length)
        if is_new.any():
            seen = rows if is_new.all() else rows[is_new]
            most = 2.0 * np.maximum(seen.max(axis=2), -seen.min(axis=2))
            self._table[:, branches[is_new], MOST_COLUMN] *= most.transpose(1, 0, 2)
        self._is_known[branches] = True
        return (rows,)

    def _work_out(
        self, branches: IntArray, response: FloatArray
    ) -> Mapping[int, _Loose]:
        """Enter what some branches see into the table, and return the loose ones.

        All but how large their readings are, which are not there yet.
        """
        base = self._base
        own_ohms, most_volts = self._own(branches, response)
        siemens, amps = base.siemens[:, branches], self._branch_amps[:, branches]
        share = 1.0 - siemens * own_ohms
        is_thin = share < THIN_SHARE
        # a share of nought or less is all rounding
        share = np.maximum(share, ROUNDING)
        rounding = ROUNDING * (1.0 + siemens * most_volts) / share
        is_loose = is_thin & (rounding > MOST_UNCERTAIN)
        rounding[is_loose] = ROUNDING
        rounding[~is_thin] = 0.0
        share[is_loose] = 1.0
        open_ohms = own_ohms / share
        open_volts = self._control_volts[:, branches] + open_ohms * amps
        place, draw = np.nonzero(is_loose.T)
        loose = self._without(draw, branches[place])
        for each in np.unique(place).tolist():
            found = loose[int(branches[each])]
            open_volts[found.draw, each], open_ohms[found.draw, each] = found.across
        self._gain[:, branches] = 1.0 + open_ohms * siemens
        ports = Ports(
            siemens=siemens,
            amps=base.amps[:, branches],
            open_volts=open_volts,
            open_ohms=open_ohms,
            gain=self._gain[:, branches],
            reading_rounding=rounding,
            node_rounding=most_volts * ROUNDING,
            most_reading_rounding=rounding,
        )
        columns = [getattr(ports, field.name) for field in fields(Ports)]
        table = np.stack(columns, axis=1).transpose(2, 1, 0)
        self._table[:, branches] = in_blocks(table, self._block_length)
        for branch, found in loose.items():
            if found.readings.nbytes <= self._loose_bytes_left:
                self._loose[branch] = found
                self._loose_bytes_left -= found.readings.nbytes
        return loose

    def _own(
        self, branches: IntArray, response: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return how branches act on themselves, and what rounding goes by.

        The latter is the most volts of any node per amp; and what holds both ends
        together, for an amp goes in at one and out at the other, and cancels but for
        its last digit. Shape (n_draws, n_some) each. [Ω]
        """
        first, second = self._network.control[branches].T
        each = np.arange(len(branches))
        own = (response[each, :, first] - response[each, :, second]).T
        most = np.maximum(response.max(axis=2), -response.min(axis=2)).T
        ends = self._self_ohms[:, self._network.output[branches]]
        return own, np.asarray(np.maximum(most, ends.min(axis=2)))

    def _without(self, draw: IntArray, branch: IntArray) -> Mapping[int, _Loose]:
        """Return what branches see and read in some draws, each solved without it.

        Those of one branch follow each other.
        """
        across = np.empty((2, len(draw)))
        readings = np.empty((len(self._into_base), len(draw)))
        at_once = max(1, min(POINTS_AT_ONCE, SOLVED_VALUES // len(readings)))
        has_controls = self._has_controls[draw]
        for group in (np.flatnonzero(~has_controls), np.flatnonzero(has_controls)):
            for start in range(0, len(group), at_once):
                some = group[start : start + at_once]
                across[:, some], readings[:, some] = self._without_some(
                    draw[some], branch[some]
                )
        first = np.flatnonzero(np.diff(branch, prepend=-1))
        return {
            int(branch[start]): _Loose(
                draw=draw[start:stop],
                across=across[:, start:stop],
                readings=readings[:, start:stop].copy(),
            )
            for start, stop in pairwise((*first.tolist(), len(branch)))
        }

    def _without_some(
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
        used = np.maximum(branch, 0)
        self._know(used)
        first = runs.block * len(self._network.branches) + used
        columns = np.arange(self._n_columns)[:, None, None]
        table = self._table.reshape(-1, self._block_length)
        return Ports(*runs.look_up(table, first * self._n_columns + columns))

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
        with self.open_readings.held(used, self._open_readings) as (slot, (table,)):
            start = (slot * table.shape[1] + runs.block) * table.shape[2]
            rows = table.reshape(-1, table.shape[3])
            return (
                runs.look_up(rows, start[:, None] + one),
                runs.look_up(rows, start[:, None] + other),
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Loose:
    """A branch in the draws in which it was solved without it.

    `across` is the volts and the ohms it sees, shape (2, n_some); `readings` its
    control volts per amp into each node, shape (n_nodes, n_some). [V], [Ω]
    """

    draw: IntArray
    across: FloatArray
    readings: FloatArray

    def write(self, rows: FloatArray, block_length: int) -> None:
        """Write the readings into rows, shape (n_blocks, n_nodes, block_length)."""
        block, within = np.divmod(self.draw, block_length)
        rows[block, :, within] = self.readings.T
