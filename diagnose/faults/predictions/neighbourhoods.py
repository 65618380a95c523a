"""Neighbourhoods: which parts of a car lie side by side, seen from where many meet.

Without the nodes where many branches meet a car falls into its circuits: a fused feed
with its loads and grounds, a relay with its coil. Faults of one are solved one after
the other, for they ask the same few branches how they act on the car: their own, those
of the fuse before them, and of what the relay switches. Leaves solving to `predictor`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import IntArray
from diagnose.circuit.car import Part
from diagnose.faults.causes import Cause
from diagnose.faults.predictions.predictor import Predictor

# Branches of a node from which on it is in no neighbourhood. [1] Measured: with one
# more a sedan hangs together, and half as many rows again are solved of what branches
# do. Posts, studs and panels have as many, what belongs to one circuit has fewer.
MANY_BRANCHES = 5


def in_neighbourhoods(predictor: Predictor, causes: Sequence[Cause]) -> IntArray:
    """Return an order of causes in which those of a neighbourhood follow each other.

    Parameters
    ----------
    predictor : Predictor
        Of the car.
    causes : Sequence[Cause]
        Of the car; those of one part follow each other.

    Returns
    -------
    IntArray
        Their places, shape (n_causes,); within a neighbourhood as they were.
    """
    number = neighbourhoods(predictor.networks[0].output, len(predictor.nodes))
    parts = {part.name: part for part in predictor.model.car.parts}

    def of_part(part: Part) -> int:
        ends = [predictor.node_index[node] for node in part.terminals.values()]
        inner = [of_part(parts[name]) for name in part.members]
        return max((*(int(number[end]) for end in ends), *inner), default=-1)

    found = np.array([of_part(cause.part) for cause in causes], dtype=np.int64)
    return np.argsort(found, kind="stable")


def neighbourhoods(output: IntArray, n_nodes: int) -> IntArray:
    """Return the number of each node's neighbourhood, -1 where many branches meet.

    Parameters
    ----------
    output : IntArray
        The nodes of each branch, shape (n_branches, 2); node 0 is the reference.
    n_nodes : int
        Number of nodes. [1]

    Returns
    -------
    IntArray
        Shape (n_nodes,): the least number among the nodes of a neighbourhood.

    Examples
    --------
    Two circuits side by side, of which one has a fuse and a lamp, at one post:

    >>> post = [[0, 1]] * 3
    >>> lamp = [[1, 2], [2, 3], [3, 0]]
    >>> horn = [[1, 4], [4, 0]]
    >>> neighbourhoods(np.array(post + lamp + horn), 5).tolist()
    [-1, -1, 2, 2, 4]
    """
    is_hub = np.bincount(output.ravel(), minlength=n_nodes) >= MANY_BRANCHES
    is_hub[0] = True
    inner = output[~is_hub[output].any(axis=1)]
    number = np.where(is_hub, -1, np.arange(n_nodes))
    while True:
        # each node takes the least number beside it, until nothing changes
        least = number.copy()
        np.minimum.at(least, inner[:, 0], number[inner[:, 1]])
        np.minimum.at(least, inner[:, 1], number[inner[:, 0]])
        if (least == number).all():
            return number
        number = least
