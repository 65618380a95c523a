"""Points solved the slow way: states in order, gates as the state before left them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import BoolArray, IntArray
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.solver.network import FORCED, Slots
from diagnose.circuit.solver.operating_point import OperatingPoint
from diagnose.circuit.solver.point_solver import OperatingPointSolver


def solved_in_order(
    solver: CompensationSolver, came: Sequence[int], draw: IntArray, slots: Slots
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
                is_free = free_gates(solver, *points(before))
                is_on = found[before].is_on[:, gates.branches]
                begins = gates.carried_over(is_on, is_free)
                start = gates.start(solver.base, here[0], begins)
            found[state] = plain.solve(*here, start=start)
    return [found[state] for state in range(len(came))]


def free_gates(solver: CompensationSolver, draw: IntArray, slots: Slots) -> BoolArray:
    """Return which gates of points switch their branch, (n_points, n_gates)."""
    forced = solver.network.forced[draw]
    points, columns = np.nonzero(slots.branch >= 0)
    changed = slots.curves[points, columns, FORCED]
    forced[points, slots.branch[points, columns]] = changed
    return np.asarray(forced[:, solver.gates.branches] == 0.0)
