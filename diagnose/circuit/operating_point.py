"""Operating points: which segment and which gate position each branch ends in.

A dense solve per round, for the healthy car (all draws at once) and as the reference the
fast path in `compensation` is tested against. Events are solved, not assumed: segments
first, then gates, until nothing changes; a gate that keeps changing is a chattering relay.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nodal import BoolArray, IntArray, Network, node_volts

BREAK_VOLTS = 1e-9
# Derived: far under a millivolt, far over rounding of a 12 V solution.
MAX_ROUNDS = 80
MAX_FLIPS = 4
# Derived: pull in, drop out, pull in, drop out without settling is chatter.


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPoint:
    """A consistent solution of a network, one row per point.

    Parameters
    ----------
    volts : FloatArray
        Shape (n_points, n_nodes), the reference first. [V]
    segment : IntArray
        Shape (n_points, n_branches).
    is_on : BoolArray
        Gate position, shape (n_points, n_branches).
    is_conducting : BoolArray
        Shape (n_points, n_branches): gate and forcing put together.
    siemens, amps : FloatArray
        The branch lines in force, shape (n_points, n_branches). [S], [A]
    flips : IntArray
        How often each gate changed, shape (n_points, n_branches).
    is_settled : BoolArray
        Shape (n_points,); False where a gate chatters or no consistent state was found.
    """

    volts: FloatArray
    segment: IntArray
    is_on: BoolArray
    is_conducting: BoolArray
    siemens: FloatArray
    amps: FloatArray
    flips: IntArray
    is_settled: BoolArray

    def control_volts(self, network: Network) -> FloatArray:
        """Return the control voltage of each branch, (n_points, n_branches). [V]."""
        control = network.control
        return self.volts[:, control[:, 0]] - self.volts[:, control[:, 1]]

    def branch_amps(self, network: Network) -> FloatArray:
        """Return the current of each branch, (n_points, n_branches). [A]."""
        return self.siemens * self.control_volts(network) + self.amps


def conducting(
    is_on: BoolArray, forced: FloatArray, is_inverted: BoolArray
) -> BoolArray:
    """Return whether branches carry current; all arguments broadcast."""
    by_gate = is_on != is_inverted
    return np.where(forced == 0.0, by_gate, forced > 0.0)


def picked(table: FloatArray, segment: IntArray) -> FloatArray:
    """Return the entry of the segment in force along the last axis of `table`."""
    return np.take_along_axis(table, segment[..., None], axis=-1)[..., 0]


def next_segment(volts: FloatArray, breaks: FloatArray, segment: IntArray) -> IntArray:
    """Return the segment one step towards the one that holds `volts`.

    One step at a time, and staying put within a hair of a break, keeps Newton's method
    from jumping over the regulating segment of an alternator for ever.

    Parameters
    ----------
    volts : FloatArray
        Shape (...,). [V]
    breaks : FloatArray
        Shape (..., n_segments - 1). [V]
    segment : IntArray
        Present segment, shape (...,).
    """
    up = (volts[..., None] >= breaks + BREAK_VOLTS).sum(axis=-1)
    down = (volts[..., None] >= breaks - BREAK_VOLTS).sum(axis=-1)
    return np.clip(np.clip(segment, up, down), segment - 1, segment + 1)


def next_gate(
    *,
    watch_volts: FloatArray,
    on_volts: FloatArray,
    off_volts: FloatArray,
    is_on: BoolArray,
    flips: IntArray,
) -> BoolArray:
    """Return the gate position that follows; all arguments broadcast.

    A gate that has not moved yet is judged by its pull-in volts even where it starts on:
    it has to have pulled in at some time.
    """
    magnitude = np.abs(watch_volts)
    threshold = np.where(is_on & (flips > 0), off_volts, on_volts)
    return magnitude >= threshold


def solve_operating_point(network: Network) -> OperatingPoint:
    """Return the operating point of every draw of a network.

    Gates start off; segments start at rest.
    """
    n_draws, n_branches = network.forced.shape
    segment = np.zeros((n_draws, n_branches), dtype=np.int64)
    is_on = np.zeros((n_draws, n_branches), dtype=np.bool_)
    flips = np.zeros((n_draws, n_branches), dtype=np.int64)
    is_settled = np.zeros(n_draws, dtype=np.bool_)
    volts = np.zeros((n_draws, len(network.nodes)))
    for round_number in range(MAX_ROUNDS):
        is_conducting = conducting(is_on, network.forced, network.is_inverted)
        siemens = np.where(is_conducting, picked(network.siemens, segment), 0.0)
        amps = np.where(is_conducting, picked(network.amps, segment), 0.0)
        volts = node_volts(network, siemens, amps)
        x = volts[:, network.control[:, 0]] - volts[:, network.control[:, 1]]
        wanted = next_segment(x, network.breaks, segment)
        wanted = np.where(is_conducting, wanted, segment)
        moved = wanted != segment
        if round_number > MAX_ROUNDS // 3:
            moved = _first_only(moved, offset=round_number)
        segment = np.where(moved, wanted, segment)
        is_quiet = ~moved.any(axis=1)
        gate_moves = _gate_moves(network, volts=volts, is_on=is_on, flips=flips)
        gate_moves &= is_quiet[:, None] & (flips < MAX_FLIPS)
        is_on = is_on ^ gate_moves
        flips = flips + gate_moves
        is_settled = is_quiet & ~gate_moves.any(axis=1)
        if is_settled.all():
            break
    is_conducting = conducting(is_on, network.forced, network.is_inverted)
    siemens = np.where(is_conducting, picked(network.siemens, segment), 0.0)
    amps = np.where(is_conducting, picked(network.amps, segment), 0.0)
    return OperatingPoint(
        volts=volts,
        segment=segment,
        is_on=is_on,
        is_conducting=is_conducting,
        siemens=siemens,
        amps=amps,
        flips=flips,
        is_settled=is_settled & (flips < MAX_FLIPS).all(axis=1),
    )


def _gate_moves(
    network: Network, *, volts: FloatArray, is_on: BoolArray, flips: IntArray
) -> BoolArray:
    watch = volts[:, network.watch[:, 0]] - volts[:, network.watch[:, 1]]
    wanted = next_gate(
        watch_volts=watch,
        on_volts=network.on_volts,
        off_volts=network.off_volts,
        is_on=is_on,
        flips=flips,
    )
    return (wanted != is_on) & network.has_gate & (network.forced == 0.0)


def _first_only(moved: BoolArray, *, offset: int) -> BoolArray:
    """Keep one move per point, another one each round: breaks cycles of segments."""
    rolled = np.roll(moved, offset, axis=1)
    first = rolled.argmax(axis=1)
    single = np.zeros_like(moved)
    rows = np.flatnonzero(moved.any(axis=1))
    single[rows, (first[rows] - offset) % moved.shape[1]] = True
    return single
