"""Whether gates end where a nearby solution has them, begun as the state before ends.

Points found near a base case rest, and every gate in them decides by itself. But they
may not be where the way leads: another rest, with a relay that holds itself, may lie
nearer. Some of them are therefore followed from where the state before left their
gates; if one misses its rest, all that it stands for are given up. Leaves it to
`single_points` and `operating_point` to follow them, and solving them afresh to
`state_order`.

Decision: for each fault the draws with the least and the largest change are followed
first, with a hysteresis as wide as that of all draws. Where one misses its rest, those
draws are followed that have least to spare, with a hysteresis a little wider; where one
of those does, each draw. (A relay that a fault lets feed its own coil rests on as well
as off, and each gate then decides by itself.) Against every state solved from the one
before: no single fault of three cars differs; on random cars with relays that feed
themselves 6 of 90,000 points do, all of one fault that chatters from there and rests
elsewhere. It costs a quarter of the time (measured). Of six thousand
points of single faults that the wide hysteresis doubted none missed its rest; a quarter
are still followed one by one (measured).

Decision: only gates are asked for, and a point has arrived when they are all where it
rests. Segments follow from gates, so the last solutions would show nothing new.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.circuit.changes.nearby.nearby_points import NearbyPoints
from diagnose.circuit.changes.states.gates import Gates, StatePoints, WiderHysteresis
from diagnose.circuit.solver.network import SIEMENS, Slots
from diagnose.circuit.solver.point_solver import OperatingPointSolver

# Points of a group up to which they are followed one by one at once. Measured: so many
# take no longer than some of them first.
MOST_ONE_BY_ONE = 16

# Points from which on they are followed by solving from the start. Measured: so many
# are solved so sooner than as changes of the base case, of which most gates differ.
LEAST_FROM_START = 128


@dataclass(frozen=True, slots=True)
class Paths:
    """Points near a base case, and how their gates begin and end.

    Parameters
    ----------
    point : IntArray
        Which they are, shape (n_paths,).
    begins, ends : BoolArray
        The free gates that are on, shape (n_paths, n_gates).
    """

    point: IntArray
    begins: BoolArray
    ends: BoolArray

    def take(self, some: IntArray) -> Paths:
        """Return some of the paths.

        Parameters
        ----------
        some : IntArray
            Which, shape (n_chosen,).

        Returns
        -------
        Paths
            n_chosen of them.
        """
        return Paths(self.point[some], self.begins[some], self.ends[some])

    def turning(self) -> IntArray:
        """Return the paths on which a gate has to turn.

        Returns
        -------
        IntArray
            Which, shape (n_turning,).
        """
        differs = _packed(self.begins) != _packed(self.ends)
        return np.flatnonzero(differs.any(axis=1))


class GatePaths:
    """Follows gates from where they begin.

    Parameters
    ----------
    solver : OperatingPointSolver
    nearby : NearbyPoints
        What found the points.
    gates : Gates
        Of the same network.
    """

    def __init__(
        self, solver: OperatingPointSolver, nearby: NearbyPoints, gates: Gates
    ) -> None:
        self._solver, self._gates = solver, gates
        self._single_points = nearby.single_points
        self._block_length = nearby.base_case.block_length
        self._wider = WiderHysteresis(gates, self._block_length)

    def give_up_missed(self, points: StatePoints, paths: Paths) -> None:
        """Take points that their path does not lead to off `points.is_near`.

        Parameters
        ----------
        points : StatePoints
            With their solution.
        paths : Paths
            Of some of them, those of a run in turn; on each some gate has to turn.
        """
        if not len(paths.point):
            return
        groups = self._alike(points, paths)
        misses = self._misses(points, paths.take(groups.extreme), is_for_all=True)
        doubted = groups.of_members(groups.extreme[misses.any(axis=1)])
        is_many = groups.sizes()[doubted] > MOST_ONE_BY_ONE
        many, gates = doubted[is_many], np.flatnonzero(misses.any(axis=0))
        scarce = self._scarcest(points, paths.take(many), groups.group[many], gates)
        chosen = np.union1d(many[scarce], np.intersect1d(groups.extreme, many))
        misses = self._misses(points, paths.take(chosen), is_for_all=False)
        still = groups.of_members(chosen[misses.any(axis=1)])
        doubted = np.concatenate([doubted[~is_many], still])
        misses = self._misses(points, paths.take(doubted))
        points.is_near[paths.point[doubted[misses.any(axis=1)]]] = False

    def _alike(self, points: StatePoints, paths: Paths) -> _Groups:
        """Return paths in groups that differ in the draw and the size of the change."""
        return _Groups.of(
            points.slots.branch[paths.point],
            points.draw[paths.point] // self._block_length,
            _packed(paths.begins),
            _packed(paths.ends),
            size=_sizes(points.slots, paths.point),
        )

    def _scarcest(
        self,
        points: StatePoints,
        paths: Paths,
        group: IntArray,
        gates: IntArray,
    ) -> IntArray:
        """Return the paths of each group that have least to spare, one for each gate.

        A gate that ends on needs much over its pull-in volts, one that ends off little.
        """
        ratio = self._gates.pull_in_ratio(points, paths.point)
        found = [np.arange(0)]
        for gate in gates.tolist():
            spare = np.where(paths.ends[:, gate], ratio[:, gate], -ratio[:, gate])
            order = np.lexsort((spare, group))
            found.append(order[np.diff(group[order], prepend=-1) != 0])
        return np.unique(np.concatenate(found))

    def _misses(
        self, points: StatePoints, paths: Paths, *, is_for_all: bool | None = None
    ) -> BoolArray:
        """Return which gates end elsewhere, shape (n_paths, n_gates).

        All that have to turn, where a point ends nowhere. `is_for_all` is about the
        hysteresis, see `WiderHysteresis.slots`; None: as it is.
        """
        if not len(paths.point):
            return paths.ends
        gates, draw = self._gates, points.draw[paths.point]
        slots = points.slots.take(paths.point)
        if is_for_all is not None:
            slots = self._wider.slots(draw, slots, is_for_all=is_for_all)
        begins, goal = gates.whole(paths.begins), gates.whole(paths.ends)
        is_known = np.zeros(len(draw), dtype=np.bool_)
        is_on = begins
        if len(draw) < LEAST_FROM_START:
            is_on, is_known = self._single_points.gate_ends(draw, slots, begins, goal)
        lost = np.flatnonzero(~is_known)
        if len(lost):
            start, base = None, self._solver.base
            if paths.begins[lost].any():
                start = gates.start(base, draw[lost], paths.begins[lost])
            is_on[lost], is_known[lost] = self._solver.ends(
                draw[lost], slots.take(lost), goal[lost], start=start
            )
        misses = is_on[:, gates.branches] != paths.ends
        misses[~is_known] = (paths.begins != paths.ends)[~is_known]
        return np.asarray(misses)


@dataclass(frozen=True, slots=True)
class _Groups:
    """Paths that follow each other and are alike but for the size of their change.

    `group` is the group of each; `extreme` are the paths of each group with the least
    and the largest change.
    """

    group: IntArray
    extreme: IntArray

    @staticmethod
    def of(branch: IntArray, *keys: IntArray, size: FloatArray) -> _Groups:
        """Return paths in groups within which the branches and all keys are equal."""
        differs = (branch[1:] != branch[:-1]).any(axis=1)
        for key in keys:
            apart = key[1:] != key[:-1]
            differs |= apart if apart.ndim == 1 else apart.any(axis=1)
        group = np.concatenate([[0], np.cumsum(differs)])
        order = np.lexsort((size, group))
        ends = np.flatnonzero(np.diff(group[order], prepend=-1, append=-1))
        least, largest = order[ends[:-1]], order[ends[1:] - 1]
        extreme = np.concatenate([least, largest[size[largest] > size[least]]])
        return _Groups(group, extreme)

    def sizes(self) -> IntArray:
        """Return how many paths are in the group of each."""
        return np.asarray(np.bincount(self.group)[self.group])

    def of_members(self, chosen: IntArray) -> IntArray:
        """Return all paths of the groups that chosen ones are in."""
        is_meant = np.zeros(len(self.group), dtype=np.bool_)
        is_meant[self.group[chosen]] = True
        return np.flatnonzero(is_meant[self.group])


def _packed(is_on: BoolArray) -> IntArray:
    """Return rows of a table as few numbers that differ where rows differ."""
    packed = np.packbits(is_on, axis=1)
    wide = np.zeros((len(packed), -(-packed.shape[1] // 8) * 8), dtype=np.uint8)
    wide[:, : packed.shape[1]] = packed
    return wide.view(np.int64)


def _sizes(slots: Slots, some: IntArray) -> FloatArray:
    """Return how much the first changed branch of points conducts, (n_some,). [S]."""
    if not slots.branch.shape[1]:
        return np.zeros(len(some))
    return np.asarray(slots.curves[some, 0, SIEMENS.start])
