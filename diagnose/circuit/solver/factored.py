"""Linear networks solved together: eliminated once, asked many things.

Puts the branches of `network` and the arithmetic of `star_mesh` together. A branch
controlled by the volts of other nodes (an alternator with a sense wire) is no resistor:
each is put in by a change of rank one. Leaves which line each branch is on to
`point_solver` and `changes`. Arrays are (node or branch, ..., point).

References
----------
J. Sherman, W. J. Morrison, "Adjustment of an inverse matrix corresponding to a change
in one element of a given matrix", Annals of Mathematical Statistics 21, 1950 (from
memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.solver.elimination_order import Elimination, Stars
from diagnose.circuit.solver.network import (
    NODE_LEAK_SIEMENS,
    Network,
)
from diagnose.circuit.solver.star_mesh import (
    amps_to_volts,
    eliminate,
    self_ohms,
    spread_amps,
)


class NodalPlan:
    """How the networks of one car are solved: the order, and where each branch goes.

    Parameters
    ----------
    network : Network
        Only which nodes its branches join counts, and which branches are active.

    Attributes
    ----------
    output, control : IntArray
        As in `Network`.
    elimination : Elimination
        The order, the nodes of active branches last.
    active : IntArray
        Branches whose line may change from point to point, see `Network.is_active`;
        their nodes, and those their gates watch, are eliminated last.
    controlled : tuple[int, ...]
        Branches whose control nodes are not their output nodes.
    rows : IntArray
        Row of each branch's conductance in the elimination, -1 where it has none;
        shape (n_branches,).
    """

    def __init__(self, network: Network) -> None:
        self.output, self.control = network.output, network.control
        is_controlled = (network.output != network.control).any(axis=1)
        is_link = ~is_controlled & (network.output[:, 0] != network.output[:, 1])
        self.active = np.flatnonzero(network.is_active)
        self.controlled = tuple(np.flatnonzero(is_controlled).tolist())
        ends = (network.output, network.control, network.watch)
        kept = np.concatenate([pairs[self.active].ravel() for pairs in ends])
        links = [(a, b) for a, b in network.output[is_link].tolist()]
        self.elimination = Elimination(
            len(network.nodes), links, kept=frozenset(kept.tolist()) - {0}
        )
        self.rows = np.full(len(network.output), -1)
        self.rows[is_link] = [self.elimination.row(a, b) for a, b in links]
        self._ground_rows = [star.first for star in self.elimination.stars.order]

    def conductances(self, siemens: FloatArray) -> FloatArray:
        """Return the conductance of every link.

        Parameters
        ----------
        siemens : FloatArray
            Slope of each branch, shape (n_branches, n_points). [S]

        Returns
        -------
        FloatArray
            Shape (n_rows, n_points). [S]
        """
        rows = np.zeros((self.elimination.n_rows, siemens.shape[1]))
        rows[self._ground_rows] = NODE_LEAK_SIEMENS
        self.add(rows, range(len(self.rows)), siemens)
        return rows

    def add(
        self, rows: FloatArray, branches: Sequence[int] | IntArray, siemens: FloatArray
    ) -> None:
        """Add the conductance of some branches to the links, in place.

        Parameters
        ----------
        rows : FloatArray
            Conductance of every link, shape (n_rows, n_points). [S]
        branches : Sequence[int] or IntArray
            Which branches; those that have no link are left out.
        siemens : FloatArray
            Slope of each, shape (n_some, n_points). [S]
        """
        for row, slope in zip(self.rows[branches].tolist(), siemens, strict=True):
            if row >= 0:
                rows[row] += slope

    def factored(self, siemens: FloatArray) -> Factored:
        """Return networks ready to be solved.

        Parameters
        ----------
        siemens : FloatArray
            Slope of each branch, shape (n_branches, n_points), none negative. [S]

        Returns
        -------
        Factored
            All nodes eliminated.
        """
        rows = self.conductances(siemens)
        totals = np.zeros((self.elimination.n_nodes, siemens.shape[1]))
        stars = self.elimination.stars
        eliminate(stars, rows, totals)
        return Factored(self, stars, rows, totals, siemens[list(self.controlled)])


@dataclass(frozen=True, slots=True)
class _Control:
    """One controlled branch put in: Z becomes Z - response siemens kept reading.

    `pair` are its control nodes, `output` those its current flows between, `siemens`
    its slope. `response` is the volts of each node per ampere into its first output
    node and out of the second, `reading` its control volts per ampere into each node,
    and `kept` the share of its control volts that is left when it is put in.
    """

    pair: tuple[int, int]
    output: tuple[int, int]
    siemens: FloatArray
    kept: FloatArray
    response: FloatArray


class Factored:
    """Networks with their nodes eliminated, ready to be asked.

    Parameters
    ----------
    plan : NodalPlan
        How they were eliminated.
    stars : Stars
        The nodes that are solved for: all, or the inner ones.
    shares, totals : FloatArray
        As `star_mesh.eliminate` leaves them. [1], [S]
    control_siemens : FloatArray
        Slope of each of `plan.controlled`, shape (n_controlled, n_points). [S]
    """

    def __init__(
        self,
        plan: NodalPlan,
        stars: Stars,
        shares: FloatArray,
        totals: FloatArray,
        control_siemens: FloatArray,
    ) -> None:
        self._stars, self._shares, self._totals = stars, shares, totals
        branches = np.array(plan.controlled, dtype=np.int64)
        self._outputs, self._pairs = plan.output[branches], plan.control[branches]
        self._siemens = control_siemens
        self._has_controls = bool(control_siemens.any())
        self._controls: list[_Control] = []

    @property
    def has_controls(self) -> bool:
        """Whether any controlled branch is on a slope."""
        return self._has_controls

    def volts(
        self,
        amps: FloatArray,
        sources: Iterable[int],
        control_amps: FloatArray | None = None,
    ) -> FloatArray:
        """Return the node voltages.

        Parameters
        ----------
        amps : FloatArray
            Current into each node, shape (n_nodes, n_cases, n_points); written over.
            [A]
        sources : Iterable[int]
            The nodes that have any.
        control_amps : FloatArray or None
            The fixed part of the current of each controlled branch, shape
            (n_controlled, n_cases, n_points); none when not given. Apart, because on a
            steep slope it is hundreds of times what flows. [A]

        Returns
        -------
        FloatArray
            Shaped as `amps`. [V]
        """
        has_amps = control_amps is not None and bool(control_amps.any())
        if not has_amps and not self._has_controls:
            return self._plain_volts(amps, sources)
        volts = self._with_controls(amps, sources)
        for place, put_in in enumerate(self._controls):
            first, second = put_in.pair
            current = put_in.siemens * (volts[first] - volts[second])
            if control_amps is not None:
                current += control_amps[place]
            volts -= put_in.response[:, None] * (current * put_in.kept)
        return volts

    def _with_controls(self, amps: FloatArray, sources: Iterable[int]) -> FloatArray:
        """Return volts without controlled branches, and find out how those respond.

        The latter at the first time only.
        """
        if self._controls:
            return self._plain_volts(amps, sources)
        n_cases = amps.shape[1]
        both = np.concatenate([amps, self._pair_amps(self._outputs)], axis=1)
        self._plain_volts(both, {*sources, *self._outputs.ravel().tolist()})
        responses = both[:, n_cases:]
        for place, slope in enumerate(self._siemens):
            output, pair = self._outputs[place].tolist(), self._pairs[place].tolist()
            response, later = responses[:, place].copy(), responses[:, place + 1 :]
            kept = 1.0 / (1.0 + slope * (response[pair[0]] - response[pair[1]]))
            current = slope * kept * (later[pair[0]] - later[pair[1]])
            later -= response[:, None] * current[None]
            self._controls.append(
                _Control(tuple(pair), tuple(output), slope, kept, response)
            )
        return both[:, :n_cases]

    def _plain_volts(self, amps: FloatArray, sources: Iterable[int]) -> FloatArray:
        """Return the node voltages without controlled branches, over the currents."""
        amps[0] = 0.0
        spread_amps(self._stars, self._shares, amps, sources)
        amps_to_volts(self._stars, self._shares, self._totals, amps)
        return amps

    def _pair_amps(self, pairs: IntArray) -> FloatArray:
        """Return an ampere into one node and out of another, (n_nodes, n_pairs, n)."""
        amps = np.zeros((len(self._totals), len(pairs), self._totals.shape[1]))
        each = np.arange(len(pairs))
        amps[pairs[:, 0], each] += 1.0
        amps[pairs[:, 1], each] -= 1.0
        return amps

    def response_volts(self, pairs: IntArray) -> FloatArray:
        """Return the node voltages per amp into one node and out of another.

        Parameters
        ----------
        pairs : IntArray
            The nodes, shape (n_pairs, 2).

        Returns
        -------
        FloatArray
            Shape (n_nodes, n_pairs, n_points). [Ω]
        """
        return self.volts(self._pair_amps(pairs), pairs.ravel().tolist())

    def reading_volts(self, pairs: IntArray) -> FloatArray:
        """Return the volts between two nodes per amp into each node.

        The same as `response_volts` (reciprocity) unless a branch is controlled.

        Parameters
        ----------
        pairs : IntArray
            The nodes, shape (n_pairs, 2).

        Returns
        -------
        FloatArray
            Shape (n_nodes, n_pairs, n_points). [Ω]
        """
        return self._readings(pairs)[:, len(self._pairs) :]

    def own_reading_volts(self, pairs: IntArray) -> FloatArray:
        """Return the volts between two nodes per amp into each node, a pair per point.

        Parameters
        ----------
        pairs : IntArray
            The nodes, shape (n_points, 2).

        Returns
        -------
        FloatArray
            Shape (n_nodes, n_points). [Ω]
        """
        each = np.arange(len(pairs))
        amps = np.zeros((len(self._totals), 1, len(pairs)))
        amps[pairs[:, 0], 0, each] += 1.0
        amps[pairs[:, 1], 0, each] -= 1.0
        rows = self._plain_volts(amps, np.unique(pairs).tolist())[:, 0]
        if self._has_controls:
            readings = self._readings(np.empty((0, 2), dtype=np.int64))
            for place, put_in in enumerate(self._controls):
                first, second = put_in.output
                current = put_in.siemens * put_in.kept * (rows[first] - rows[second])
                rows -= readings[:, place] * current
        return rows

    def _find_controls(self) -> None:
        """Find out how the controlled branches respond, if that is not known yet."""
        if not self._controls:
            self.response_volts(self._outputs)

    def _readings(self, pairs: IntArray) -> FloatArray:
        """Return the readings of the controlled branches as put in, then of pairs."""
        self._find_controls()
        ends = np.concatenate([self._pairs, pairs])
        rows = self._plain_volts(self._pair_amps(ends), ends.ravel().tolist())
        for place, put_in in enumerate(self._controls):
            (first, second), later = put_in.output, rows[:, place + 1 :]
            current = put_in.siemens * put_in.kept * (later[first] - later[second])
            later -= rows[:, place, None] * current[None]
        return rows

    def self_ohms(self) -> FloatArray:
        """Return the resistance of each node to the reference.

        Returns
        -------
        FloatArray
            Shape (n_nodes, n_points). [Ω]
        """
        ohms = self_ohms(self._stars, self._shares, self._totals)
        if self._has_controls:
            readings = self._readings(np.empty((0, 2), dtype=np.int64))
            for place, put_in in enumerate(self._controls):
                factor = put_in.siemens * put_in.kept
                ohms -= put_in.response * factor * readings[:, place]
        return ohms
