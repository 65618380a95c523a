"""Nodal analysis: branches as arrays, and the voltages of a linear network.

Knows arrays and indices; leaves the choice of segment and gate to `operating_point`.
Node 0 is the reference and has no equation. Batches run along the first axis.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.elements import Branch

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

NODE_LEAK_SIEMENS = 1e-10
# Derived: keeps a node that nothing else holds at reference potential (12 V would drive
# 1.2 nA through it) and so the matrix regular; a 10 Mohm meter loads it a thousandfold.


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
    breaks : FloatArray
        Shape (n_draws, n_branches, n_segments - 1), padded with inf. [V]
    siemens, amps : FloatArray
        Shape (n_draws, n_branches, n_segments). [S], [A]
    forced : FloatArray
        Shape (n_draws, n_branches); 1 on, -1 off, 0 by the gate.
    on_volts, off_volts, trip_amps : FloatArray
        Shape (n_draws, n_branches); trip_amps is inf where nothing opens. [V], [A]
    has_gate, is_inverted, is_self_holding : BoolArray
        Shape (n_branches,).
    """

    nodes: tuple[str, ...]
    branches: tuple[str, ...]
    parts: tuple[str, ...]
    output: IntArray
    control: IntArray
    watch: IntArray
    breaks: FloatArray
    siemens: FloatArray
    amps: FloatArray
    forced: FloatArray
    on_volts: FloatArray
    off_volts: FloatArray
    trip_amps: FloatArray
    has_gate: BoolArray
    is_inverted: BoolArray
    is_self_holding: BoolArray

    @property
    def n_draws(self) -> int:
        """Number of tolerance draws."""
        return self.siemens.shape[0]

    def branch_indices(self) -> Mapping[str, int]:
        """Return branch name to its index."""
        return {name: index for index, name in enumerate(self.branches)}

    def node_indices(self) -> Mapping[str, int]:
        """Return node name to its index."""
        return {name: index for index, name in enumerate(self.nodes)}


MAX_SEGMENTS = 4


def padded_curve(branch: Branch) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return breaks, siemens and amps of a branch with `MAX_SEGMENTS` segments.

    Raises
    ------
    ValueError
        If the branch has more segments than the arrays hold.
    """
    missing = MAX_SEGMENTS - branch.siemens.shape[1]
    if missing < 0:
        raise ValueError(f"{branch.name}: more than {MAX_SEGMENTS} segments")
    n_draws, used = branch.siemens.shape
    breaks = np.full((n_draws, MAX_SEGMENTS - 1), np.inf)
    siemens = np.empty((n_draws, MAX_SEGMENTS))
    amps = np.empty((n_draws, MAX_SEGMENTS))
    breaks[:, : used - 1] = branch.breaks
    for whole, given in ((siemens, branch.siemens), (amps, branch.amps)):
        whole[:, :used] = given
        whole[:, used:] = given[:, -1:]
    return breaks, siemens, amps


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
    curves = [padded_curve(branch) for branch in branches]
    n_draws = len(branches[0].forced)
    never = np.zeros(n_draws)
    gates = [branch.gate for branch in branches]

    def pairs(names: list[tuple[str, str]]) -> IntArray:
        return np.array([[index[a], index[b]] for a, b in names], dtype=np.int64)

    reference = (nodes[0], nodes[0])
    return Network(
        nodes=nodes,
        branches=tuple(branch.name for branch in branches),
        parts=tuple(branch.part for branch in branches),
        output=pairs([branch.output for branch in branches]),
        control=pairs([branch.control for branch in branches]),
        watch=pairs([gate.watch if gate else reference for gate in gates]),
        breaks=np.stack([curve[0] for curve in curves], axis=1),
        siemens=np.stack([curve[1] for curve in curves], axis=1),
        amps=np.stack([curve[2] for curve in curves], axis=1),
        forced=np.stack([branch.forced for branch in branches], axis=1),
        on_volts=np.stack([g.on_volts if g else never for g in gates], axis=1),
        off_volts=np.stack([g.off_volts if g else never for g in gates], axis=1),
        trip_amps=np.stack(
            [
                np.full(n_draws, np.inf) if b.trip_amps is None else b.trip_amps
                for b in branches
            ],
            axis=1,
        ),
        has_gate=np.array([gate is not None for gate in gates]),
        is_inverted=np.array([bool(gate and gate.is_inverted) for gate in gates]),
        is_self_holding=np.array(
            [bool(gate and gate.is_self_holding) for gate in gates]
        ),
    )


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
