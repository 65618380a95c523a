"""Operating points: the volts of a network, and where its segments and gates rest.

Leaves how they are found to `point_solver`. Arrays are (point, node or branch).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, FloatArray, IntArray, StepArray
from diagnose.circuit.solver.moving_points import MAX_FLIPS
from diagnose.circuit.solver.network import Network


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPoint:
    """A consistent solution of a network, one row per point.

    Parameters
    ----------
    volts : FloatArray
        Node volts, shape (n_points, n_nodes), the reference first. [V]
    segment : StepArray
        The segment each branch is on, shape (n_points, n_branches).
    is_on : BoolArray
        Where each gate is, shape (n_points, n_branches).
    is_conducting : BoolArray
        Gate and forcing put together, shape (n_points, n_branches).
    siemens, amps : FloatArray
        Slope of each branch in force, and its current at no volts, shape
        (n_points, n_branches). [S], [A]
    flips : StepArray
        How often each gate has turned, shape (n_points, n_branches).
    is_settled : BoolArray
        Shape (n_points,); False where a gate chatters or nothing consistent was found.
    """

    volts: FloatArray
    segment: StepArray
    is_on: BoolArray
    is_conducting: BoolArray
    siemens: FloatArray
    amps: FloatArray
    flips: StepArray
    is_settled: BoolArray

    @staticmethod
    def empty(n_points: int, network: Network) -> OperatingPoint:
        """Return room for points of which nothing is known yet.

        Parameters
        ----------
        n_points : int
            How many.
        network : Network
            What is solved.

        Returns
        -------
        OperatingPoint
            No point settled.
        """
        shape = (n_points, len(network.branches))
        return OperatingPoint(
            volts=np.zeros((n_points, len(network.nodes))),
            segment=np.zeros(shape, dtype=np.int8),
            is_on=np.zeros(shape, dtype=np.bool_),
            is_conducting=np.zeros(shape, dtype=np.bool_),
            siemens=np.zeros(shape),
            amps=np.zeros(shape),
            flips=np.zeros(shape, dtype=np.int8),
            is_settled=np.zeros(n_points, dtype=np.bool_),
        )

    @staticmethod
    def joined(parts: Sequence[OperatingPoint]) -> OperatingPoint:
        """Return the points of all parts in turn.

        Parameters
        ----------
        parts : Sequence[OperatingPoint]
            Of one network.

        Returns
        -------
        OperatingPoint
            The points of the first come first.
        """

        def whole(name: str) -> np.ndarray:
            return np.concatenate([getattr(part, name) for part in parts])

        return OperatingPoint(
            **{field.name: whole(field.name) for field in fields(OperatingPoint)}
        )

    def take(self, points: IntArray) -> OperatingPoint:
        """Return some of the points.

        Parameters
        ----------
        points : IntArray
            Which, shape (n_some,).

        Returns
        -------
        OperatingPoint
            In that order.
        """
        return OperatingPoint(
            **{field.name: getattr(self, field.name)[points] for field in fields(self)}
        )

    def put(self, rows: IntArray, other: OperatingPoint) -> None:
        """Write other points over some of these.

        Parameters
        ----------
        rows : IntArray
            Which of these, shape (n_other,).
        other : OperatingPoint
            Of the same network.
        """
        for field in fields(OperatingPoint):
            getattr(self, field.name)[rows] = getattr(other, field.name)

    def control_volts(self, network: Network) -> FloatArray:
        """Return the volts that control each branch.

        Parameters
        ----------
        network : Network
            What was solved.

        Returns
        -------
        FloatArray
            Shape (n_points, n_branches). [V]
        """
        control = network.control
        return self.volts[:, control[:, 0]] - self.volts[:, control[:, 1]]

    @property
    def is_chattering(self) -> BoolArray:
        """Gates that find no rest, shape (n_points, n_branches)."""
        return np.asarray(self.flips >= MAX_FLIPS)

    def branch_amps(self, network: Network) -> FloatArray:
        """Return the current of each branch.

        Parameters
        ----------
        network : Network
            What was solved.

        Returns
        -------
        FloatArray
            Shape (n_points, n_branches); its sign as in `parts.branches`. [A]
        """
        return self.siemens * self.control_volts(network) + self.amps


@dataclass(frozen=True, slots=True)
class Start:
    """Where points start that do not come from rest.

    A relay, a controller or an alternator that excites itself starts a state as the
    state before left it: what a hysteresis ends in depends on the way there. A relay
    pulled in at key-on stays in while cranking, down to its release volts.

    Parameters
    ----------
    segment : NDArray
        Segments to try first, shape (n_points, n_branches).
    is_on : BoolArray
        Where the gates begin, same shape.
    """

    segment: npt.NDArray[np.signedinteger[Any]]
    is_on: BoolArray

    def take(self, points: IntArray) -> Start:
        """Return some of the points.

        Parameters
        ----------
        points : IntArray
            Which, shape (n_some,).

        Returns
        -------
        Start
            In that order.
        """
        return Start(self.segment[points], self.is_on[points])
