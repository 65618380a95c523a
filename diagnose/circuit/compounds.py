"""Changes that are more than one calm line, with one line more beside them.

Such a change is followed alone, stage by stage from where the state before left its
gates: in each stage it is k branches on known lines. One changed line b more is a
current of one equation,

    d_b' = (d_b - f_b t_bA d_A) / (1 - f_b t_bA P),  d_A' = d_A - P d_b',
    P = D_A (I + T_AA D_A)^-1 t_Ab,  f_b = (g_b' - g_b) / own_b

(`linearised`), and every margin of the stage loses t_b d_b' - T_A P d_b' volts. Where
it keeps some in every stage, segments and gates go as they do without b: the pair is
k + 1 branches on known lines. Two lines beside a stage, that of the sound car, see each
other less what its branches take (`calm_lines`). Arrays are (draw, ..., line b). Knows
no faults.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from diagnose.circuit.calm_lines import (
    MOST_OF_MARGIN,
    CalmLines,
    Lines,
    SingleArray,
    in_groups,
)
from diagnose.circuit.car import FloatArray
from diagnose.circuit.margins import Limits
from diagnose.circuit.nearby import Nearby
from diagnose.circuit.nodal import BoolArray, IntArray, Slots
from diagnose.circuit.operating_point import fixed_siemens
from diagnose.circuit.runs import Runs
from diagnose.circuit.settling import Stage, Stages

LEAST_SIGHT = 1e-9
# Derived: with so little left of what a line sees alone, its amps are wrong by a ten
# millionth; of a margin a thousandth is kept.
SINGLE_ROUNDING = 1e-6
# Derived: a sum of a few products in single precision, to the largest of them; what it
# may leave wrong has to be less than the part of a margin that is kept.
LEAST_ROOM_VOLTS = 1e-9
# Derived: what settling takes for rounding at an edge.
MOST_BRANCHES = 16
# Measured: what changes more is rare.
CHUNK_CHANGES = 64
# Chosen: all lines of so many changes in all draws take some megabytes.
TILE_DRAWS = 16
# Measured: some arrays of so many draws stay in the processor's cache.


@dataclass(frozen=True, slots=True, kw_only=True)
class Compound:
    """A change as it rests in all draws of a state, or a stage on its way there.

    Parameters
    ----------
    branch : IntArray
        What is on another line, and what was changed, shape (n_branches,).
    siemens, amps : FloatArray
        The lines, shape (n_branches, length). [S], [A]
    extra_amps : FloatArray
        Same shape. [A]
    is_known : BoolArray
        The draws in which it is known, shape (length,).
    stage : Stage
        Segments and gates, shape (n_active, length) each.
    fall, rise : FloatArray
        How far each watched pair of nodes may fall and rise before a segment or a gate
        moves otherwise, shape (n_watched, length). [V]
    """

    branch: IntArray
    siemens: FloatArray
    amps: FloatArray
    extra_amps: FloatArray
    is_known: BoolArray
    stage: Stage
    fall: FloatArray
    rise: FloatArray

    def without_margins(self) -> Compound:
        """Return the lines alone, to be kept."""
        none = np.empty((0, self.fall.shape[1]))
        return replace(self, fall=none, rise=none)


@dataclass(frozen=True, slots=True)
class _Lines:
    """The lines of points in a stage, and within what volts they go as they do.

    `siemens` and `amps` are those of all branches, shape (n_points, n_branches).
    """

    siemens: FloatArray
    amps: FloatArray
    limits: Limits
    stage: Stage

    def take(self, points: IntArray) -> _Lines:
        """Return those of some points."""
        return _Lines(
            self.siemens[points],
            self.amps[points],
            self.limits.take(points),
            self.stage.take(points),
        )


class Compounds:
    """Changes of a state, as small changes of one solution.

    Parameters
    ----------
    nearby : Nearby
        The solution.
    block : int
        Its draws of the state.

    Attributes
    ----------
    found : dict[int, tuple[Compound, ...]]
        Changes by number: the stages on their way, and last where they rest.
    """

    def __init__(self, nearby: Nearby, block: int) -> None:
        self._nearby, self._linear, self._block = nearby, nearby.linear, block
        length = self._linear.length
        self._draws = np.arange(block * length, (block + 1) * length)
        self.found: dict[int, tuple[Compound, ...]] = {}
        self._lost: set[int] = set()
        self._kept = np.arange(0)

    def follow(
        self, numbers: IntArray, slots: Slots, stages: Stages, is_known: BoolArray
    ) -> None:
        """Note changes that go in stages from where the state before left the gates.

        Parameters
        ----------
        numbers : IntArray
            Shape (n_changes,).
        slots : Slots
            The changed branches of each point, all draws of a change in turn.
        stages : Stages
            Those of each point.
        is_known : BoolArray
            Points whose stages are all there, shape (n_points,).
        """
        base, active = self._linear.base, self._linear.solver.plan.active
        draw = np.tile(self._draws, len(numbers))
        fixed = base.siemens[draw]
        row, column = np.nonzero(slots.branch >= 0)
        own_siemens = fixed_siemens(slots.curves[row, column])
        fixed[row, slots.branch[row, column]] = own_siemens
        for number in range(len(stages)):
            stage = stages[number]
            limits = self._nearby.margins.stage_limits(draw, slots, stage)
            siemens, amps = fixed.copy(), np.zeros_like(fixed)
            siemens[:, active], amps[:, active] = limits.siemens.T, limits.amps.T
            self._note(
                numbers,
                slots.branch[:: len(self._draws)],
                _Lines(siemens, amps, limits, stage),
                is_known.reshape(-1, len(self._draws)),
            )

    def seal(self) -> None:
        """Leave out changes of too many branches, and what none leaves a margin."""
        for number in self._lost & self.found.keys():
            del self.found[number]
        is_kept = np.zeros(len(self._linear.looks), dtype=np.bool_)
        for stages in self.found.values():
            for one in stages:
                is_kept |= np.isfinite(np.minimum(one.fall, one.rise)).any(axis=1)
        self._kept = np.flatnonzero(is_kept)

    def _note(
        self, numbers: IntArray, changed: IntArray, lines: _Lines, is_known: BoolArray
    ) -> None:
        """Note a stage of changes, few branches on other lines than the base has.

        Parameters
        ----------
        changed : IntArray
            The changed branches, shape (n_changes, n_slots); -1 for none.
        lines : _Lines
            All draws of a change in turn.
        is_known : BoolArray
            Shape (n_changes, length).
        """
        length, base = len(self._draws), self._linear.base
        every, n_branches = np.arange(len(numbers)), lines.siemens.shape[1]
        shape = (len(numbers), length, n_branches)
        differs = lines.siemens.reshape(shape) != base.siemens[self._draws]
        differs |= lines.amps.reshape(shape) != base.amps[self._draws]
        differs &= is_known[..., None]
        is_used = np.zeros((len(numbers), n_branches + 1), dtype=np.bool_)
        is_used[:, :-1] = differs.any(axis=1)
        is_used[every[:, None], changed] = True
        is_used = is_used[:, :-1]
        count = is_used.sum(axis=1)
        is_few = is_known.any(axis=1) & (count <= MOST_BRANCHES)
        self._lost.update(numbers[~is_few].tolist())
        few = every[is_few]
        for first in range(0, len(few), CHUNK_CHANGES):
            some = few[first : first + CHUNK_CHANGES]
            rows = (some[:, None] * length + np.arange(length)).ravel()
            order = np.argsort(~is_used[some], axis=1, kind="stable")
            is_first = np.arange(order.shape[1]) < count[some, None]
            branch = np.where(is_first, order, -1)[:, : int(count[some].max())]
            found = self._compounds(branch.T, lines.take(rows), is_known[some])
            for number, one in zip(numbers[some].tolist(), found, strict=True):
                self.found[number] = (*self.found.get(number, ()), one)

    def _compounds(
        self, branch: IntArray, lines: _Lines, is_known: BoolArray
    ) -> Iterator[Compound]:
        """Yield changes with what they leave of every margin.

        Parameters
        ----------
        branch : IntArray
            What is on another line, shape (n_branches, n_changes).
        """
        shape = is_known.shape
        draw = np.tile(self._draws, len(is_known))
        points = np.arange(len(draw)).reshape(shape)
        siemens = lines.siemens[points, branch[..., None]]
        amps = lines.amps[points, branch[..., None]]
        runs = Runs.of_points(draw, self._linear.length, len(self._draws))
        x, extra_amps, loss = self._linear.extra_amps(
            runs, branch, siemens=siemens, amps=amps
        )
        looks = self._linear.looked_volts(runs, branch, extra_amps).transpose(1, 0, 2)
        place = self._linear.solver.place[branch]
        own, change = np.nonzero(place >= 0)
        looks[place[own, change], change] = x[own, change]
        looks = looks.reshape(len(looks), -1)
        low, high = self._nearby.margins.signed(lines.limits, looks)
        fall, rise = looks - low, high - looks
        rests = (loss.ravel() < 1.0) & (np.minimum(fall, rise) >= 0.0).all(axis=0)
        rests = rests.reshape(shape) & is_known
        fall, rise = fall.reshape(-1, *shape), rise.reshape(-1, *shape)
        for column in range(len(is_known)):
            used = branch[:, column] >= 0
            yield Compound(
                branch=branch[used, column],
                siemens=siemens[used, column],
                amps=amps[used, column],
                extra_amps=extra_amps[used, column],
                is_known=rests[column],
                stage=lines.stage.take(points[column]),
                fall=fall[:, column],
                rise=rise[:, column],
            )

    def falls(self, branch: IntArray) -> SingleArray:
        """Return how far kept margins fall for each amp through branches.

        Shape (length, n_kept, n_some). [Ω]
        """
        one, other = self._linear.looks[self._kept].T
        response = self._linear.response[branch[:, None], self._draws]
        falls = (response[..., one] - response[..., other]).transpose(1, 2, 0)
        return np.ascontiguousarray(falls, dtype=np.float32)

    def is_own(self, branch: IntArray) -> BoolArray:
        """Return which kept margins are those of branches, (n_kept, n_some)."""
        return self._nearby.margins.is_own(branch)[self._kept]

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
        matrix[~compound.is_known] = np.eye(len(branch))
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """What lines see beside a compound change.

    Parameters
    ----------
    view : _View
    here : FloatArray
        What branches see of the changed ones, shape (length, n_changed, n_used). [Ω]
    others : FloatArray
        How far the currents of the changed ones fall for an amp, same shape.
    is_sound : BoolArray
        Lines for which digits suffice, shape (length, n_lines).
    extra_amps, factor : FloatArray
        As in `Lines`, beside the change, same shape. [A], [S]
    shift_volts : FloatArray
        How far what a line sees, taken out, lies from what it sees alone. [V]
    """

    view: _View
    here: FloatArray
    others: FloatArray
    is_sound: BoolArray
    extra_amps: FloatArray
    factor: FloatArray
    shift_volts: FloatArray


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
        self._has_own = bool(lines.own_share.any())

    def stays(self, compound: Compound) -> BoolArray:
        """Return beside which lines a change leaves everything in its place.

        Shape (length, n_lines).
        """
        seen = self._look(compound)
        shape = (len(seen.extra_amps), len(self._lines.used))
        rise, fall = np.empty(shape, np.float32), np.empty(shape, np.float32)
        for some, more, less in self._taken(seen, compound):
            rise[some] = more.max(axis=1, initial=0.0)
            fall[some] = less.max(axis=1, initial=0.0)
        blur = self._blur(seen, compound)
        return self._stays(seen, rise + blur, fall + blur)

    def _stays(self, seen: _Seen, rise: SingleArray, fall: SingleArray) -> BoolArray:
        """Return lines that stay, by the most of a margin that an amp takes."""
        amps = seen.extra_amps
        taken = np.maximum(amps * self._each(rise), -amps * self._each(fall))
        stays = seen.is_sound & (taken < MOST_OF_MARGIN)
        if self._has_own:
            stays &= seen.shift_volts * self._own_share < MOST_OF_MARGIN
        return np.asarray(stays)

    def among(self, compound: Compound) -> CalmLines:
        """Return lines as they see each other beside a change."""
        seen = self._look(compound)
        shape = (len(seen.extra_amps), self._falls.shape[1] + 1, len(self._lines.used))
        # the last margin is that of nothing, where there is no other
        each = np.zeros((2, *shape), np.float32)
        for some, more, less in self._taken(seen, compound):
            each[0, some, :-1], each[1, some, :-1] = more, less
        each += self._blur(seen, compound)[:, None]
        groups = in_groups(each.max(axis=(0, 1)))
        rise, fall = (
            np.stack([taken[:, group].max(axis=1) for group in groups])
            for taken in each
        )
        stays = self._stays(seen, rise.max(axis=0), fall.max(axis=0))
        first, second = self._output.T
        ohms = self._lines.reading[:, first] - self._lines.reading[:, second]
        ohms -= seen.others.swapaxes(1, 2) @ seen.here
        single = ohms.astype(np.float32)
        taken = np.minimum(seen.shift_volts * self._own_share, MOST_OF_MARGIN)
        return CalmLines(
            place=self._lines.place,
            is_calm=np.asarray(stays.all(axis=0) & self._lines.has_room),
            extra_amps=seen.extra_amps,
            factor=seen.factor,
            own_share=self._own_share / (1.0 - taken),
            ohms=single,
            ohms_of_other=np.ascontiguousarray(single.swapaxes(1, 2)),
            rise=rise,
            fall=fall,
        )

    def _look(self, compound: Compound) -> _Seen:
        """Return what lines see beside a change."""
        view = self._compounds.view(compound)
        here, others = self._sights(view)
        alone = compound.extra_amps.T[..., None]
        open_volts = self._each((here * alone).sum(axis=1))
        open_ohms = self._each((here * others).sum(axis=1))
        determinant = 1.0 - self._factor * open_ohms
        is_sound = determinant > LEAST_SIGHT
        is_sound &= ~np.isin(self._lines.branch, compound.branch)
        is_sound &= compound.is_known[:, None]
        np.maximum(determinant, LEAST_SIGHT, out=determinant)
        amps = (self._amps - self._factor * open_volts) / determinant
        return _Seen(
            view=view,
            here=here,
            others=others,
            is_sound=is_sound,
            extra_amps=amps,
            factor=self._factor / determinant,
            shift_volts=np.abs(open_volts - open_ohms * amps),
        )

    def _each(self, by_branch: FloatArray | SingleArray) -> FloatArray:
        """Return for each line what is so for its branch, shape (length, n_lines)."""
        return np.asarray(by_branch.take(self._lines.place, axis=1))

    def _sights(self, view: _View) -> tuple[FloatArray, FloatArray]:
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
        self, seen: _Seen, compound: Compound
    ) -> Iterator[tuple[slice, SingleArray, SingleArray]]:
        """Yield what of each margin an amp more takes, and an amp less, if anything.

        For some of the draws in turn; shape (n_some, n_kept, n_used) each. [1/A]
        """
        others = seen.others.astype(np.float32)
        falling, rising = self._compounds.shares(compound)
        for first in range(0, len(others), TILE_DRAWS):
            some = slice(first, first + TILE_DRAWS)
            falls = self._falls[some] - seen.view.falls[some] @ others[some]
            falls[:, self._own[0], self._own[1]] = 0.0
            by_rise = falls * -rising[some]
            falls *= falling[some]
            less = np.minimum(falls, by_rise)
            yield some, np.maximum(falls, by_rise, out=falls), np.negative(less, less)

    def _blur(self, seen: _Seen, compound: Compound) -> SingleArray:
        """Return how far wrong rounding may make that, (length, n_used). [1/A]."""
        others = np.abs(seen.others.astype(np.float32))
        falling, rising = self._compounds.shares(compound)
        reach = np.abs(seen.view.falls).max(axis=1, initial=0.0)
        blur = self._reach + np.einsum("dk,dku->du", reach, others)
        blur *= SINGLE_ROUNDING * np.maximum(falling, rising).max(axis=1, initial=0.0)
        return np.asarray(blur)
