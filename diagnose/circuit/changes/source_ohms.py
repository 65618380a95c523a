"""What nodes show a meter: resistances of the base case, and under changes.

The resistance from a node to the reference, or between two nodes, is an entry of the
network's inverse Z, or a sum of such. Under changes that is, as a change of low rank
(Woodbury's formula, see `base_case`):

    Z - Z u D (I + T D)^-1 w Z,

with D the changes of slope, u and w the output and control nodes of the changed
branches, and T their control volts per amp through each other.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.circuit.changes.base_case import BaseCase, Changes
from diagnose.circuit.changes.runs import Runs
from diagnose.circuit.changes.small_systems import solve_many


def node_ohms(base_case: BaseCase, changes: Changes) -> FloatArray:
    """Return the resistance of each node to the reference, under changes.

    Parameters
    ----------
    base_case : BaseCase
    changes : Changes
        Of n_points points.

    Returns
    -------
    FloatArray
        Shape (n_points, n_nodes); rounding may leave it a little below zero. [Ω]
    """
    branch, draw = np.maximum(changes.branch, 0), changes.draw[:, None]
    response = base_case.responses.volts(branch, draw)
    reading = base_case.responses.readings(branch, draw, response)
    factors = _factors(base_case, changes)
    if branch.shape[1] == 1:
        # what a product of 1 x 1 matrices is, in a third of the time
        falls = factors[:, 0] * reading[:, 0]
        falls *= response[:, 0]
    else:
        falls = np.einsum("pkn,pkn->pn", response, factors @ reading)
    return np.asarray(base_case.self_ohms[changes.draw] - falls)


def between_ohms(base_case: BaseCase, first: int, second: int) -> FloatArray:
    """Return the resistance between two nodes in the base case.

    Parameters
    ----------
    base_case : BaseCase
    first, second : int
        The nodes.

    Returns
    -------
    FloatArray
        Shape (n_draws,). [Ω]
    """
    volts = base_case.factored.response_volts(np.array([[first, second]]))
    return np.asarray(volts[first, 0] - volts[second, 0])


def between_ohms_after(
    base_case: BaseCase, changes: Changes, first: int, second: int
) -> FloatArray:
    """Return the resistance between two nodes, under changes.

    Parameters
    ----------
    base_case : BaseCase
    changes : Changes
        Of n_points points.
    first, second : int
        The nodes.

    Returns
    -------
    FloatArray
        Shape (n_points,); rounding may leave it a little below zero. [Ω]
    """
    branch, draw = np.maximum(changes.branch, 0), changes.draw[:, None]
    response = base_case.responses.volts(branch, draw)
    reading = base_case.responses.readings(branch, draw, response)
    into = response[..., first] - response[..., second]
    across = reading[..., first] - reading[..., second]
    factors = _factors(base_case, changes)
    falls = np.einsum("pk,pkl,pl->p", into, factors, across)
    return np.asarray(between_ohms(base_case, first, second)[changes.draw] - falls)


def _factors(base_case: BaseCase, changes: Changes) -> FloatArray:
    """Return D (I + T D)^-1, shape (n_points, n_changes, n_changes). [S]."""
    branch = changes.branch.T
    runs = Runs.of_points(changes.draw, base_case.block_length, 1)
    ports = base_case.thevenin.ports(runs, branch)
    is_used = (branch >= 0)[..., None]
    siemens = np.where(is_used, changes.siemens.T[..., None], 0.0)
    change = np.where(is_used, siemens - ports.siemens, 0.0)
    own = 1.0 + ports.open_ohms * siemens
    if len(branch) == 1:
        return np.asarray((change * ports.gain / own).transpose(1, 0, 2))
    matrix = base_case.thevenin.transfer_ohms(runs, branch)
    diagonal = np.arange(len(branch))
    matrix *= change
    matrix[diagonal, diagonal] = own
    unit = np.zeros_like(matrix)
    unit[diagonal, diagonal] = 1.0
    inverse, _ = solve_many(matrix[..., 0], unit[..., 0])
    factors = change.transpose(0, 2, 1) * inverse * ports.gain.transpose(2, 0, 1)
    return np.asarray(factors.transpose(2, 0, 1))
