"""Nodal analysis: branches as arrays, and the voltages of a linear network.

Knows arrays and indices; leaves the choice of segment and gate to `operating_point`.
Node 0 is the reference and has no equation. Batches run along the first axis.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.elements import Branch

NODE_LEAK_SIEMENS = 1e-12
# Derived: keeps a node that nothing else holds at reference potential (12 V would drive
# 12 pA through it) and so the matrix regular; a 10 Mohm meter loads it a hundred
# thousand times more.

MAX_SEGMENTS = 4
EDGES = slice(0, MAX_SEGMENTS + 1)
SIEMENS = slice(EDGES.stop, EDGES.stop + MAX_SEGMENTS)
AMPS = slice(SIEMENS.stop, SIEMENS.stop + MAX_SEGMENTS)
FORCED, ON_VOLTS, OFF_VOLTS, INVERTED = range(AMPS.stop, AMPS.stop + 4)
TRIP_AMPS, TRIP_A2S, RESETS_ITSELF = range(INVERTED + 1, INVERTED + 4)
CURVE_LENGTH = RESETS_ITSELF + 1
"""Places along the last axis of a curve: all that one branch does, in one row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """One car in one operating state as arrays.

    Parameters
    ----------
    nodes : tuple[str, ...]
        The reference first.
    branches : tuple[str, ...]
        Branch names; axis "branch" below.
    parts : tuple[str, ...]
        The part of each branch.
    output, control, watch : IntArray
        Node indices, shape (n_branches, 2); `watch` is (0, 0) without a gate.
    curves : FloatArray
        Shape (n_draws, n_branches, CURVE_LENGTH): the edges of the segments (-inf, the
        breaks, inf and more of it), siemens, amps, forced (1 on, -1 off, 0 by the
        gate), pull-in and release volts of the gate, 1 where the branch conducts while
        its gate is off, and its protection: the current that opens it (inf: none), how
        fast that goes, 1 where it closes again. [V], [S], [A], [A² s]
    has_gate, is_self_holding : BoolArray
        Shape (n_branches,).
    """

    nodes: tuple[str, ...]
    branches: tuple[str, ...]
    parts: tuple[str, ...]
    output: IntArray
    control: IntArray
    watch: IntArray
    curves: FloatArray
    has_gate: BoolArray
    is_self_holding: BoolArray

    @property
    def n_draws(self) -> int:
        """Number of tolerance draws."""
        return len(self.curves)

    @property
    def breaks(self) -> FloatArray:
        """Shape (n_draws, n_branches, n_segments - 1). [V]."""
        return self.curves[..., EDGES.start + 1 : EDGES.stop - 1]

    @property
    def siemens(self) -> FloatArray:
        """Shape (n_draws, n_branches, n_segments). [S]."""
        return self.curves[..., SIEMENS]

    @property
    def amps(self) -> FloatArray:
        """Shape (n_draws, n_branches, n_segments). [A]."""
        return self.curves[..., AMPS]

    @property
    def forced(self) -> FloatArray:
        """Shape (n_draws, n_branches); 1 on, -1 off, 0 by the gate."""
        return self.curves[..., FORCED]

    @property
    def trip_amps(self) -> FloatArray:
        """Shape (n_draws, n_branches), inf where nothing opens. [A]."""
        return self.curves[..., TRIP_AMPS]

    @property
    def is_active(self) -> BoolArray:
        """Branches whose line may change: bent or gated, shape (n_branches,)."""
        is_bent = np.isfinite(self.breaks).any(axis=(0, 2))
        has_source = (self.amps != 0.0).any(axis=(0, 2))
        is_controlled = (self.output != self.control).any(axis=1)
        return np.asarray(is_bent | self.has_gate | has_source | is_controlled)

    def branch_indices(self) -> Mapping[str, int]:
        """Return branch name to its index."""
        return {name: index for index, name in enumerate(self.branches)}

    def node_indices(self) -> Mapping[str, int]:
        """Return node name to its index."""
        return {name: index for index, name in enumerate(self.nodes)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Slots:
    """Changed branches of many points, side by side.

    Parameters
    ----------
    branch : IntArray
        Shape (n_points, n_slots); -1 marks an unused slot, and those come last.
    curves : FloatArray
        Shape (n_points, n_slots, CURVE_LENGTH), as in `Network`.
    """

    branch: IntArray
    curves: FloatArray

    def take(self, points: IntArray) -> Slots:
        """Return the slots of some of the points, without those that none uses."""
        branch = self.branch[points]
        width = int((branch >= 0).sum(axis=1).max(initial=0))
        return Slots(branch=branch[:, :width], curves=self.curves[points, :width])

    def beside(self, other: Slots) -> Slots:
        """Return these slots and other slots of the same points."""
        branch = np.concatenate([self.branch, other.branch], axis=1)
        curves = np.concatenate([self.curves, other.curves], axis=1)
        order = np.argsort(branch < 0, axis=1, kind="stable")
        points = np.arange(len(branch))[:, None]
        return Slots(branch=branch[points, order], curves=curves[points, order])


def curve(branch: Branch) -> FloatArray:
    """Return all that a branch does in one row per draw.

    Returns
    -------
    FloatArray
        Shape (n_draws, CURVE_LENGTH), as in `Network`.

    Raises
    ------
    ValueError
        If the branch has more segments than a row holds.
    """
    n_draws, used = branch.siemens.shape
    if used > MAX_SEGMENTS:
        raise ValueError(f"{branch.name}: more than {MAX_SEGMENTS} segments")
    row = np.zeros((n_draws, CURVE_LENGTH))
    row[:, EDGES] = np.inf
    row[:, EDGES.start] = -np.inf
    row[:, EDGES.start + 1 : EDGES.start + used] = branch.breaks
    for place, given in ((SIEMENS, branch.siemens), (AMPS, branch.amps)):
        row[:, place] = given[:, -1:]
        row[:, place.start : place.start + used] = given
    row[:, FORCED] = branch.forced
    if branch.gate is not None:
        row[:, ON_VOLTS] = branch.gate.on_volts
        row[:, OFF_VOLTS] = branch.gate.off_volts
        row[:, INVERTED] = branch.gate.is_inverted
    row[:, TRIP_AMPS] = np.inf
    if branch.protection is not None:
        row[:, TRIP_AMPS] = branch.protection.trip_amps
        row[:, TRIP_A2S] = branch.protection.a2s
        row[:, RESETS_ITSELF] = branch.protection.resets_itself
    return row


def build_network(branches: Sequence[Branch], *, nodes: tuple[str, ...]) -> Network:
    """Return the arrays of a list of branches.

    Parameters
    ----------
    branches : Sequence[Branch]
        With the same number of draws each.
    nodes : tuple[str, ...]
        The reference first.
    """
    index = {name: position for position, name in enumerate(nodes)}
    gates = [branch.gate for branch in branches]
    reference = (nodes[0], nodes[0])

    def pairs(names: list[tuple[str, str]]) -> IntArray:
        return np.array([[index[a], index[b]] for a, b in names], dtype=np.int64)

    return Network(
        nodes=nodes,
        branches=tuple(branch.name for branch in branches),
        parts=tuple(branch.part for branch in branches),
        output=pairs([branch.output for branch in branches]),
        control=pairs([branch.control for branch in branches]),
        watch=pairs([gate.watch if gate else reference for gate in gates]),
        curves=np.stack([curve(branch) for branch in branches], axis=1),
        has_gate=np.array([gate is not None for gate in gates]),
        is_self_holding=np.array(
            [bool(gate and gate.is_self_holding) for gate in gates]
        ),
    )


def stacked(networks: Sequence[Network]) -> Network:
    """Return networks of the same branches as one, the draws of the first come first.

    Raises
    ------
    ValueError
        If the networks do not have the same branches and nodes.
    """
    first = networks[0]
    for other in networks[1:]:
        if (other.nodes, other.branches) != (first.nodes, first.branches):
            raise ValueError("networks with different branches can't be stacked")
    curves = np.concatenate([network.curves for network in networks])
    return replace(first, curves=curves)


def conductance_matrix(network: Network, siemens: FloatArray) -> FloatArray:
    """Return the nodal matrix without the reference.

    Parameters
    ----------
    siemens : FloatArray
        Slope of each branch, shape (n_points, n_branches). [S]

    Returns
    -------
    FloatArray
        Shape (n_points, n_nodes - 1, n_nodes - 1). [S]
    """
    n_nodes = len(network.nodes)
    matrix = np.zeros((len(siemens), n_nodes, n_nodes))
    for k, ((a, b), (c, d)) in enumerate(
        zip(network.output.tolist(), network.control.tolist(), strict=True)
    ):
        slope = siemens[:, k]
        matrix[:, a, c] += slope
        matrix[:, a, d] -= slope
        matrix[:, b, c] -= slope
        matrix[:, b, d] += slope
    inner = matrix[:, 1:, 1:]
    diagonal = np.arange(n_nodes - 1)
    inner[:, diagonal, diagonal] += NODE_LEAK_SIEMENS
    return inner


def injected_amps(network: Network, amps: FloatArray) -> FloatArray:
    """Return the current into each node from the fixed part of the branch currents.

    Parameters
    ----------
    amps : FloatArray
        Shape (n_points, n_branches). [A]

    Returns
    -------
    FloatArray
        Shape (n_points, n_nodes - 1). [A]
    """
    into = np.zeros((len(amps), len(network.nodes)))
    for k, (a, b) in enumerate(network.output.tolist()):
        into[:, a] -= amps[:, k]
        into[:, b] += amps[:, k]
    return into[:, 1:]


def node_volts(network: Network, siemens: FloatArray, amps: FloatArray) -> FloatArray:
    """Return the node voltages of a linear network.

    Parameters
    ----------
    siemens, amps : FloatArray
        Shape (n_points, n_branches). [S], [A]

    Returns
    -------
    FloatArray
        Shape (n_points, n_nodes), the reference first with 0. [V]
    """
    matrix = conductance_matrix(network, siemens)
    inner = np.linalg.solve(matrix, injected_amps(network, amps)[..., None])[..., 0]
    return np.concatenate([np.zeros((len(inner), 1)), inner], axis=1)


def transfer_ohms(network: Network, siemens: FloatArray) -> FloatArray:
    """Return the voltage of each node per amp into each node.

    Parameters
    ----------
    siemens : FloatArray
        Shape (n_points, n_branches). [S]

    Returns
    -------
    FloatArray
        Shape (n_points, n_nodes, n_nodes); row and column 0 are zero. [Ω]
    """
    n_nodes = len(network.nodes)
    full = np.zeros((len(siemens), n_nodes, n_nodes))
    full[:, 1:, 1:] = np.linalg.inv(conductance_matrix(network, siemens))
    return full
