"""The plainest solution of a linear network: Gaussian elimination of the full matrix.

In extended precision and corrected by what is left over at each node. A node that
floats on its insulation beside a battery cable leaves no digits once conductances are
added up, but the currents of its branches keep theirs.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from diagnose.arrays import FloatArray
from diagnose.circuit.solver.network import NODE_LEAK_SIEMENS, Network

Extended = npt.NDArray[np.longdouble]
N_CORRECTIONS = 2


def dense_volts(network: Network, siemens: FloatArray, amps: FloatArray) -> FloatArray:
    """Return the node voltages, shape (n_points, n_nodes). [V].

    Parameters
    ----------
    siemens, amps : FloatArray
        The line of each branch, shape (n_points, n_branches). [S], [A]
    """
    n_points, n_nodes = len(siemens), len(network.nodes)
    slopes = siemens.astype(np.longdouble)
    matrix = np.zeros((n_points, n_nodes, n_nodes), dtype=np.longdouble)
    matrix[:, range(n_nodes), range(n_nodes)] = NODE_LEAK_SIEMENS
    ends = zip(network.output.tolist(), network.control.tolist(), strict=True)
    for k, ((a, b), (c, d)) in enumerate(ends):
        for row, sign in ((a, 1), (b, -1)):
            matrix[:, row, c] += sign * slopes[:, k]
            matrix[:, row, d] -= sign * slopes[:, k]
    inverse = _inverse(matrix[:, 1:, 1:])
    volts = np.zeros((n_points, n_nodes), dtype=np.longdouble)
    for _ in range(1 + N_CORRECTIONS):
        left_over = left_over_amps(network, volts, slopes, amps)
        volts[:, 1:] += (inverse * left_over[:, None, 1:]).sum(axis=2)
    return volts.astype(np.float64)


def left_over_amps(
    network: Network, volts: Extended, siemens: Extended, amps: FloatArray
) -> Extended:
    """Return the current that flows into each node and not out of it again. [A]."""
    control = volts[:, network.control[:, 0]] - volts[:, network.control[:, 1]]
    current = siemens * control + amps
    into = -NODE_LEAK_SIEMENS * volts
    for k, (a, b) in enumerate(network.output.tolist()):
        into[:, a] -= current[:, k]
        into[:, b] += current[:, k]
    return into


def _inverse(matrix: Extended) -> Extended:
    """Return the inverses, by Gauss and Jordan with row exchanges."""
    each, size = np.arange(len(matrix)), matrix.shape[1]
    unit = np.broadcast_to(np.eye(size, dtype=np.longdouble), matrix.shape)
    both = np.concatenate([matrix, unit], axis=2)
    for k in range(size):
        pivot = k + np.abs(both[:, k:, k]).argmax(axis=1)
        both[each, pivot], both[:, k] = both[:, k].copy(), both[each, pivot]
        both[:, k] /= both[:, k, k, None].copy()
        factor = both[:, :, k].copy()
        factor[:, k] = 0.0
        both[:, :, k:] -= factor[:, :, None] * both[:, k, None, k:]
    return both[:, :, size:]
