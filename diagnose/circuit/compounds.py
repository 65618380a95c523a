"""Changes of several branches, or that move others, with one line more beside them.

Such a change is settled alone, in all draws of a state: what it moves is then known,
and it is k branches on known lines. One changed line b more is a current of one
equation,

    d_b' = (d_b - f_b t_bA d_A) / (1 - f_b t_bA P),  d_A' = d_A - P d_b',
    P = D_A (I + T_AA D_A)^-1 t_Ab,  f_b = (g_b' - g_b) / own_b

(`linearised`), and every margin of the change alone loses t_b d_b' - T_A P d_b' volts.
Where it keeps some in every draw, nothing else moves and no fuse opens: the pair is
k + 1 branches on known lines. Arrays are (draw, ..., line b). Knows no faults.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.linearised import Changes
from diagnose.circuit.nearby import Nearby
from diagnose.circuit.nodal import TRIP_AMPS, BoolArray, IntArray, Slots
from diagnose.circuit.runs import Runs

LEAST_DETERMINANT = 1e-3
# Derived: with less, the pair has lost 3 of 16 digits, and is solved otherwise.
MOST_OF_MARGIN = 1.0 - 1e-3
SINGLE_ROUNDING = 1e-6
# Derived: a sum of a few products in single precision, to the largest of them; what it
# may leave wrong has to be less than the part of a margin that is kept.
LEAST_ROOM_VOLTS = 1e-9
# Derived: what settling takes for rounding at an edge.
MOST_BRANCHES = 16
# Measured: what changes more is rare.
CHUNK_CHANGES = 64
# Chosen: all lines of so many changes in all draws take some megabytes.
TILE_DRAWS = 4
# Measured: some arrays of so many draws stay in the processor's cache.
SingleArray = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Changes of one line each, as one solution sees them.

    Parameters
    ----------
    branch : IntArray
        Shape (n_lines,).
    used, place : IntArray
        The branches, each once, and which of them each line has; shape (n_used,),
        (n_lines,).
    reading : FloatArray
        What each of `used` sees of an amp into each node, taken out, shape (length,
        n_nodes, n_used). [Ω]
    extra_amps, factor : FloatArray
        What each sends through its branch alone, and the change of its slope over
        1 + R g', shape (n_lines, length). [A], [S]
    own_share : FloatArray
        What a volt that the others give takes of its own margin, same shape. [1/V]
    """

    branch: IntArray
    used: IntArray
    place: IntArray
    reading: FloatArray
    extra_amps: FloatArray
    factor: FloatArray
    own_share: FloatArray

    def take(self, some: IntArray) -> Lines:
        """Return some of the changes."""
        return replace(
            self,
            branch=self.branch[some],
            place=self.place[some],
            extra_amps=self.extra_amps[some],
            factor=self.factor[some],
            own_share=self.own_share[some],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Compound:
    """A change as it settles alone in all draws of a state.

    Parameters
    ----------
    branch : IntArray
        What is on another line, and what was changed, shape (n_branches,).
    siemens, amps : FloatArray
        The lines, shape (n_branches, length). [S], [A]
    extra_amps : FloatArray
        Same shape. [A]
    fall, rise : FloatArray
        How far each watched pair of nodes may fall and rise before something moves or a
        fuse opens, shape (n_watched, length). [V]
    """

    branch: IntArray
    siemens: FloatArray
    amps: FloatArray
    extra_amps: FloatArray
    fall: FloatArray
    rise: FloatArray

    def without_margins(self) -> Compound:
        """Return the lines alone, to be kept."""
        none = np.empty((0, self.fall.shape[1]))
        return replace(self, fall=none, rise=none)


class Compounds:
    """Changes of a state, settled alone as small changes of one solution.

    Parameters
    ----------
    nearby : Nearby
        The solution.
    block : int
        Its draws of the state.
    slots : Slots
        The changed branches of each point, all draws of a change in turn.
    has_fuses : bool
        Whether a fuse that opens counts here.

    Attributes
    ----------
    found : dict[int, Compound]
        Those that rest where every gate decides by itself, by number.
    """

    def __init__(
        self, nearby: Nearby, block: int, slots: Slots, *, has_fuses: bool
    ) -> None:
        self._nearby, self._linear, self._block = nearby, nearby.linear, block
        network, length = self._linear.network, self._linear.length
        self._draws = np.arange(block * length, (block + 1) * length)
        opens = np.isfinite(network.trip_amps[self._draws]).all(axis=0)
        self._fuses = np.flatnonzero(opens & has_fuses)
        watched = [self._linear.looks, network.control[self._fuses]]
        self._watched = np.concatenate(watched)
        self.found: dict[int, Compound] = {}
        if len(slots.branch):
            self._settle(slots)
        self._kept = self._finite_margins()

    def _finite_margins(self) -> IntArray:
        """Return which watched pairs of nodes any change leaves a margin."""
        is_kept = np.zeros(len(self._watched), dtype=np.bool_)
        for one in self.found.values():
            is_kept |= np.isfinite(np.minimum(one.fall, one.rise)).any(axis=1)
        return np.flatnonzero(is_kept)

    def _settle(self, slots: Slots) -> None:
        """Find the changes that rest, few branches on other lines."""
        length, n_all = len(self._draws), len(self._linear.network.branches)
        n_changes = len(slots.branch) // length
        draw = np.tile(self._draws, n_changes)
        is_wanted = np.ones(len(draw), dtype=np.bool_)
        near = self._nearby.find(draw, slots, n_together=length, is_wanted=is_wanted)
        is_used = np.zeros((n_changes, n_all + 1), dtype=np.bool_)
        is_used[np.arange(n_changes)[:, None], slots.branch[::length]] = True
        is_used = is_used[:, :-1]
        for points, lines in near.groups:
            rows, columns = np.nonzero(lines.branch >= 0)
            is_used[points[rows] // length, lines.branch[rows, columns]] = True
        count = is_used.sum(axis=1)
        rests = near.is_found.reshape(-1, length).all(axis=1)
        few = np.flatnonzero(rests & (count > 0) & (count <= MOST_BRANCHES))
        for first in range(0, len(few), CHUNK_CHANGES):
            some = few[first : first + CHUNK_CHANGES]
            rows = (some[:, None] * length + np.arange(length)).ravel()
            siemens, amps = self._all_lines(rows, draw, near.groups)
            order = np.argsort(~is_used[some], axis=1, kind="stable")
            is_first = np.arange(order.shape[1]) < count[some, None]
            branch = np.where(is_first, order, -1)[:, : int(count[some].max())]
            self._note(some, branch.T, siemens, amps, slots.take(rows))

    def _all_lines(
        self,
        rows: IntArray,
        draw: IntArray,
        groups: Iterable[tuple[IntArray, Changes]],
    ) -> tuple[FloatArray, FloatArray]:
        """Return the siemens and amps of all branches in some points."""
        base = self._linear.base
        siemens, amps = base.siemens[draw[rows]], base.amps[draw[rows]]
        row_of = np.full(len(draw), -1)
        row_of[rows] = np.arange(len(rows))
        for points, lines in groups:
            is_asked = (row_of[points] >= 0)[:, None] & (lines.branch >= 0)
            places, columns = np.nonzero(is_asked)
            here, branch = row_of[points[places]], lines.branch[places, columns]
            siemens[here, branch] = lines.siemens[places, columns]
            amps[here, branch] = lines.amps[places, columns]
        return siemens, amps

    def _note(
        self,
        changes: IntArray,
        branch: IntArray,
        siemens: FloatArray,
        amps: FloatArray,
        slots: Slots,
    ) -> None:
        """Note changes that leave something of every margin.

        Parameters
        ----------
        branch : IntArray
            Shape (n_branches, n_changes).
        siemens, amps : FloatArray
            Of all branches, shape (n_points, n_all_branches).
        """
        length = len(self._draws)
        draw = np.tile(self._draws, len(changes))
        shape = (len(changes), length)
        points = np.arange(len(draw)).reshape(shape)
        lines = siemens[points, branch[..., None]], amps[points, branch[..., None]]
        runs = Runs.of_points(draw, self._linear.length, length)
        x, extra_amps, is_sound = self._linear.extra_amps(
            runs, branch, siemens=lines[0], amps=lines[1]
        )
        looks = self._linear.looked_volts(runs, branch, extra_amps).transpose(1, 0, 2)
        place = self._linear.solver.place[branch]
        own, change = np.nonzero(place >= 0)
        looks[place[own, change], change] = x[own, change]
        looks = looks.reshape(len(looks), -1)
        bounds = self._nearby.margins.bounds(draw, slots, looks)
        volts = self._fuse_volts(draw, branch, extra_amps)
        fall, rise = self._fuse_room(draw, slots, volts, siemens=siemens, amps=amps)
        fall = np.concatenate([looks - bounds.low, fall])
        rise = np.concatenate([bounds.high - looks, rise])
        active = self._linear.solver.plan.active
        rests = is_sound.ravel() & (np.minimum(fall, rise) >= 0.0).all(axis=0)
        rests &= (siemens[:, active] == bounds.siemens.T).all(axis=1)
        rests &= (amps[:, active] == bounds.amps.T).all(axis=1)
        fall, rise = fall.reshape(-1, *shape), rise.reshape(-1, *shape)
        for column in np.flatnonzero(rests.reshape(shape).all(axis=1)).tolist():
            used = branch[:, column] >= 0
            self.found[int(changes[column])] = Compound(
                branch=branch[used, column],
                siemens=lines[0][used, column],
                amps=lines[1][used, column],
                extra_amps=extra_amps[used, column],
                fall=fall[:, column],
                rise=rise[:, column],
            )

    def _fuse_volts(
        self, draw: IntArray, branch: IntArray, extra_amps: FloatArray
    ) -> FloatArray:
        """Return the control volts of fuses under changes, (n_points, n_fuses)."""
        volts, response = self._linear.base.volts[draw], self._linear.response
        first, second = self._linear.network.control[self._fuses].T
        seen = volts[:, first] - volts[:, second]
        each = draw.reshape(extra_amps.shape[1:])[..., None]
        for used, current in zip(branch, extra_amps, strict=True):
            rows = np.maximum(used, 0)[:, None, None]
            falls = response[rows, each, first] - response[rows, each, second]
            falls *= current[..., None]
            seen -= falls.reshape(seen.shape)
        return np.asarray(seen)

    def _fuse_room(
        self,
        draw: IntArray,
        slots: Slots,
        volts: FloatArray,
        *,
        siemens: FloatArray,
        amps: FloatArray,
    ) -> tuple[FloatArray, FloatArray]:
        """Return how far the volts of fuses may fall and rise, (n_fuses, n_points)."""
        fuses = self._fuses
        limit = self._linear.network.trip_amps[draw[:, None], fuses]
        points, columns = np.nonzero(np.isin(slots.branch, fuses))
        own = np.searchsorted(fuses, slots.branch[points, columns])
        limit[points, own] = slots.curves[points, columns, TRIP_AMPS]
        slope = siemens[:, fuses]
        flow = slope * volts + amps[:, fuses]
        fall, rise = flow + limit, limit - flow
        for room in (fall, rise):
            is_cut = (slope == 0.0) & (room >= 0.0)
            np.divide(room, slope, out=room, where=slope > 0.0)
            room[is_cut] = np.inf
        return fall.T, rise.T

    def falls(self, branch: IntArray) -> SingleArray:
        """Return how far kept margins fall for each amp through branches.

        Shape (length, n_kept, n_some). [Ω]
        """
        one, other = self._watched[self._kept].T
        response = self._linear.response[branch[:, None], self._draws]
        falls = (response[..., one] - response[..., other]).transpose(1, 2, 0)
        return np.ascontiguousarray(falls, dtype=np.float32)

    def is_own(self, branch: IntArray) -> BoolArray:
        """Return which kept margins are those of branches, (n_kept, n_some)."""
        is_own = [self._nearby.margins.is_own(branch), self._fuses[:, None] == branch]
        return np.asarray(np.concatenate(is_own)[self._kept])

    def shares(self, compound: Compound) -> tuple[SingleArray, SingleArray]:
        """Return what a volt takes of kept margins: falling, and rising.

        Shape (length, n_kept, 1) each. [1/V]
        """
        falling, rising = (
            1.0 / np.maximum(room[self._kept].T[..., None], LEAST_ROOM_VOLTS)
            for room in (compound.fall, compound.rise)
        )
        return falling.astype(np.float32), rising.astype(np.float32)

    def output(self, branch: IntArray) -> IntArray:
        """Return the nodes between which branches drive their current."""
        return self._linear.network.output[branch]

    def view(self, compound: Compound) -> _View:
        """Return what the branches of a change see, and what they are seen by."""
        linear, branch = self._linear, compound.branch
        sides, reading = linear.block(self._block)
        base_siemens, _, _, ohms = sides[branch, :4].swapaxes(0, 1)
        seen = reading[branch]
        first, second = linear.network.output[branch].T
        matrix = (seen[:, first] - seen[:, second]).transpose(2, 0, 1)
        change = (compound.siemens - base_siemens).T
        matrix = matrix * change[:, None]
        diagonal = np.arange(len(branch))
        matrix[:, diagonal, diagonal] = (1.0 + ohms * compound.siemens).T
        return _View(
            output=linear.network.output[branch],
            reading=np.ascontiguousarray(seen.transpose(2, 0, 1)),
            factors=change[:, :, None] * np.linalg.inv(matrix),
            falls=self.falls(branch),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """What the branches of a compound change see.

    Parameters
    ----------
    output : IntArray
        Shape (n_branches, 2).
    reading : FloatArray
        Shape (length, n_branches, n_nodes). [Ω]
    factors : FloatArray
        D (I + T D)^-1, shape (length, n_branches, n_branches). [S]
    falls : SingleArray
        Volts of the kept margins per amp, shape (length, n_kept, n_branches). [Ω]
    """

    output: IntArray
    reading: FloatArray
    factors: FloatArray
    falls: SingleArray


class Beside:
    """Changes of one line each, looked at beside compound ones.

    What lines of one branch take of a margin differs by their current alone, so it is
    worked out once for each branch.

    Parameters
    ----------
    compounds : Compounds
    lines : Lines
    """

    def __init__(self, compounds: Compounds, lines: Lines) -> None:
        self._compounds, self._lines = compounds, lines
        self._output = compounds.output(lines.used)
        self._falls = compounds.falls(lines.used)
        self._own = np.nonzero(compounds.is_own(lines.used))
        # the most volts of any margin per amp: what single precision is measured by
        self._reach = np.abs(self._falls).max(axis=1, initial=0.0)
        self._amps, self._factor = lines.extra_amps.T, lines.factor.T
        self._own_share = lines.own_share.T

    def stays(self, compound: Compound) -> BoolArray:
        """Return beside which lines a change leaves everything in its place."""
        view = self._compounds.view(compound)
        here, others = self._seen(view)
        alone = compound.extra_amps.T[..., None]
        open_volts = self._each((here * alone).sum(axis=1))
        open_ohms = self._each((here * others).sum(axis=1))
        determinant = 1.0 - self._factor * open_ohms
        stays = (determinant > LEAST_DETERMINANT).all(axis=0)
        stays &= ~np.isin(self._lines.branch, compound.branch)
        np.maximum(determinant, LEAST_DETERMINANT, out=determinant)
        amps = (self._amps - self._factor * open_volts) / determinant
        with np.errstate(invalid="ignore"):
            own = np.abs(open_volts - open_ohms * amps) * self._own_share
        stays &= (own < MOST_OF_MARGIN).all(axis=0)
        rise, fall, blur = self._taken(view, compound, others.astype(np.float32))
        taken = np.maximum(amps * self._each(rise), -amps * self._each(fall))
        taken += np.abs(amps) * self._each(blur)
        return np.asarray(stays & (taken < MOST_OF_MARGIN).all(axis=0))

    def _each(self, by_branch: FloatArray | SingleArray) -> FloatArray:
        """Return for each line what is so for its branch, shape (length, n_lines)."""
        return np.asarray(by_branch.take(self._lines.place, axis=1))

    def _seen(self, view: _View) -> tuple[FloatArray, FloatArray]:
        """Return what branches see of the changed ones, and what they take of them.

        Returns
        -------
        here : FloatArray
            For each amp, shape (length, n_changed, n_used). [Ω]
        others : FloatArray
            How far the currents of the changed ones fall for an amp, same shape.
        """
        first, second = view.output.T
        here = self._lines.reading.take(first, axis=1)
        here -= self._lines.reading.take(second, axis=1)
        first, second = self._output.T
        there = view.reading.take(first, axis=2)
        there -= view.reading.take(second, axis=2)
        return here, view.factors @ there

    def _taken(
        self, view: _View, compound: Compound, others: SingleArray
    ) -> tuple[SingleArray, SingleArray, SingleArray]:
        """Return the most of a margin that an amp more takes, and an amp less.

        And how far wrong rounding may make either; shape (length, n_used) each. [1/A]
        """
        shape = (len(others), len(self._lines.used))
        rise, fall = np.empty(shape, np.float32), np.empty(shape, np.float32)
        falling, rising = self._compounds.shares(compound)
        for first in range(0, len(others), TILE_DRAWS):
            some = slice(first, first + TILE_DRAWS)
            falls = self._falls[some] - view.falls[some] @ others[some]
            falls[:, self._own[0], self._own[1]] = 0.0
            by_rise = falls * -rising[some]
            falls *= falling[some]
            rise[some] = np.maximum(falls, by_rise).max(axis=1, initial=0.0)
            fall[some] = -np.minimum(falls, by_rise).min(axis=1, initial=0.0)
        reach = np.abs(view.falls).max(axis=1, initial=0.0)
        blur = self._reach + np.einsum("dk,dku->du", reach, np.abs(others))
        blur *= SINGLE_ROUNDING * np.maximum(falling, rising).max(axis=1, initial=0.0)
        return rise, fall, blur
