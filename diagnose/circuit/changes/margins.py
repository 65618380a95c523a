"""Within what volts the segments and gates of a solved state stay where they are.

Looks are the volts that control active branches, and those that gates watch
(`linearised`). Leaves to `nearby` and `compounds` what a change does to them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.linearised import Linearised
from diagnose.circuit.changes.runs import in_blocks
from diagnose.circuit.solver.network import (
    FORCED,
    INVERTED,
    OFF_VOLTS,
    ON_VOLTS,
)
from diagnose.circuit.solver.segments import Curves, Segments, conducting


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Lines of active branches, and between which volts they hold; one shape."""

    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray
    low: FloatArray
    high: FloatArray
    least_watch: FloatArray
    most_watch: FloatArray

    @staticmethod
    def of(
        curves: Curves,
        segment: IntArray,
        is_on: BoolArray,
        *,
        least_watch: FloatArray,
        most_watch: FloatArray,
    ) -> Limits:
        """Return the limits of branches on some segments, gates where they are."""
        carries = conducting(is_on, curves[FORCED], curves[INVERTED])
        segments = Segments.of(curves, segment)
        return Limits(
            siemens=segments.siemens * carries,
            amps=segments.amps * carries,
            is_conducting=carries,
            low=np.where(carries, segments.low, -np.inf),
            high=np.where(carries, segments.high, np.inf),
            least_watch=least_watch,
            most_watch=most_watch,
        )

    def take(self, points: IntArray) -> Limits:
        """Return those of some points, which lie along the last axis."""
        return Limits(
            **{name: getattr(self, name).take(points, axis=-1) for name in _LIMITS}
        )


_LIMITS = tuple(field.name for field in fields(Limits))


class Margins:
    """The margins of one solved state.

    Parameters
    ----------
    linear : Linearised
        The solved state.
    must_start, must_rest : BoolArray
        Gates that have to find their pull-in volts though they are forced off here, and
        those that must not find the volts to stay on, shape (n_active, n_draws).

    Attributes
    ----------
    low, high : FloatArray
        Between which volts each look holds, shape (n_blocks, n_looks, length); those
        that gates watch have no sign. [V]
    look_of_gate : IntArray
        The look of each active branch's gate, -1 without one; shape (n_active,).
    """

    def __init__(
        self, linear: Linearised, must_start: BoolArray, must_rest: BoolArray
    ) -> None:
        self._linear, self._solver = linear, linear.solver
        self._must_start, self._must_rest = must_start, must_rest
        network, base, active = linear.network, linear.base, self._solver.plan.active
        self._active, self._has_gate = active, self._solver.settling.has_gate
        self._gated = gated = np.flatnonzero(network.has_gate[active])
        self.look_of_gate = np.full(len(active), -1)
        self.look_of_gate[gated] = len(active) + np.arange(len(gated))
        every = np.arange(network.n_draws)
        limits = self.limits(
            self._solver.table.active_curves(every, None),
            base.segment[:, active].T.astype(np.int64),
            base.is_on[:, active].T,
            np.arange(len(active))[:, None],
            every,
        )
        low = np.concatenate([limits.low, limits.least_watch[gated]])
        high = np.concatenate([limits.high, limits.most_watch[gated]])
        self.low = in_blocks(low, linear.length)
        self.high = in_blocks(high, linear.length)

    def limits(
        self,
        curves: Curves,
        segment: IntArray,
        is_on: BoolArray,
        place: IntArray,
        draw: IntArray,
    ) -> Limits:
        """Return the lines of active branches, and within what volts they hold.

        Arguments are shaped as each other; `place` says which active branch, `draw`
        which draw. A gate holds where it decides by itself: on, with its pull-in volts
        there; off, without those to stay on.
        """
        is_free = self._has_gate[place, 0] & (curves[FORCED] == 0.0)
        pulls_in = self._must_start[place, draw] | (is_free & is_on)
        lets_go = self._must_rest[place, draw] | (is_free & ~is_on)
        return Limits.of(
            curves,
            segment,
            is_on,
            least_watch=np.where(pulls_in, curves[ON_VOLTS], -np.inf),
            most_watch=np.where(lets_go, _below(curves[OFF_VOLTS]), np.inf),
        )

    def is_own(self, branch: IntArray) -> BoolArray:
        """Return which looks are those of branches themselves, (n_looks, n_some)."""
        place = self._solver.table.place[branch]
        each = np.arange(len(self._active) + len(self._gated))[:, None]
        is_own = (each == place) & (place >= 0)
        return np.asarray(is_own | ((each == self.look_of_gate[place]) & (place >= 0)))

    def signed(
        self, limits: Limits, looks: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return between which volts looks hold, those that gates watch as signed.

        Parameters
        ----------
        limits : Limits
            Of the active branches, shape (n_active, n_points).
        looks : FloatArray
            What they show, shape (n_looks, n_points). [V]

        Returns
        -------
        low, high : FloatArray
            Same shape. [V]
        """
        n_active, gated = len(self._active), self._gated
        least, most = limits.least_watch[gated], limits.most_watch[gated]
        is_bound, is_under = least > 0.0, looks[n_active:] < 0.0
        low = np.where(is_bound & ~is_under, least, -most)
        high = np.where(is_bound & is_under, -least, most)
        return np.concatenate([limits.low, low]), np.concatenate([limits.high, high])


def _below(volts: FloatArray) -> FloatArray:
    """Return the largest numbers below."""
    return np.nextafter(volts, -np.inf)
