"""Changes of one line each, two at a time, that leave everything else in its place.

A change of one line alone sends an extra current d_a through its branch. With another
one beside it the two currents follow from what each sees of the other,

    d_a' = d_a - p_ab d_b',  d_b' = d_b - p_ba d_a',  p_ab = (g_a' - g_a) t_ab / own_a,

and the volts of every node are those of the base less two responses times two currents
(`linearised`). For each change alone let

    u_a = the most of a margin that an amp of it takes, over all segments and gates;

a pair with |d_a'| u_a + |d_b'| u_b < 1 leaves everything in its place. That is looked
at in every draw, at every stage on the way of the sound car (`compounds` says what
lines see there). Knows no faults.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from diagnose.circuit.car import FloatArray
from diagnose.circuit.linearised import Linearised
from diagnose.circuit.nodal import BoolArray, IntArray

LEAST_DETERMINANT = 1e-3
# Derived: with less, the pair has lost 3 of 16 digits, and is solved otherwise.
MOST_OF_MARGIN = 1.0 - 1e-3
# Derived: single precision leaves six digits of a sum of a few products.
NO_ROOM_VOLTS = 1e-9
# Derived: what settling takes for rounding at an edge.
N_ALONE = 3
TILE = 160
# Measured: some arrays of so many changes squared stay in the processor's cache.
SingleArray = npt.NDArray[np.float32]
ByteArray = npt.NDArray[np.uint8]


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
        What a volt more across its branch, taken out, takes of the room its line has
        there, same shape; none where the line has no end. [1/V]
    has_room : BoolArray
        Whether that is in all draws where the line holds, shape (n_lines,).
    """

    branch: IntArray
    used: IntArray
    place: IntArray
    reading: FloatArray
    extra_amps: FloatArray
    factor: FloatArray
    own_share: FloatArray
    has_room: BoolArray

    @staticmethod
    def of(
        linear: Linearised,
        block: int,
        branch: IntArray,
        *,
        siemens: FloatArray,
        amps: FloatArray,
        low: FloatArray,
        high: FloatArray,
    ) -> Lines:
        """Return changes as a solution sees them.

        Parameters
        ----------
        block : int
            Which block of draws of the solution.
        branch : IntArray
            Shape (n_lines,).
        siemens, amps : FloatArray
            Their lines, shape (n_lines, length). [S], [A]
        low, high : FloatArray
            Between which volts they hold, same shape. [V]
        """
        sides, reading = linear.block(block)
        base_siemens, base_amps, volts, ohms = sides[branch, :4].swapaxes(0, 1)
        own = 1.0 + ohms * siemens
        x = (volts - ohms * amps) / own
        room = np.maximum(np.minimum(x - low, high - x), NO_ROOM_VOLTS)
        change = siemens - base_siemens
        used, place = np.unique(branch, return_inverse=True)
        return Lines(
            branch=branch,
            used=used,
            place=place,
            reading=np.ascontiguousarray(reading[used].transpose(2, 1, 0)),
            extra_amps=change * x + (amps - base_amps),
            factor=change / own,
            own_share=1.0 / (room * own),
            has_room=(room > NO_ROOM_VOLTS).all(axis=1),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CalmLines:
    """Lines as they see each other at one stage, and what they take of its margins.

    Parameters
    ----------
    place : IntArray
        Which of the branches below each line has, shape (n_lines,).
    is_calm : BoolArray
        Lines that alone leave everything in its place, shape (n_lines,).
    extra_amps, factor, own_share : FloatArray
        As in `Lines`, shape (length, n_lines). [A], [S], [1/V]
    ohms, ohms_of_other : SingleArray
        What branches see of an amp through others, shape (length, n_used, n_used): in
        the columns those that see, in the rows. [Ω]
    rise, fall : SingleArray
        The most of a margin that an amp more takes, and an amp less, for each group of
        margins, shape (n_groups, length, n_used). [1/A]
    """

    place: IntArray
    is_calm: BoolArray
    extra_amps: FloatArray
    factor: FloatArray
    own_share: FloatArray
    ohms: SingleArray
    ohms_of_other: SingleArray
    rise: SingleArray
    fall: SingleArray

    def take(self, some: IntArray) -> CalmLines:
        """Return some of the lines."""
        return replace(
            self,
            place=self.place[some],
            is_calm=self.is_calm[some],
            extra_amps=self.extra_amps[:, some],
            factor=self.factor[:, some],
            own_share=self.own_share[:, some],
        )

    def clear(self, stays: ByteArray) -> None:
        """Take off the draws in which pairs do not stay within all margins.

        Parameters
        ----------
        stays : ByteArray
            A bit for each draw, shape (n_lines, n_lines, n_bytes); written over.
        """
        size = len(self.place)
        for first in range(0, size, TILE):
            for second in range(first, size, TILE):
                one = slice(first, first + TILE)
                other = slice(second, second + TILE)
                here = stays[one, other]
                if here.any():
                    here &= self._tile_stays(one, other)
                    stays[other, one] = here.swapaxes(0, 1)

    def _tile_stays(self, one: slice, other: slice) -> ByteArray:
        """Return in which draws some changes with others stay within all margins."""
        sides = _Side.of(self, one), _Side.of(self, other)
        n_bytes = -(-len(self.ohms) // 8)
        stays = np.zeros(
            (n_bytes, len(sides[0].place), len(sides[1].place)), dtype=np.uint8
        )
        for draw in range(len(self.ohms)):
            here = self._draw_stays(draw, *sides).view(np.uint8)
            stays[draw // 8] |= here << np.uint8(draw % 8)
        return stays.transpose(1, 2, 0)

    def _draw_stays(self, draw: int, one: _Side, other: _Side) -> BoolArray:
        """Return which pairs stay within all margins in a draw."""
        here, there = (
            ohms[draw].take(one.place, axis=0).take(other.place, axis=1)
            for ohms in (self.ohms, self.ohms_of_other)
        )
        by_other, by_one = there * one.factor[draw], here * other.factor[draw].T
        determinant = 1.0 - by_other * by_one
        stays = determinant > LEAST_DETERMINANT
        np.maximum(determinant, LEAST_DETERMINANT, out=determinant)
        np.divide(1.0, determinant, out=determinant)
        one_amps = (one.amps[draw] - by_other * other.amps[draw].T) * determinant
        other_amps = (other.amps[draw].T - by_one * one.amps[draw]) * determinant
        for group in range(len(self.rise)):
            taken = np.maximum(
                one_amps * one.rise[group, draw], one_amps * one.fall[group, draw]
            )
            taken += np.maximum(
                other_amps * other.rise[group, draw].T,
                other_amps * other.fall[group, draw].T,
            )
            stays &= taken < MOST_OF_MARGIN
        if one.has_own:
            stays &= np.abs(there * other_amps) * one.own[draw] < MOST_OF_MARGIN
        if other.has_own:
            stays &= np.abs(here * one_amps) * other.own[draw].T < MOST_OF_MARGIN
        return np.asarray(stays)


@dataclass(frozen=True, slots=True)
class _Side:
    """Some changes in single precision, as columns; shape (..., length, n_some, 1)."""

    place: IntArray
    amps: SingleArray
    factor: SingleArray
    rise: SingleArray
    fall: SingleArray
    own: SingleArray
    has_own: bool

    @staticmethod
    def of(calm: CalmLines, some: slice) -> _Side:
        place = calm.place[some]

        def columns(array: FloatArray | SingleArray) -> SingleArray:
            return np.ascontiguousarray(array[..., None], dtype=np.float32)

        return _Side(
            place,
            columns(calm.extra_amps[:, some]),
            columns(calm.factor[:, some]),
            columns(calm.rise[..., place]),
            columns(-calm.fall[..., place]),
            columns(calm.own_share[:, some]),
            bool(calm.own_share[:, some].any()),
        )


def in_groups(most: SingleArray) -> list[IntArray]:
    """Return margins in groups: those that most changes take most of, and the rest.

    Parameters
    ----------
    most : SingleArray
        Shape (n_margins, n_changes).
    """
    counts = np.bincount(most.argmax(axis=0), minlength=len(most))
    order = np.argsort(-counts, kind="stable")
    alone = [order[k : k + 1] for k in range(min(N_ALONE, len(order) - 1))]
    return [*alone, order[len(alone) :]]
