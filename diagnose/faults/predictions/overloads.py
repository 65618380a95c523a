"""Overloads: fuses, links and breakers that too much current opens, outputs it burns.

Of the parts that carry too much, the one opens that opens first by its time-current
curve, if the state lasts that long: a 15 A blade fuse and a 60 A bolted one behind it
carry the same short circuit, and cranking for ten seconds is no night with the key off.
What has opened stays open in every state. A breaker that resets itself is open only
where it is overloaded, and counts as half closed there: a meter jumps between two
values, and the owner sees the load go on and off.

Leaves the curves to `circuit.protection`, the currents to the solver.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.compensation import CompensationSolver
from diagnose.circuit.solver.network import (
    FORCED,
    RESETS_ITSELF,
    TRIP_A2S,
    TRIP_AMPS,
    Network,
    Slots,
)

# How many parts may open one after the other under one fault set. [1] Own choice: a
# fuse, the fuse or link behind it, and an output.
MAX_TRIPS = 3

# Share of time for which a breaker that goes on and off is open. [1] From memory: on a
# short it trips in a moment and cools for ten times as long; on a light overload the
# two take about as long. What it shows open is mostly noted.
OPEN_SHARE = 0.7


class ProtectiveParts:
    """The parts of a car that too much current opens.

    Parameters
    ----------
    networks : Sequence[Network]
        The sound car in each of its states.

    Attributes
    ----------
    branches : IntArray
        Their branches, rising, shape (n_protective,).
    """

    def __init__(self, networks: Sequence[Network]) -> None:
        first = networks[0]
        self.branches: IntArray = np.flatnonzero(
            np.isfinite(first.trip_amps).all(axis=0)
        )
        curves = np.concatenate([one.curves[:, self.branches] for one in networks])
        self._limits = curves[..., TRIP_AMPS : TRIP_A2S + 1]
        self._resets = curves[..., RESETS_ITSELF] > 0.5
        # one more, for the -1 of an unused slot
        self._column = np.full(len(first.branches) + 1, -1)
        self._column[self.branches] = np.arange(len(self.branches))

    def opening_seconds(
        self, draw: IntArray, slots: Slots, amps: FloatArray
    ) -> FloatArray:
        """Return how soon each protective part opens.

        Parameters
        ----------
        draw : IntArray
            Draw of each point as the solver counts them, shape (n_points,).
        slots : Slots
            Changed branches of each point; theirs may be among them.
        amps : FloatArray
            Currents of the parts, shape (n_points, n_protective). [A]

        Returns
        -------
        FloatArray
            Same shape as `amps`, inf where a part holds. [s]
        """
        limits = self._limits[draw]
        points, places = np.nonzero(self._column[slots.branch] >= 0)
        changed = slots.curves[points, places, TRIP_AMPS : TRIP_A2S + 1]
        limits[points, self._column[slots.branch[points, places]]] = changed
        seconds = np.full(amps.shape, np.inf)
        is_over = np.abs(amps) > limits[..., 0]
        np.divide(limits[..., 1], amps**2, out=seconds, where=is_over)
        return seconds

    def resets(self, draw: IntArray) -> BoolArray:
        """Return which parts close again by themselves.

        Parameters
        ----------
        draw : IntArray
            Draw of each point as the solver counts them, shape (n_points,).

        Returns
        -------
        BoolArray
            Shape (n_points, n_protective).
        """
        return np.asarray(self._resets[draw])


@dataclass(frozen=True, slots=True)
class Tripped:
    """Protective parts that too much current has opened.

    Parameters
    ----------
    branch : IntArray
        Shape (n_points, n_tripped).
    is_open : BoolArray
        In which states, shape (n_states, n_points, n_tripped): in all, unless the part
        closes again by itself.
    is_cycling : BoolArray
        Where it goes on and off, same shape.
    """

    branch: IntArray
    is_open: BoolArray
    is_cycling: BoolArray

    @staticmethod
    def none(n_states: int, n_points: int) -> Tripped:
        """Return points at which nothing has opened.

        Parameters
        ----------
        n_states, n_points : int
            How many states and points.

        Returns
        -------
        Tripped
            With n_tripped 0.
        """
        nowhere = np.zeros((n_states, n_points, 0), dtype=np.bool_)
        return Tripped(np.zeros((n_points, 0), dtype=np.int64), nowhere, nowhere)

    def opened(self, solver: CompensationSolver, draw: IntArray, slots: Slots) -> Slots:
        """Return the changed branches, with the tripped parts open.

        Parameters
        ----------
        solver : CompensationSolver
            The sound car in all its states.
        draw : IntArray
            Draw of each point of each state in turn, shape (n_states n_points,).
        slots : Slots
            Changed branches of the same points; written over.

        Returns
        -------
        Slots
            Of the same points.
        """
        n_tripped = self.branch.shape[1]
        if not n_tripped:
            return slots
        tripped = np.where(self.is_open, self.branch, -1).reshape(-1, n_tripped)
        meets = slots.branch[:, :, None] == tripped[:, None, :]
        meets &= tripped[:, None, :] >= 0
        slots.curves[meets.any(axis=2), FORCED] = -1.0
        extra = solver.base_slots(draw, np.where(meets.any(axis=1), -1, tripped))
        extra.curves[..., FORCED] = -1.0
        return slots.beside(extra)

    def and_first_of(
        self,
        seconds: FloatArray,
        hit: IntArray,
        protective: IntArray,
        *,
        resets: BoolArray,
    ) -> Tripped:
        """Return the points at which something more opens, with what opens first.

        Parameters
        ----------
        seconds : FloatArray
            How soon each part opens, shape (n_states, n_hit, n_protective). [s]
        hit : IntArray
            Those points, shape (n_hit,).
        protective : IntArray
            Branch of each protective part, shape (n_protective,).
        resets : BoolArray
            Which parts close again by themselves, shape (n_hit, n_protective).

        Returns
        -------
        Tripped
            Of n_hit points, with n_tripped one larger.
        """
        first = seconds.min(axis=0).argmin(axis=1)
        every = np.arange(len(hit))
        is_over = np.isfinite(seconds[:, every, first])
        cycles = is_over & resets[every, first]
        is_open = is_over | ~resets[every, first]
        return Tripped(
            np.concatenate([self.branch[hit], protective[first][:, None]], axis=1),
            np.concatenate([self.is_open[:, hit], is_open[..., None]], axis=2),
            np.concatenate([self.is_cycling[:, hit], cycles[..., None]], axis=2),
        )
