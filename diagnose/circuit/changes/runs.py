"""Points that differ in nothing but their tolerance draw, side by side in memory.

A fault in one state is solved under many draws. What such a run of points looks up lies
in one piece when the draws come last in a table, so it is fetched in rows instead of
number by number. Tables are (row, draw of the block): the draws of a network come in
blocks of equal length, and each block has all its rows together. Knows no circuits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import IntArray

# Points worked on at once. Measured: fewer cost calls, more overflow the processor's
# cache.
POINTS_AT_ONCE = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """Runs of points, each within one block of draws.

    Parameters
    ----------
    block : IntArray
        The block of each run, shape (n_runs,).
    within : slice
        Which draws of the block they are, the same for every run.
    single : IntArray or None
        Instead, for runs of one point each, its place in the block, shape (n_runs,).
    block_length : int
        Draws in a block.
    """

    block: IntArray
    within: slice
    single: IntArray | None
    block_length: int

    @staticmethod
    def of_points(draw: IntArray, block_length: int, n_together: int) -> Runs:
        """Return points as runs.

        Parameters
        ----------
        draw : IntArray
            The draw of each point, shape (n_points,).
        block_length : int
            Draws in a block.
        n_together : int
            How many points follow each other that differ in nothing but the draw;
            those must be evenly spread over one block, for every run alike.

        Returns
        -------
        Runs
            n_points / n_together of them.

        Raises
        ------
        ValueError
            If the points of a run are not evenly spread over one block.
        """
        if n_together == 1:
            return Runs(
                block=draw // block_length,
                within=slice(0, 1),
                single=draw % block_length,
                block_length=block_length,
            )
        apart = draw.reshape(-1, n_together)
        first = int(apart[0, 0]) % block_length if len(apart) else 0
        step = int(apart[0, 1] - apart[0, 0]) if len(apart) else 1
        places = first + step * np.arange(n_together)
        block = apart[:, 0] // block_length
        is_even = apart == (block * block_length)[:, None] + places
        if not is_even.all() or places[-1] >= block_length:
            raise ValueError("the points are not in runs of draws of one block")
        within = slice(first, int(places[-1]) + 1, step)
        return Runs(block=block, within=within, single=None, block_length=block_length)

    @property
    def n_together(self) -> int:
        """Points in a run."""
        if self.single is not None:
            return 1
        return len(range(self.within.start, self.within.stop, self.within.step or 1))

    def draw(self) -> IntArray:
        """Return the draw of each point.

        Returns
        -------
        IntArray
            Shape (n_runs, n_together).
        """
        first = self.block[:, None] * self.block_length
        if self.single is not None:
            return first + self.single[:, None]
        return np.asarray(first + np.arange(self.block_length)[self.within])

    def take(self, runs: IntArray) -> Runs:
        """Return some of the runs.

        Parameters
        ----------
        runs : IntArray
            Which, shape (n_chosen,).

        Returns
        -------
        Runs
            n_chosen of them.
        """
        single = None if self.single is None else self.single[runs]
        return replace(self, block=self.block[runs], single=single)

    def look_up(self, table: npt.NDArray[Any], rows: IntArray) -> npt.NDArray[Any]:
        """Return what stands in single rows of a table for the draws of each run.

        Parameters
        ----------
        table : NDArray
            Shape (n_rows, block_length).
        rows : IntArray
            Shape (..., n_runs).

        Returns
        -------
        NDArray
            Shape (..., n_runs, n_together).
        """
        if self.single is not None:
            places = rows * self.block_length + self.single
            return table.reshape(-1).take(places)[..., None]
        return self._within(table.take(rows, axis=0))

    def look_up_groups(
        self, table: npt.NDArray[Any], groups: IntArray
    ) -> npt.NDArray[Any]:
        """Return a whole group of rows of a table for the draws of each run.

        Parameters
        ----------
        table : NDArray
            Shape (n_groups, n_rows, block_length).
        groups : IntArray
            The group of each run, shape (n_runs,).

        Returns
        -------
        NDArray
            Shape (n_runs, n_rows, n_together).
        """
        if self.single is not None:
            return table[groups, :, self.single][..., None]
        return self._within(table.take(groups, axis=0))

    def _within(self, found: npt.NDArray[Any]) -> npt.NDArray[Any]:
        if self.n_together == self.block_length:
            return found
        return found[..., self.within]


def in_blocks(array: npt.NDArray[Any], block_length: int) -> npt.NDArray[Any]:
    """Return an array with its draws cut into blocks.

    Parameters
    ----------
    array : NDArray
        Shape (..., n_draws).
    block_length : int
        Draws in a block.

    Returns
    -------
    NDArray
        Shape (n_blocks, ..., block_length).

    Examples
    --------
    >>> in_blocks(np.arange(8).reshape(2, 4), 2).tolist()
    [[[0, 1], [4, 5]], [[2, 3], [6, 7]]]
    """
    apart = array.reshape(*array.shape[:-1], -1, block_length)
    return np.ascontiguousarray(np.moveaxis(apart, -2, 0))


def in_groups(array: npt.NDArray[Any], block_length: int) -> npt.NDArray[Any]:
    """Return an array as a table to look groups of rows up in.

    Parameters
    ----------
    array : NDArray
        Shape (n_groups, n_rows, n_draws).
    block_length : int
        Draws in a block.

    Returns
    -------
    NDArray
        Shape (n_blocks n_groups, n_rows, block_length), the blocks in turn.
    """
    blocks = in_blocks(array, block_length)
    return blocks.reshape(-1, *blocks.shape[2:])
