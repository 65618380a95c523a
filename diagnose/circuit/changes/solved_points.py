"""Solved points: what nodes and branches show in them.

Points come in three kinds: the base case itself, small changes of a base case, and
points solved from the start. Each answer is put together from what these say. Leaves
solving to `compensation`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.base_case import BaseCase, Changes
from diagnose.circuit.changes.source_ohms import (
    between_ohms,
    between_ohms_after,
    node_ohms,
)
from diagnose.circuit.changes.states.state_order import Afresh
from diagnose.circuit.solver.operating_point import OperatingPoint

# Volts of nodes that are worked on at once, of each changed branch by itself. [1] Own
# choice: some 2 MB, for of some points a dozen branches are changed.
VALUES_AT_ONCE = 250_000


@dataclass(frozen=True, slots=True)
class ChangedPoints:
    """Points that are small changes of a base case.

    Parameters
    ----------
    points : IntArray
        Which they are, shape (n_changed,).
    changes : Changes
        Of these; its draws are those of `base_case`.
    base_case : BaseCase
        The car as it is, or with gates held off.
    """

    points: IntArray
    changes: Changes
    base_case: BaseCase


@dataclass(frozen=True, slots=True, kw_only=True)
class SolvedPoints:
    """Operating points.

    Parameters
    ----------
    base_case : BaseCase
        The car as it is.
    draw : IntArray
        Shape (n_points,).
    volts : FloatArray
        Shape (n_points, n_nodes). [V]
    is_settled : BoolArray
        False where a gate chatters, shape (n_points,).
    is_base : BoolArray
        Points in which nothing is changed, shape (n_points,).
    changed : tuple[ChangedPoints, ...]
        Groups of points that are small changes of a base case.
    afresh : Afresh
        The points that were solved from the start; that counts where a point is in a
        group as well.
    """

    base_case: BaseCase
    draw: IntArray
    volts: FloatArray
    is_settled: BoolArray
    is_base: BoolArray
    changed: tuple[ChangedPoints, ...]
    afresh: Afresh

    def source_ohms(self) -> Iterator[tuple[IntArray, FloatArray]]:
        """Yield the resistance that each node shows to the reference.

        Yields
        ------
        points : IntArray
            Some of the points; what comes last of a point counts.
        ohms : FloatArray
            Of these, shape (n_some, n_nodes). [Ω]
        """
        # piece by piece: of all points together it is as much as all their volts
        own = self.base_case.self_ohms
        for rows in pieces(np.flatnonzero(self.is_base), own.shape[1]):
            yield rows, own[self.draw[rows]]
        for group in self.changed:
            n_each = group.changes.branch.shape[1] * own.shape[1]
            for some in pieces(np.arange(len(group.points)), n_each):
                ohms = node_ohms(group.base_case, group.changes.take(some))
                yield group.points[some], np.maximum(ohms, 0.0, out=ohms)
        siemens = self.afresh.solution.siemens
        for some in pieces(np.arange(len(self.afresh.points)), own.shape[1]):
            factored = self.base_case.solver.plan.factored(siemens[some].T)
            ohms = factored.self_ohms().T
            yield self.afresh.points[some], np.maximum(ohms, 0.0, out=ohms)

    def between_ohms(self, first: int, second: int) -> FloatArray:
        """Return the resistance between two nodes.

        Parameters
        ----------
        first, second : int
            The nodes.

        Returns
        -------
        FloatArray
            Shape (n_points,). [Ω]
        """
        result = between_ohms(self.base_case, first, second)[self.draw]
        for group in self.changed:
            result[group.points] = between_ohms_after(
                group.base_case, group.changes, first, second
            )
        factored = self.base_case.solver.plan.factored(self.afresh.solution.siemens.T)
        volts = factored.response_volts(np.array([[first, second]]))
        result[self.afresh.points] = volts[first, 0] - volts[second, 0]
        return np.maximum(result, 0.0, out=result)

    def branch_amps(self, branches: IntArray) -> FloatArray:
        """Return the current of some branches.

        Parameters
        ----------
        branches : IntArray
            Which, shape (n_chosen,).

        Returns
        -------
        FloatArray
            Shape (n_points, n_chosen). [A]
        """
        control = self.base_case.network.control[branches]
        x = self.volts.take(control[:, 0], axis=1)
        x -= self.volts.take(control[:, 1], axis=1)
        x *= self._of_branches(branches, lambda lines: lines.siemens)
        # no other branch is a source
        is_active = np.isin(branches, self.base_case.solver.plan.active)
        x[:, is_active] += self._of_branches(
            branches[is_active], lambda lines: lines.amps
        )
        return x

    def branch_conducts(self, branches: IntArray) -> FloatArray:
        """Return whether some branches conduct.

        Parameters
        ----------
        branches : IntArray
            Which, shape (n_chosen,).

        Returns
        -------
        FloatArray
            1 when they do, 0 when not, and a half where they chatter: neither; shape
            (n_points, n_chosen).
        """
        conducts = self._of_branches(branches, lambda lines: lines.is_conducting)
        chatters = self.base_case.base.is_chattering[:, branches][self.draw]
        solution = self.afresh.solution
        chatters[self.afresh.points] = solution.is_chattering[:, branches]
        conducts[chatters] = 0.5
        return conducts

    def _of_branches(
        self,
        branches: IntArray,
        values: Callable[[OperatingPoint | Changes], npt.NDArray[np.generic]],
    ) -> FloatArray:
        """Return some values of branches, from whatever each point is solved by.

        Shape (n_points, n_chosen).
        """
        base_case = self.base_case
        of_base = values(base_case.base)[:, branches].astype(np.float64)
        result = of_base.take(self.draw, axis=0)
        column = np.full(len(base_case.network.branches), -1)
        column[branches] = np.arange(len(branches))
        for group in self.changed:
            changes = group.changes
            if group.base_case is not base_case:
                other = values(group.base_case.base)[:, branches]
                result[group.points] = other[changes.draw]
            is_wanted = (column[changes.branch] >= 0) & (changes.branch >= 0)
            rows, places = np.nonzero(is_wanted)
            columns = column[changes.branch[rows, places]]
            result[group.points[rows], columns] = values(changes)[rows, places]
        result[self.afresh.points] = values(self.afresh.solution)[:, branches]
        return np.asarray(result)


def pieces(rows: IntArray, n_each: int) -> Iterator[IntArray]:
    """Yield as many of some points at a time as are worked on at once.

    Parameters
    ----------
    rows : IntArray
        The points, shape (n_points,).
    n_each : int
        How many numbers each takes. [1]

    Yields
    ------
    IntArray
        Some of them.
    """
    at_once = max(1, VALUES_AT_ONCE // n_each)
    for start in range(0, len(rows), at_once):
        yield rows[start : start + at_once]
