"""Points solved the slow way: states in order, gates as the state before left them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import IntArray
from diagnose.circuit.changes.compensation import Compensated
from diagnose.circuit.solver.network import (
    Slots,
)
from diagnose.circuit.solver.operating_point import OperatingPoint, Start
from diagnose.circuit.solver.point_solver import OperatingPointSolver


def solved_in_order(
    solver: Compensated, came: Sequence[int], draw: IntArray, slots: Slots
) -> list[OperatingPoint]:
    """Return points by state, as many in each.

    Parameters
    ----------
    came : Sequence[int]
        The state that each state comes after, -1 for rest.
    draw : IntArray
        Of each point, all points of a state in turn, shape (n_points,).
    slots : Slots
        Their changed branches.
    """
    plain, gates = OperatingPointSolver(solver.network), solver.gates
    size = len(draw) // len(came)
    found: dict[int, OperatingPoint] = {}

    def points(state: int) -> tuple[IntArray, Slots]:
        rows = np.arange(state * size, (state + 1) * size)
        return draw[rows], slots.take(rows)

    while len(found) < len(came):
        for state, before in enumerate(came):
            if state in found or (before >= 0 and before not in found):
                continue
            here, start = points(state), None
            if before >= 0:
                is_free, _ = gates.free(*points(before))
                is_on = found[before].is_on[:, gates.branches]
                left = gates.whole(gates.left(is_on, is_free))
                start = Start(solver.base.segment[here[0]], left)
            found[state] = plain.solve(*here, start=start)
    return [found[state] for state in range(len(came))]
