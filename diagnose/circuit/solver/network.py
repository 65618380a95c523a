"""Networks: the branches of a car in one operating state, as arrays.

Knows arrays and indices, and nothing of a car. Node 0 is the reference and has no
equation. One batch may hold many states: state and draw then share the first axis, for
a few hundred points alone in their states would cost as many calls as ten thousand.

Curves of branches are kept in rows of numbers, each with all that one branch does, so
that thousands of points can look them up in one table. Leaves the choice of segment and
gate to `settling`, and the linear solution to `factored`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.parts.branches import Branch

# Conductance from every node to the reference. It holds a node that nothing else holds,
# and so keeps every network regular; 12 V drive 12 pA through it, a hundred-thousandth
# of what a 10 Mohm meter takes (derived). [S]
NODE_LEAK_SIEMENS = 1e-12

# Segments that a row has room for: those of a battery with surface charge and of an
# alternator's limit (derived).
MAX_SEGMENTS = 4

# Places along the last axis of a curve: the edges of its segments, the slope and the
# current of each.
EDGES = slice(0, MAX_SEGMENTS + 1)
SIEMENS = slice(EDGES.stop, EDGES.stop + MAX_SEGMENTS)
AMPS = slice(SIEMENS.stop, SIEMENS.stop + MAX_SEGMENTS)

# Then its forcing, its gate, and what it opens by.
FORCED, ON_VOLTS, OFF_VOLTS, INVERTED = range(AMPS.stop, AMPS.stop + 4)
TRIP_AMPS, TRIP_A2S, RESETS_ITSELF = range(INVERTED + 1, INVERTED + 4)

# Number of those places.
CURVE_LENGTH = RESETS_ITSELF + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """One car in one operating state as arrays.

    Parameters
    ----------
    nodes : tuple[str, ...]
        Node names, the reference first.
    branches : tuple[str, ...]
        Branch names; axis "branch" below.
    parts : tuple[str, ...]
        The part of each branch.
    output, control, watch : IntArray
        Nodes that its current flows between, that control it, and that its gate
        watches; indices of `nodes`, shape (n_branches, 2). `watch` is (0, 0) without a
        gate.
    curves : FloatArray
        Shape (n_draws, n_branches, CURVE_LENGTH): the edges of the segments (-inf, the
        breaks, inf and more of it), siemens, amps, forced (1 on, -1 off, 0 by the
        gate), pull-in and release volts of the gate, 1 where the branch conducts while
        its gate is off, and its protection: the current that opens it (inf: none), its
        current squared times time, 1 where it closes again. [V], [S], [A], [A² s]
    has_gate : BoolArray
        Branches that a gate switches, shape (n_branches,).
    is_self_holding : BoolArray
        Branches that feed their own gate once on, shape (n_branches,).
    """

    nodes: tuple[str, ...]
    branches: tuple[str, ...]
    parts: tuple[str, ...]
    output: IntArray
    control: IntArray
    watch: IntArray
    curves: FloatArray
    has_gate: BoolArray
    is_self_holding: BoolArray

    @property
    def n_draws(self) -> int:
        """Number of tolerance draws."""
        return len(self.curves)

    @property
    def breaks(self) -> FloatArray:
        """Where segments meet, shape (n_draws, n_branches, n_segments - 1). [V]."""
        return self.curves[..., EDGES.start + 1 : EDGES.stop - 1]

    @property
    def siemens(self) -> FloatArray:
        """Slope of each segment, (n_draws, n_branches, n_segments). [S]."""
        return self.curves[..., SIEMENS]

    @property
    def amps(self) -> FloatArray:
        """Current at no volts, shape (n_draws, n_branches, n_segments). [A]."""
        return self.curves[..., AMPS]

    @property
    def forced(self) -> FloatArray:
        """1 always on, -1 always off, 0 by the gate, (n_draws, n_branches)."""
        return self.curves[..., FORCED]

    @property
    def trip_amps(self) -> FloatArray:
        """Current that opens a branch, inf where none, (n_draws, n_branches). [A]."""
        return self.curves[..., TRIP_AMPS]

    @property
    def is_active(self) -> BoolArray:
        """Branches whose line may change: bent or gated, shape (n_branches,)."""
        is_bent = np.isfinite(self.breaks).any(axis=(0, 2))
        has_source = (self.amps != 0.0).any(axis=(0, 2))
        is_controlled = (self.output != self.control).any(axis=1)
        return np.asarray(is_bent | self.has_gate | has_source | is_controlled)

    def apart(self, n_networks: int) -> tuple[Network, ...]:
        """Return stacked networks one by one.

        Parameters
        ----------
        n_networks : int
            How many there are, of as many draws each.

        Returns
        -------
        tuple[Network, ...]
            Of the same numbers, in the order in which they were stacked.
        """
        each = np.split(self.curves, n_networks)
        return tuple(replace(self, curves=curves) for curves in each)

    def branch_indices(self) -> Mapping[str, int]:
        """Return the index of each branch.

        Returns
        -------
        Mapping[str, int]
            By branch name.
        """
        return {name: index for index, name in enumerate(self.branches)}

    def node_indices(self) -> Mapping[str, int]:
        """Return the index of each node.

        Returns
        -------
        Mapping[str, int]
            By node name; 0 is the reference.
        """
        return {name: index for index, name in enumerate(self.nodes)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Slots:
    """What is changed in each of many points: some branches, with other curves.

    Parameters
    ----------
    branch : IntArray
        The changed branches, shape (n_points, n_slots); -1 marks an unused slot, and
        those come last.
    curves : FloatArray
        Their curves, shape (n_points, n_slots, CURVE_LENGTH), as in `Network`.
    """

    branch: IntArray
    curves: FloatArray

    def take(self, points: IntArray) -> Slots:
        """Return the slots of some of the points.

        Parameters
        ----------
        points : IntArray
            Which, shape (n_some,).

        Returns
        -------
        Slots
            In that order, as many slots as one of them uses.
        """
        branch = self.branch[points]
        width = int((branch >= 0).sum(axis=1).max(initial=0))
        return Slots(branch=branch[:, :width], curves=self.curves[points, :width])

    def beside(self, other: Slots) -> Slots:
        """Return these slots and other slots of the same points together.

        Parameters
        ----------
        other : Slots
            With as many points.

        Returns
        -------
        Slots
            Unused slots moved to the end.
        """
        branch = np.concatenate([self.branch, other.branch], axis=1)
        curves = np.concatenate([self.curves, other.curves], axis=1)
        order = np.argsort(branch < 0, axis=1, kind="stable")
        points = np.arange(len(branch))[:, None]
        return Slots(branch=branch[points, order], curves=curves[points, order])


def curve(branch: Branch) -> FloatArray:
    """Return all that a branch does, in one row per draw.

    Parameters
    ----------
    branch : Branch
        With at most `MAX_SEGMENTS` segments.

    Returns
    -------
    FloatArray
        Shape (n_draws, CURVE_LENGTH), as in `Network`.

    Raises
    ------
    ValueError
        If the branch has more segments than a row holds.
    """
    n_draws, used = branch.siemens.shape
    if used > MAX_SEGMENTS:
        raise ValueError(f"{branch.name}: more than {MAX_SEGMENTS} segments")
    row = np.zeros((n_draws, CURVE_LENGTH))
    row[:, EDGES] = np.inf
    row[:, EDGES.start] = -np.inf
    row[:, EDGES.start + 1 : EDGES.start + used] = branch.breaks
    for place, given in ((SIEMENS, branch.siemens), (AMPS, branch.amps)):
        row[:, place] = given[:, -1:]
        row[:, place.start : place.start + used] = given
    row[:, FORCED] = branch.forced
    if branch.gate is not None:
        row[:, ON_VOLTS] = branch.gate.on_volts
        row[:, OFF_VOLTS] = branch.gate.off_volts
        row[:, INVERTED] = branch.gate.is_inverted
    row[:, TRIP_AMPS] = np.inf
    if branch.protection is not None:
        row[:, TRIP_AMPS] = branch.protection.trip_amps
        row[:, TRIP_A2S] = branch.protection.a2s
        row[:, RESETS_ITSELF] = branch.protection.resets_itself
    return row


def build_network(
    branches: Sequence[Branch],
    *,
    nodes: tuple[str, ...],
    curves: Sequence[FloatArray] | None = None,
) -> Network:
    """Return branches as arrays.

    Parameters
    ----------
    branches : Sequence[Branch]
        With the same number of draws each.
    nodes : tuple[str, ...]
        All nodes they touch, the reference first.
    curves : Sequence[FloatArray] or None
        What `curve` says of each, where that is known.

    Returns
    -------
    Network
        With branches and nodes in the given order.

    Raises
    ------
    ValueError
        If a branch has more than `MAX_SEGMENTS` segments.
    """
    index = {name: position for position, name in enumerate(nodes)}
    gates = [branch.gate for branch in branches]
    reference = (nodes[0], nodes[0])

    def pairs(names: list[tuple[str, str]]) -> IntArray:
        return np.array([[index[a], index[b]] for a, b in names], dtype=np.int64)

    return Network(
        nodes=nodes,
        branches=tuple(branch.name for branch in branches),
        parts=tuple(branch.part for branch in branches),
        output=pairs([branch.output for branch in branches]),
        control=pairs([branch.control for branch in branches]),
        watch=pairs([gate.watch if gate else reference for gate in gates]),
        curves=np.stack(curves or [curve(branch) for branch in branches], axis=1),
        has_gate=np.array([gate is not None for gate in gates]),
        is_self_holding=np.array(
            [bool(gate and gate.is_self_holding) for gate in gates]
        ),
    )


def stacked(networks: Sequence[Network]) -> Network:
    """Return networks of the same branches as one, all their draws in turn.

    Parameters
    ----------
    networks : Sequence[Network]
        Such as one car in several states.

    Returns
    -------
    Network
        The draws of the first network come first.

    Raises
    ------
    ValueError
        If the networks do not have the same branches and nodes.
    """
    first = networks[0]
    for other in networks[1:]:
        if (other.nodes, other.branches) != (first.nodes, first.branches):
            raise ValueError("networks with different branches can't be stacked")
    curves = np.concatenate([network.curves for network in networks])
    return replace(first, curves=curves)
