"""Blocks: rows of numbers, of which only what differs from the sound car is kept.

A fault moves few of a car's points: a broken horn wire changes nothing in the tail
lamps, and nothing at all while the key is off. So a value is kept for a fault, a group
and an item only where it differs in some draw; the sound car stands for the others.
Knows no circuits: a group is an operating state, an item a node or a probe.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import BoolArray, IntArray

# Numbers of one kind: volts in single precision, ohms and what is kept of amps in half.
Numbers = npt.NDArray[Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Numbers by row, group, item and draw, of which most are those of the base.

    Parameters
    ----------
    base : Numbers
        What stands where nothing is kept, shape (n_groups, n_items, n_draws).
    keys : IntArray
        Where something is kept: (row n_groups + group) n_items + item, rising; shape
        (n_kept,).
    values : Numbers
        What is kept there, shape (n_kept, n_draws).
    """

    base: Numbers
    keys: IntArray
    values: Numbers

    @staticmethod
    def of(
        base: Numbers, whole: Numbers, differs: BoolArray, *, first_row: int
    ) -> Blocks:
        """Return rows that follow each other.

        Parameters
        ----------
        base : Numbers
            As the attribute.
        whole : Numbers
            Shape (n_groups, n_rows, n_draws, n_items).
        differs : BoolArray
            What is to be kept, shape (n_groups, n_rows, n_items).
        first_row : int
            The number of the first of them.

        Returns
        -------
        Blocks
            Of these rows alone.
        """
        row, group, item = np.nonzero(differs.transpose(1, 0, 2))
        n_groups, n_items = base.shape[:2]
        keys = ((row + first_row) * n_groups + group) * n_items + item
        return Blocks(base=base, keys=keys, values=whole[group, row, :, item])

    @staticmethod
    def joined(parts: list[Blocks]) -> Blocks:
        """Return the rows of all parts in turn; the list is emptied meanwhile.

        Parameters
        ----------
        parts : list[Blocks]
            With the same base, their rows rising; at least one.

        Returns
        -------
        Blocks
            Of all their rows.
        """
        base, kind = parts[0].base, parts[0].values.dtype
        sizes = [len(part.keys) for part in parts]
        keys = np.empty(sum(sizes), dtype=np.int64)
        values = np.empty((len(keys), base.shape[2]), dtype=kind)
        start = 0
        # one part after the other is let go, so that nothing large is there twice
        for size in sizes:
            part = parts.pop(0)
            keys[start : start + size] = part.keys
            values[start : start + size] = part.values
            start += size
        return Blocks(base=base, keys=keys, values=values)

    def column(
        self, group: int, item: int, rows: IntArray, usual: Numbers | None = None
    ) -> Numbers:
        """Return one item of a group in some rows.

        Parameters
        ----------
        group, item : int
            Which.
        rows : IntArray
            Shape (n_chosen,).
        usual : Numbers or None
            What stands where nothing is kept, if not the base; written over.

        Returns
        -------
        Numbers
            Shape (n_chosen, n_draws).
        """
        # thousands of times an answer, for a row or two: few calls count
        n_groups, n_items, _ = self.base.shape
        result = usual
        if result is None:
            result = self.base[group, item][None].repeat(len(rows), axis=0)
        if len(self.keys):
            wanted = rows * (n_groups * n_items) + (group * n_items + item)
            place = self.keys.searchsorted(wanted)
            hit = (self.keys.take(place, mode="clip") == wanted).nonzero()[0]
            if len(hit):
                result[hit] = self.values.take(place.take(hit), axis=0)
        return result

    def seen(
        self,
        group: int,
        rows: IntArray,
        draws: IntArray,
        usual: Numbers | None = None,
    ) -> Numbers:
        """Return all items of a group, each point in a row and a draw of its own.

        Parameters
        ----------
        group : int
            Which.
        rows, draws : IntArray
            Row and draw of each point, shape (n_points,).
        usual : Numbers or None
            What stands where nothing is kept, if not the base; written over.

        Returns
        -------
        Numbers
            Shape (n_items, n_points).
        """
        n_groups, n_items = self.base.shape[:2]
        result = usual
        if result is None:
            result = self.base[group].take(draws, axis=1)
        order = np.argsort(rows, kind="stable")
        each, first = np.unique(rows[order], return_index=True)
        ends = np.append(first[1:], len(rows))
        start = (each * n_groups + group) * n_items
        low = np.searchsorted(self.keys, start)
        high = np.searchsorted(self.keys, start + n_items)
        for number in np.flatnonzero(high > low).tolist():
            points = order[first[number] : ends[number]]
            here = slice(low[number], high[number])
            items = self.keys[here] - start[number]
            result[items[:, None], points] = self.values[here].take(
                draws[points], axis=1
            )
        return result

    def row(self, row: int, usual: Numbers | None = None) -> Numbers:
        """Return all numbers of one row.

        Parameters
        ----------
        row : int
            Which.
        usual : Numbers or None
            What stands where nothing is kept, if not the base; written over.

        Returns
        -------
        Numbers
            Shape (n_groups, n_items, n_draws).
        """
        whole = self.base.copy() if usual is None else usual
        size = whole.shape[0] * whole.shape[1]
        low, high = np.searchsorted(self.keys, [row * size, (row + 1) * size])
        flat = whole.reshape(size, whole.shape[2])
        flat[self.keys[low:high] - row * size] = self.values[low:high]
        return whole

    def whole(self, n_rows: int) -> Numbers:
        """Return all numbers of all rows.

        Parameters
        ----------
        n_rows : int
            How many rows there are. [1]

        Returns
        -------
        Numbers
            As `of` was given them, shape (n_groups, n_rows, n_draws, n_items).
        """
        n_groups, n_items = self.base.shape[:2]
        result = self.base.transpose(0, 2, 1)[:, None].repeat(n_rows, axis=1)
        row, place = np.divmod(self.keys, n_groups * n_items)
        group, item = np.divmod(place, n_items)
        result[group, row, :, item] = self.values
        return result

    @staticmethod
    def beside_first(whole: Numbers) -> Blocks:
        """Return rows of which only what differs from the first is kept.

        Parameters
        ----------
        whole : Numbers
            Shape (n_groups, n_rows, n_draws, n_items).

        Returns
        -------
        Blocks
            Its `whole` is the same number by number.
        """
        first = whole[:, 0]
        differs = (whole != first[:, None]).any(axis=2)
        base = np.ascontiguousarray(first.transpose(0, 2, 1))
        return Blocks.of(base, whole, differs, first_row=0)

    def arrays(self, name: str) -> dict[str, Numbers]:
        """Return all that is kept.

        Parameters
        ----------
        name : str
            What the names of the arrays begin with.

        Returns
        -------
        dict[str, Numbers]
            By name.
        """
        return {f"{name}-{f.name}": getattr(self, f.name) for f in fields(self)}

    @staticmethod
    def from_arrays(arrays: Mapping[str, Numbers], name: str) -> Blocks:
        """Return what `arrays` gave under a name.

        Parameters
        ----------
        arrays : Mapping[str, Numbers]
            By name.
        name : str
            What their names begin with.

        Returns
        -------
        Blocks
            As it was kept.
        """
        # plain views: arrays on disk are slow to index
        held = {f.name: np.asarray(arrays[f"{name}-{f.name}"]) for f in fields(Blocks)}
        return Blocks(**held)
