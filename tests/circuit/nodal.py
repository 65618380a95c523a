"""Nodal analysis by the full matrix, in double precision: slow, and plain to check.

Its digits do not suffice where a node floats on its insulation; `dense` is for those.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.solver.network import NODE_LEAK_SIEMENS, Network


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
