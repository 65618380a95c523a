"""Within what volts the segments and gates of a solved state stay where they are.

A gate stays where it decides by itself: on, with its pull-in volts there; off, without
those to stay on. Between the two it may be either, and how it got there decides.
Leaves to `base_case` what a change does to those volts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.base_case import BaseCase
from diagnose.circuit.changes.runs import in_blocks
from diagnose.circuit.solver.network import FORCED, INVERTED, OFF_VOLTS, ON_VOLTS
from diagnose.circuit.solver.segments import Curves, Segments, conducting


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldOffGates:
    """What is asked of gates that are held off in a base case.

    Parameters
    ----------
    must_pull_in : BoolArray
        Gates that have to find their pull-in volts although they are held off, shape
        (n_active, n_draws).
    must_stay_off : BoolArray
        Gates that must not find the volts to stay on, same shape.
    """

    must_pull_in: BoolArray
    must_stay_off: BoolArray

    @staticmethod
    def of(
        base_case: BaseCase,
        *,
        must_pull_in: BoolArray | None = None,
        must_stay_off: BoolArray | None = None,
    ) -> HeldOffGates:
        """Return what is asked of the gates of some branches.

        Parameters
        ----------
        base_case : BaseCase
        must_pull_in, must_stay_off : BoolArray or None
            Whose gates, shape (n_draws, n_branches); None: of none.

        Returns
        -------
        HeldOffGates
            The same of the active branches.
        """
        network = base_case.network
        none = np.zeros((network.n_draws, len(network.branches)), dtype=np.bool_)
        active = base_case.solver.plan.active
        pull_in = none if must_pull_in is None else must_pull_in
        stay_off = none if must_stay_off is None else must_stay_off
        return HeldOffGates(
            must_pull_in=pull_in[:, active].T, must_stay_off=stay_off[:, active].T
        )

    def needs(
        self, place: IntArray, draw: IntArray, is_free: BoolArray, is_on: BoolArray
    ) -> tuple[BoolArray, BoolArray]:
        """Return which gates have to pull in by themselves, and which to let go.

        Parameters
        ----------
        place, draw : IntArray
            Which active branch and which draw each gate is of; of one shape, or such as
            make one together.
        is_free : BoolArray
            Whether it switches its branch, that shape.
        is_on : BoolArray
            Where it is, that shape.

        Returns
        -------
        pulls_in, lets_go : BoolArray
            That shape.
        """
        pulls_in = self.must_pull_in[place, draw] | (is_free & is_on)
        lets_go = self.must_stay_off[place, draw] | (is_free & ~is_on)
        return pulls_in, lets_go


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Lines of active branches, and between which volts they hold; all of one shape.

    Parameters
    ----------
    siemens, amps : FloatArray
        The line. [S], [A]
    is_conducting : BoolArray
    low, high : FloatArray
        Control volts between which the segment holds. [V]
    least_watch, most_watch : FloatArray
        Volts without sign that the gate may watch and stay where it is. [V]
    """

    siemens: FloatArray
    amps: FloatArray
    is_conducting: BoolArray
    low: FloatArray
    high: FloatArray
    least_watch: FloatArray
    most_watch: FloatArray


class Margins:
    """The margins of one base case.

    Parameters
    ----------
    base_case : BaseCase
    held_off : HeldOffGates
        What is asked of gates that are held off there.

    Attributes
    ----------
    low, high : FloatArray
        Between which volts each monitored pair has to stay, shape (n_blocks,
        n_monitored, block_length); those that gates watch have no sign. [V]
    pair_of_gate : IntArray
        The monitored pair that each active branch's gate watches, -1 without a gate;
        shape (n_active,).
    """

    def __init__(self, base_case: BaseCase, held_off: HeldOffGates) -> None:
        solver, network, base = base_case.solver, base_case.network, base_case.base
        active, block_length = solver.plan.active, base_case.block_length
        self._held_off, self._has_gate = held_off, solver.settling.has_gate
        gated = np.flatnonzero(network.has_gate[active])
        self.pair_of_gate = np.full(len(active), -1)
        self.pair_of_gate[gated] = len(active) + np.arange(len(gated))
        every = np.arange(network.n_draws)
        limits = self.limits(
            solver.table.active_curves(every, None),
            base.segment[:, active].T.astype(np.int64),
            base.is_on[:, active].T,
            np.arange(len(active))[:, None],
            every,
        )
        low = np.concatenate([limits.low, limits.least_watch[gated]])
        high = np.concatenate([limits.high, limits.most_watch[gated]])
        self.low = in_blocks(low, block_length)
        self.high = in_blocks(high, block_length)

    def limits(
        self,
        curves: Curves,
        segment: IntArray,
        is_on: BoolArray,
        place: IntArray,
        draw: IntArray,
    ) -> Limits:
        """Return the lines of active branches, and within what volts they hold.

        Parameters
        ----------
        curves : Curves
            Of the branches, any shape.
        segment : IntArray
            Where each is on its curve, same shape.
        is_on : BoolArray
            Where its gate is, same shape.
        place, draw : IntArray
            Which active branch and which draw each is, same shape or such as make it
            together.

        Returns
        -------
        Limits
            Same shape.
        """
        forced = curves[FORCED]
        carries = conducting(is_on, forced, curves[INVERTED])
        segments = Segments.of(curves, segment)
        is_free = self._has_gate[place, 0] & (forced == 0.0)
        pulls_in, lets_go = self._held_off.needs(place, draw, is_free, is_on)
        # a gate lets go below its release volts
        most_watch = np.nextafter(curves[OFF_VOLTS], -np.inf)
        return Limits(
            siemens=segments.siemens * carries,
            amps=segments.amps * carries,
            is_conducting=carries,
            low=np.where(carries, segments.low, -np.inf),
            high=np.where(carries, segments.high, np.inf),
            least_watch=np.where(pulls_in, curves[ON_VOLTS], -np.inf),
            most_watch=np.where(lets_go, most_watch, np.inf),
        )
