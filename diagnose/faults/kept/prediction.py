"""Kept predictions: single faults as differences from the sound car, then free rows.

The single faults of a car are worked out once, lie on disk, and are never written over.
Behind them are rows for fault sets that a diagnosis solves; those are whole. Answers to
the same questions as `predicted.Prediction`. Leaves solving to `predictor`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import HalfArray, IntArray, StoredArray
from diagnose.faults.kept.blocks import Blocks, Numbers
from diagnose.faults.predicted import Prediction, Rows, in_single

# Volts that a fault has to move a node by to be kept. [V] Own choice: a tenth of the
# finest count of a usual meter (0.1 mV); so far at most what is told may be off.
KEPT_APART_VOLTS = 1e-5

# Amps that a fault has to move a current by to be kept. [A] Own choice: a hundredth of
# the finest count of a usual meter (10 uA); so far at most what is told may be off.
KEPT_APART_AMPS = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptNodes:
    """What fault sets show, as differences from the sound car.

    Parameters
    ----------
    volts : Blocks
        By state and node. [V]
    source_units : Blocks
        By state and node. [units of `SOURCE_UNIT_OHMS`]
    probes : Blocks
        In one group, by probe. [A or 1]
    """

    volts: Blocks
    source_units: Blocks
    probes: Blocks

    @staticmethod
    def of(base: Prediction, whole: Prediction, first_row: int) -> KeptNodes:
        """Return what fault sets show that follow each other.

        Parameters
        ----------
        base : Prediction
            The sound car in its one row.
        whole : Prediction
            The fault sets.
        first_row : int
            The number of the first of them.

        Returns
        -------
        KeptNodes
            Of these fault sets alone.
        """
        apart_volts = np.abs(whole.volts - base.volts).max(axis=2)
        apart_amps = np.abs(whole.probes - base.probes).max(axis=1)
        differs = (whole.source_units != base.source_units).any(axis=2)

        volts, units, probes = _bases(base)
        return KeptNodes(
            volts=Blocks.of(
                volts, whole.volts, apart_volts > KEPT_APART_VOLTS, first_row=first_row
            ),
            source_units=Blocks.of(
                units, whole.source_units, differs, first_row=first_row
            ),
            probes=Blocks.of(
                probes,
                whole.probes[None],
                (apart_amps > KEPT_APART_AMPS)[None],
                first_row=first_row,
            ),
        )

    @staticmethod
    def beside(base: Prediction, varying: Sequence[Numbers]) -> KeptNodes:
        """Return what `varying` gave, beside the same sound car."""
        each = zip(_bases(base), varying[::2], varying[1::2], strict=True)
        blocks = [Blocks(base=one, keys=k, values=v) for one, k, v in each]
        return KeptNodes(volts=blocks[0], source_units=blocks[1], probes=blocks[2])

    def varying(self) -> tuple[Numbers, ...]:
        """Return all but the sound car: keys and values of each kind in turn."""
        blocks = (self.volts, self.source_units, self.probes)
        return tuple(array for one in blocks for array in (one.keys, one.values))

    @staticmethod
    def joined(parts: list[KeptNodes]) -> KeptNodes:
        """Return the fault sets of all parts in turn; the list is emptied meanwhile.

        Parameters
        ----------
        parts : list[KeptNodes]
            Beside the same sound car, their rows rising; at least one.

        Returns
        -------
        KeptNodes
            Of all their fault sets.
        """
        volts = [part.volts for part in parts]
        units = [part.source_units for part in parts]
        probes = [part.probes for part in parts]
        parts.clear()
        return KeptNodes(
            volts=Blocks.joined(volts),
            source_units=Blocks.joined(units),
            probes=Blocks.joined(probes),
        )

    def arrays(self) -> dict[str, Numbers]:
        """Return all that is kept, by name."""
        return {
            **self.volts.arrays("volts"),
            **self.source_units.arrays("ohms"),
            **self.probes.arrays("probes"),
        }

    @staticmethod
    def from_arrays(arrays: Mapping[str, Numbers]) -> KeptNodes:
        """Return what `arrays` gave."""
        return KeptNodes(
            volts=Blocks.from_arrays(arrays, "volts"),
            source_units=Blocks.from_arrays(arrays, "ohms"),
            probes=Blocks.from_arrays(arrays, "probes"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPrediction:
    """What single faults would show, and behind them whatever is written there.

    Parameters
    ----------
    nodes : KeptNodes
        What is kept of the single faults.
    stored : IntArray
        Which row of `nodes` each single fault shows, shape (n_front,): faults that act
        alike are kept once.
    tail : Prediction
        The rows behind them, whole.
    is_settled : StoredArray
        Of all rows, as in `Prediction`. [1]
    """

    nodes: KeptNodes
    stored: IntArray
    tail: Prediction
    is_settled: StoredArray

    @property
    def n_rows(self) -> int:
        """Number of fault sets. [1]."""
        return len(self.stored) + self.tail.n_rows

    @property
    def n_draws(self) -> int:
        """Number of tolerance draws. [1]."""
        return self.tail.n_draws

    def front(self, rows: slice) -> KeptPrediction:
        """Return some of the single faults, without the rows behind them.

        Parameters
        ----------
        rows : slice
            Which.

        Returns
        -------
        KeptPrediction
            Of the same numbers.
        """
        return replace(
            self,
            stored=self.stored[rows],
            tail=self.tail.kept(np.arange(0)),
            is_settled=self.is_settled[:, : len(self.stored)][:, rows],
        )

    def _split(self, rows: Rows) -> tuple[IntArray, IntArray]:
        """Return the rows wanted, and which of them are behind the single faults."""
        wanted = np.arange(self.n_rows)[rows]
        return wanted, np.flatnonzero(wanted >= len(self.stored))

    def _column(
        self, blocks: Blocks, place: tuple[int, int], tail: Numbers, rows: Rows
    ) -> Numbers:
        """Return one item of some rows; `tail` is that of the rows behind."""
        wanted, behind = self._split(rows)
        n_front = len(self.stored)
        if len(behind) == len(wanted):
            return tail[wanted - n_front]
        shown = self.stored.take(wanted, mode="clip")
        result = blocks.column(*place, shown)
        result[behind] = tail[wanted[behind] - n_front]
        return result

    def volts_at(self, state: int, node: int, rows: Rows) -> StoredArray:
        """Return the volts of one node in one state, see `Prediction.volts_at`."""
        tail = self.tail.volts[state, :, :, node]
        return self._column(self.nodes.volts, (state, node), tail, rows)

    def units_at(self, state: int, node: int, rows: Rows) -> HalfArray:
        """Return the resistance that one node shows, see `Prediction.units_at`."""
        tail = self.tail.source_units[state, :, :, node]
        return self._column(self.nodes.source_units, (state, node), tail, rows)

    def probes_at(self, column: int, rows: Rows) -> StoredArray:
        """Return one probe, see `Prediction.probes_at`. [A or 1]."""
        tail = self.tail.probes[:, :, column]
        return self._column(self.nodes.probes, (0, column), tail, rows)

    def _seen(
        self,
        blocks: Blocks,
        group: int,
        tail: Numbers,
        points: tuple[IntArray, IntArray],
    ) -> Numbers:
        """Return all items of points; `points` are the row and the draw of each."""
        rows, draws = points
        n_front = len(self.stored)
        behind = np.flatnonzero(rows >= n_front)
        shown = np.where(rows < n_front, self.stored.take(rows, mode="clip"), 0)
        result = blocks.seen(group, shown, draws)
        result[:, behind] = tail[rows[behind] - n_front, draws[behind]].T
        return result

    def seen_volts(self, state: int, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return the volts of all nodes of points, see `Prediction.seen_volts`."""
        tail = self.tail.volts[state]
        return self._seen(self.nodes.volts, state, tail, (rows, draws))

    def seen_units(self, state: int, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return the resistances of points, see `Prediction.seen_units`."""
        tail = self.tail.source_units[state]
        seen = self._seen(self.nodes.source_units, state, tail, (rows, draws))
        return in_single(np.ascontiguousarray(seen))

    def seen_probes(self, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return all probes of points, see `Prediction.seen_probes`."""
        return self._seen(self.nodes.probes, 0, self.tail.probes, (rows, draws))

    def put(self, row: int, given: Prediction, given_row: int) -> None:
        """Write a fault set over a row behind the single faults.

        Parameters
        ----------
        row : int
            Written over.
        given : Prediction
            Where it is copied from.
        given_row : int
            The row there.

        Raises
        ------
        ValueError
            If it is the row of a single fault.
        """
        if row < len(self.stored):
            raise ValueError("the row of a single fault is not written over")
        self.tail.put(row - len(self.stored), given, given_row)
        self.is_settled[:, row] = given.is_settled[:, given_row]

    def kept(self, rows: IntArray) -> Prediction:
        """Return the prediction of some of the single faults, whole.

        Parameters
        ----------
        rows : IntArray
            Which, in the order wanted, shape (n_kept,).

        Returns
        -------
        Prediction
            Of n_kept sets.
        """

        def whole(blocks: Blocks) -> Numbers:
            shown = [blocks.row(row) for row in self.stored[rows].tolist()]
            # from row, group, item, draw
            return np.ascontiguousarray(np.stack(shown).transpose(1, 0, 3, 2))

        return Prediction(
            volts=whole(self.nodes.volts),
            source_units=whole(self.nodes.source_units),
            probes=whole(self.nodes.probes)[0],
            is_settled=self.is_settled[:, rows],
        )


def _bases(base: Prediction) -> tuple[Numbers, Numbers, Numbers]:
    """Return volts, resistances and probes of a sound car by group, item and draw."""
    held = base.volts[:, 0], base.source_units[:, 0], base.probes
    volts, units, probes = (
        np.ascontiguousarray(one.transpose(0, 2, 1)) for one in held
    )
    return volts, units, probes


# What a list of fault sets would show, however it is kept.
AnyPrediction = Prediction | KeptPrediction
