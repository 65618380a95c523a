"""Rows of tables that are worked out when they are first asked for.

How every branch of a car acts on every node is a table that grows with the square of
the car: with five hundred wires it would take gigabytes. Few of its rows are asked for
at a time, so that as many are kept as there is room for, and those go first that were
asked for longest ago. Leaves to its owner what stands in a row; knows no circuits.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext

import numpy as np

from diagnose.arrays import FloatArray, IntArray

# How much is worked out in one go. [byte] Own choice: some of it is there several times
# meanwhile.
FILLED_BYTES = 8_000_000

# Where rows lie in some tables, and the tables.
Found = tuple[IntArray, tuple[FloatArray, ...]]

# Works out some rows of every table.
WorkOut = Callable[[IntArray], Sequence[FloatArray]]


class RowTable:
    """Some tables with the same rows, of which those asked for are there.

    Parameters
    ----------
    n_rows : int
        How many rows the tables have.
    shapes : Sequence[tuple[int, ...]]
        Shape of one row of each table.
    most_bytes : int
        How much is kept, unless more is asked for at once.
    """

    def __init__(
        self,
        n_rows: int,
        shapes: Sequence[tuple[int, ...]],
        *,
        most_bytes: int,
    ) -> None:
        self._shapes = tuple(shapes)
        row_bytes = max(1, sum(8 * int(np.prod(shape)) for shape in shapes))
        self._row_bytes = row_bytes
        self._n_rows = n_rows
        self._room = min(n_rows, max(1, most_bytes // row_bytes))
        self._at_once = max(1, FILLED_BYTES // row_bytes)
        self._slot = np.full(n_rows, -1)
        self._row: IntArray = np.full(0, -1)
        self._used: IntArray = np.zeros(0, dtype=np.int64)
        self._turn = 0
        self._tables: tuple[FloatArray, ...] = tuple(
            np.empty((0, *shape)) for shape in self._shapes
        )
        self._lock = threading.RLock()
        self._whole: Found | None = None

    @property
    def is_roomy(self) -> bool:
        """Whether there is room for all rows."""
        return self._room == self._n_rows

    def batches(self, rows: IntArray) -> Iterator[IntArray]:
        """Yield rows, as many as are filled at once.

        Parameters
        ----------
        rows : IntArray
            Shape (n_rows,).

        Yields
        ------
        IntArray
            Some of them.
        """
        for start in range(0, len(rows), self._at_once):
            yield rows[start : start + self._at_once]

    def held(self, rows: IntArray, work_out: WorkOut) -> AbstractContextManager[Found]:
        """Hold some rows while they are looked at, worked out where they are lacking.

        Parameters
        ----------
        rows : IntArray
            Their numbers, of any shape.
        work_out : Callable
            Works out lacking rows of each table: called with their numbers, shape
            (n_rows,), some megabytes at a time.

        Returns
        -------
        AbstractContextManager
            Gives where each row lies, same shape, and the tables to look there.
        """
        # read once: another thread may have them forgotten meanwhile
        whole = self._whole
        if whole is None:
            return self._filled(rows, work_out)
        return nullcontext((whole[0][rows], whole[1]))

    def fill(self, rows: IntArray, work_out: WorkOut) -> None:
        """Work out some rows where they are lacking.

        Parameters
        ----------
        rows : IntArray
            Their numbers, of any shape.
        work_out : Callable
            As for `held`.
        """
        with self.held(rows, work_out):
            pass

    @contextmanager
    def _filled(self, rows: IntArray, work_out: WorkOut) -> Iterator[Found]:
        with self._lock:
            wanted = np.unique(rows)
            missing = wanted[self._slot[wanted] < 0]
            self._turn += 1
            here = self._slot[wanted]
            self._used[here[here >= 0]] = self._turn
            if len(missing):
                self._make_room(len(missing))
            for some in self.batches(missing):
                self._put(some, work_out(some))
            yield self._slot[rows], self._tables

    def widen(self, most_bytes: int) -> Iterator[IntArray]:
        """Make room, and yield all rows where there is room for all of them.

        Parameters
        ----------
        most_bytes : int
            How much is kept from now on, if that is more than before.

        Yields
        ------
        IntArray
            All rows, some megabytes at a time; none where there is too little room.
        """
        with self._lock:
            room = min(self._n_rows, most_bytes // self._row_bytes)
            self._room = max(self._room, room)
        return self.batches(np.arange(self._n_rows if self.is_roomy else 0))

    def forget(self) -> None:
        """Give up all rows, and the memory they take."""
        with self._lock:
            self._whole = None
            self._slot = np.full(self._n_rows, -1)
            self._row, self._used = self._row[:0], self._used[:0]
            self._tables = tuple(np.empty((0, *shape)) for shape in self._shapes)

    def _put(self, rows: IntArray, values: Sequence[FloatArray]) -> None:
        """Enter rows that were not there, while they are held."""
        free = np.flatnonzero(self._row < 0)[: len(rows)]
        for table, given in zip(self._tables, values, strict=True):
            table[free] = given
        self._row[free], self._used[free], self._slot[rows] = rows, self._turn, free
        if self.is_roomy and self._slot.min() >= 0:
            self._whole = self._slot, self._tables

    def _make_room(self, n_wanted: int) -> None:
        """Have so many free places; rows asked for in this turn stay."""
        n_free = int((self._row < 0).sum())
        in_use = np.flatnonzero((self._row >= 0) & (self._used < self._turn))
        if n_free < n_wanted and len(self._row) < self._room:
            # all the room: what is not written to takes no memory
            self._grow(self._room - len(self._row))
            n_free = int((self._row < 0).sum())
        if n_free < n_wanted:
            oldest = in_use[np.argsort(self._used[in_use], kind="stable")]
            given_up = oldest[: n_wanted - n_free]
            self._slot[self._row[given_up]] = -1
            self._row[given_up] = -1
            n_free += len(given_up)
        if n_free < n_wanted:
            self._grow(n_wanted - n_free)

    def _grow(self, n_more: int) -> None:
        """Add free places."""
        n_held = len(self._row)
        n_now = n_held + n_more
        tables = []
        for table, shape in zip(self._tables, self._shapes, strict=True):
            larger = np.empty((n_now, *shape))
            larger[:n_held] = table
            tables.append(larger)
        self._tables = tuple(tables)
        self._row = np.append(self._row, np.full(n_more, -1))
        self._used = np.append(self._used, np.zeros(n_more, dtype=np.int64))
