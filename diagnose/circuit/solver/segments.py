"""Curves of branches and the segments they are on, in many points at once.

Leaves to `settling` how segments move. Arrays are (branch, point).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.solver.network import AMPS, EDGES, SIEMENS

# Control volts by which a segment may be overrun before the next one takes over: far
# under a millivolt, far over rounding of a 12 V solution (derived). [V]
BREAK_VOLTS = 1e-9

# Current that a segment may carry beyond its edge, which counts where its slope is
# steep; a floating node of 20 Mohm is then held up by 0.2 mV (derived). [A]
BREAK_AMPS = 1e-11

# The least that a segment may be overrun, however steep: rounding of a 12 V solution
# (derived). [V]
LEAST_BREAK_VOLTS = 1e-12


def conducting(is_on: BoolArray, forced: FloatArray, inverted: FloatArray) -> BoolArray:
    """Return whether branches carry current.

    Parameters
    ----------
    is_on : BoolArray
        Position of their gates, any shape.
    forced : FloatArray
        1 always on, -1 always off, 0 as the gate says; a shape that fits.
    inverted : FloatArray
        1 where the branch conducts while its gate is off; a shape that fits.

    Returns
    -------
    BoolArray
        In the common shape.
    """
    by_gate = is_on != (inverted > 0.0)
    return np.where(forced == 0.0, by_gate, forced > 0.0)


@dataclass(frozen=True, slots=True)
class Curves:
    """Curves of branches in many points, looked up in one table.

    A copy for each point and round would take as long as solving it. `curves[place]` is
    what stands in one place of every curve, shaped as `row`.

    Parameters
    ----------
    table : FloatArray
        Shape (CURVE_LENGTH, n_rows), places as in `network`. [V], [S], [A]
    row : IntArray
        The row of each curve, shape (...,), the points along the last axis.
    """

    table: FloatArray
    row: IntArray

    @staticmethod
    def of(curves: FloatArray) -> Curves:
        """Return curves that are all given in one array.

        Parameters
        ----------
        curves : FloatArray
            Shape (CURVE_LENGTH, ..., n_points).

        Returns
        -------
        Curves
            Each with a row of its own, shape (..., n_points).
        """
        shape = curves.shape[1:]
        table = curves.reshape(len(curves), -1)
        return Curves(table, np.arange(table.shape[1]).reshape(shape))

    def __getitem__(self, place: int) -> FloatArray:
        return np.asarray(self.table[place].take(self.row))

    def along(self, first: int, segment: IntArray) -> FloatArray:
        """Return what curves have for one segment each.

        Parameters
        ----------
        first : int
            The place of the first segment: the start of `EDGES`, `SIEMENS` or `AMPS`.
        segment : IntArray
            The segments, shaped as `row`.

        Returns
        -------
        FloatArray
            Same shape. [V], [S] or [A]
        """
        places = segment + first
        places *= self.table.shape[1]
        places += self.row
        return self.table.reshape(-1).take(places)

    def take(self, points: IntArray) -> Curves:
        """Return the curves of some of the points.

        Parameters
        ----------
        points : IntArray
            Which, shape (n_some,).

        Returns
        -------
        Curves
            In that order, from the same table.
        """
        return Curves(self.table, self.row.take(points, axis=-1))


@dataclass(frozen=True, slots=True)
class Segments:
    """The segments in force: on which lines branches are, and within which volts.

    Parameters
    ----------
    low, high : FloatArray
        The control volts they hold for; all arrays of one shape. [V]
    siemens, amps : FloatArray
        Slope, and current at no volts. [S], [A]
    """

    low: FloatArray
    high: FloatArray
    siemens: FloatArray
    amps: FloatArray

    @staticmethod
    def of(curves: Curves, segment: IntArray) -> Segments:
        """Return what segments of curves say.

        What a segment may carry beyond its edge is bounded in amperes too: a nanovolt
        beyond the knee of a diode is 20 nA, and would hold up by .4 V a wire that hangs
        on 20 Mohm of insulation alone.

        Parameters
        ----------
        curves : Curves
            Of any shape.
        segment : IntArray
            Which segment of each, same shape.

        Returns
        -------
        Segments
            Same shape.
        """
        siemens = curves.along(SIEMENS.start, segment)
        beyond = np.clip(
            BREAK_AMPS / np.maximum(siemens, BREAK_AMPS),
            LEAST_BREAK_VOLTS,
            BREAK_VOLTS,
        )
        return Segments(
            low=curves.along(EDGES.start, segment) - beyond,
            high=curves.along(EDGES.start + 1, segment) + beyond,
            siemens=siemens,
            amps=curves.along(AMPS.start, segment),
        )
