"""What the branches of a network do in many points, some of them changed in each.

Curves are looked up in one table; a point adds rows for its changed branches only.
Leaves what follows from the curves to `point_solver`. Inside, arrays are
(branch, point).
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.circuit.solver.network import FORCED, SIEMENS, Network, Slots
from diagnose.circuit.solver.segments import Curves


class BranchTable:
    """Looks up the curves of active branches, and the slopes of fixed ones.

    Parameters
    ----------
    network : Network
        The branches as they are.

    Attributes
    ----------
    place : IntArray
        Place of each branch among the active ones, -1 for a fixed one and, at the end,
        for the unused slot -1; shape (n_branches + 1,).
    """

    def __init__(self, network: Network) -> None:
        active = np.flatnonzero(network.is_active)
        self._n_active, self._n_draws = len(active), network.n_draws
        self.place = np.full(len(network.branches) + 1, -1)
        self.place[active] = np.arange(len(active))
        # (place in the curve, active branch and draw)
        curves = network.curves[:, active].transpose(2, 1, 0)
        self._curves = curves.reshape(len(curves), -1).copy()
        self._fixed = fixed_siemens(network.curves).T.copy()
        self._fixed[active] = 0.0

    def active_curves(self, draw: IntArray, slots: Slots | None) -> Curves:
        """Return the curves of the active branches, changed or not.

        Parameters
        ----------
        draw : IntArray
            The tolerance draw of each point, shape (n_points,).
        slots : Slots or None
            Branches changed in each point.

        Returns
        -------
        Curves
            Shape (n_active, n_points).
        """
        row = np.arange(self._n_active)[:, None] * self._n_draws + draw
        curves = Curves(self._curves, row)
        if row.size < self._curves.shape[1]:
            # fewer than the table has: what is wanted of it is copied
            curves = Curves.of(self._curves.take(row, axis=1))
        if slots is None:
            return curves
        points, columns = np.nonzero(self.place[slots.branch] >= 0)
        places = self.place[slots.branch[points, columns]]
        n_rows = curves.table.shape[1]
        curves.row[places, points] = n_rows + np.arange(len(points))
        changed = slots.curves[points, columns].T
        return Curves(np.concatenate([curves.table, changed], axis=1), curves.row)

    def fixed_siemens(self, draw: IntArray, slots: Slots | None) -> FloatArray:
        """Return the slopes of the fixed branches, changed or not.

        Parameters
        ----------
        draw, slots
            As for `active_curves`.

        Returns
        -------
        FloatArray
            Shape (n_branches, n_points); 0 for active branches. [S]
        """
        siemens = self._fixed.take(draw, axis=1)
        if slots is not None:
            is_fixed = (self.place[slots.branch] < 0) & (slots.branch >= 0)
            points, columns = np.nonzero(is_fixed)
            curves = slots.curves[points, columns]
            siemens[slots.branch[points, columns], points] = fixed_siemens(curves)
        return siemens


def fixed_siemens(curves: FloatArray) -> FloatArray:
    """Return the slopes of branches that neither bend nor switch.

    Parameters
    ----------
    curves : FloatArray
        Shape (..., CURVE_LENGTH), places as in `network`.

    Returns
    -------
    FloatArray
        Shape (...,); 0 where a branch is off. [S]
    """
    return np.where(curves[..., FORCED] > 0.0, curves[..., SIEMENS.start], 0.0)
