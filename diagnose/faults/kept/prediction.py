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
from diagnose.faults.kept.volts import KeptVolts
from diagnose.faults.predicted import Prediction, Rows, in_single

# Amps that a fault has to move a current by to be kept. [A] Own choice: a hundredth of
# the finest count of a usual meter (10 uA); so far at most what is told may be off.
KEPT_APART_AMPS = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptNodes:
    """What fault sets show, as differences from the sound car.

    Parameters
    ----------
    volts : KeptVolts
        By state and node. [V]
    source_units : Blocks
        By state and node. [units of `SOURCE_UNIT_OHMS`]
    probes : Blocks
        In one group, by probe. [A or 1]
    """

    volts: KeptVolts
    source_units: Blocks
    probes: Blocks

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
            volts=KeptVolts.joined(volts),
            source_units=Blocks.joined(units),
            probes=Blocks.joined(probes),
        )

    def varying(self) -> tuple[Numbers, ...]:
        """Return all but the sound car.

        Returns
        -------
        tuple[Numbers, ...]
            Keys, then values, then what happens to the hubs.
        """
        blocks = (self.volts.blocks, self.source_units, self.probes)
        return (
            *(b.keys for b in blocks),
            *(b.values for b in blocks),
            self.volts.moved,
            self.volts.place,
        )

    def arrays(self) -> dict[str, Numbers]:
        """Return all that is kept.

        Returns
        -------
        dict[str, Numbers]
            By name.
        """
        return {
            **self.volts.arrays(),
            **self.source_units.arrays("ohms"),
            **self.probes.arrays("probes"),
        }

    @staticmethod
    def from_arrays(arrays: Mapping[str, Numbers]) -> KeptNodes:
        """Return what `arrays` gave.

        Parameters
        ----------
        arrays : Mapping[str, Numbers]
            By name.

        Returns
        -------
        KeptNodes
            As it was kept.
        """
        return KeptNodes(
            volts=KeptVolts.from_arrays(arrays),
            source_units=Blocks.from_arrays(arrays, "ohms"),
            probes=Blocks.from_arrays(arrays, "probes"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundCar:
    """What fault sets are kept beside.

    Parameters
    ----------
    volts : Numbers
        Shape (n_states, n_nodes, n_draws). [V]
    source_units : Numbers
        Same shape. [units of `SOURCE_UNIT_OHMS`]
    probes : Numbers
        Shape (1, n_probes, n_draws). [A or 1]
    hubs : IntArray
        The nodes that others follow, shape (n_hubs,).
    shares : Numbers
        By how much, see `KeptVolts`. [1]
    """

    volts: Numbers
    source_units: Numbers
    probes: Numbers
    hubs: IntArray
    shares: Numbers

    @staticmethod
    def of(sound: Prediction, hubs: IntArray, shares: Numbers) -> SoundCar:
        """Return the sound car of a prediction.

        Parameters
        ----------
        sound : Prediction
            Of one row.
        hubs : IntArray
            Shape (n_hubs,).
        shares : Numbers
            As the attribute. [1]

        Returns
        -------
        SoundCar
            By state and node.
        """
        held = sound.volts[:, 0], sound.source_units[:, 0], sound.probes
        volts, units, probes = (
            np.ascontiguousarray(one.transpose(0, 2, 1)) for one in held
        )
        return SoundCar(
            volts=volts, source_units=units, probes=probes, hubs=hubs, shares=shares
        )

    def kept(self, whole: Prediction, first_row: int) -> KeptNodes:
        """Return what fault sets show that follow each other.

        Parameters
        ----------
        whole : Prediction
            The fault sets.
        first_row : int
            The number of the first of them.

        Returns
        -------
        KeptNodes
            Of these fault sets alone.
        """
        apart_amps = np.abs(whole.probes - self.probes.swapaxes(1, 2)).max(axis=1)
        # bit by bit, as whole numbers, which takes a tenth of the time
        own = self.source_units.view(np.uint16).swapaxes(1, 2)[:, None]
        units_differ = whole.source_units.view(np.uint16) != own
        return KeptNodes(
            volts=KeptVolts.of(
                self.volts, self.shares, self.hubs, whole.volts, first_row
            ),
            source_units=Blocks.of(
                self.source_units,
                whole.source_units,
                units_differ.any(axis=2),
                first_row=first_row,
            ),
            probes=Blocks.of(
                self.probes,
                whole.probes[None],
                (apart_amps > KEPT_APART_AMPS)[None],
                first_row=first_row,
            ),
        )

    def beside(self, varying: Sequence[Numbers]) -> KeptNodes:
        """Return what `KeptNodes.varying` gave, beside this sound car.

        Parameters
        ----------
        varying : Sequence[Numbers]
            As it gave them.

        Returns
        -------
        KeptNodes
            Of the same fault sets.
        """
        bases = (self.volts, self.source_units, self.probes)
        each = zip(bases, varying[:3], varying[3:6], strict=True)
        volts, units, probes = (Blocks(base=b, keys=k, values=v) for b, k, v in each)
        return KeptNodes(
            volts=KeptVolts(
                blocks=volts, shares=self.shares, moved=varying[6], place=varying[7]
            ),
            source_units=units,
            probes=probes,
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

    def _column(
        self,
        blocks: Blocks | KeptVolts,
        place: tuple[int, int],
        tail: Numbers,
        rows: Rows,
    ) -> Numbers:
        """Return one item of some rows; `tail` is that of the rows behind."""
        n_front = len(self.stored)
        wanted = np.arange(self.n_rows)[rows] if isinstance(rows, slice) else rows
        if not len(wanted) or wanted.max() < n_front:
            return blocks.column(*place, self.stored.take(wanted))
        behind = np.flatnonzero(wanted >= n_front)
        if len(behind) == len(wanted):
            return tail.take(wanted - n_front, axis=0)
        result = blocks.column(*place, self.stored.take(wanted, mode="clip"))
        result[behind] = tail.take(wanted[behind] - n_front, axis=0)
        return result

    def volts_at(self, state: int, node: int, rows: Rows) -> StoredArray:
        """Return the volts of one node in one state.

        Parameters
        ----------
        state, node : int
            Their numbers.
        rows : Rows
            The fault sets wanted.

        Returns
        -------
        StoredArray
            Shape (n_wanted, n_draws). [V]
        """
        tail = self.tail.volts[state, :, :, node]
        return self._column(self.nodes.volts, (state, node), tail, rows)

    def units_at(self, state: int, node: int, rows: Rows) -> HalfArray:
        """Return the resistance that one node shows in one state.

        Parameters
        ----------
        state, node : int
            Their numbers.
        rows : Rows
            The fault sets wanted.

        Returns
        -------
        HalfArray
            Shape (n_wanted, n_draws). [units of `SOURCE_UNIT_OHMS`]
        """
        tail = self.tail.source_units[state, :, :, node]
        return self._column(self.nodes.source_units, (state, node), tail, rows)

    def probes_at(self, column: int, rows: Rows) -> StoredArray:
        """Return one probe.

        Parameters
        ----------
        column : int
            Of the probe.
        rows : Rows
            The fault sets wanted.

        Returns
        -------
        StoredArray
            Shape (n_wanted, n_draws). [A or 1]
        """
        tail = self.tail.probes[:, :, column]
        return self._column(self.nodes.probes, (0, column), tail, rows)

    def _seen(
        self,
        blocks: Blocks | KeptVolts,
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
        """Return the volts of all nodes of points.

        Parameters
        ----------
        state : int
            Its number.
        rows, draws : IntArray
            Fault set and draw of each point, shape (n_points,).

        Returns
        -------
        StoredArray
            Shape (n_nodes, n_points). [V]
        """
        tail = self.tail.volts[state]
        return self._seen(self.nodes.volts, state, tail, (rows, draws))

    def seen_units(self, state: int, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return the resistance that all nodes of points show, in single precision.

        Parameters
        ----------
        state : int
            Its number.
        rows, draws : IntArray
            Fault set and draw of each point, shape (n_points,).

        Returns
        -------
        StoredArray
            Shape (n_nodes, n_points). [units of `SOURCE_UNIT_OHMS`]
        """
        tail = self.tail.source_units[state]
        seen = self._seen(self.nodes.source_units, state, tail, (rows, draws))
        return in_single(np.ascontiguousarray(seen))

    def seen_probes(self, rows: IntArray, draws: IntArray) -> StoredArray:
        """Return all probes of points.

        Parameters
        ----------
        rows, draws : IntArray
            Fault set and draw of each point, shape (n_points,).

        Returns
        -------
        StoredArray
            Shape (n_probes, n_points). [A or 1]
        """
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
        """Return the prediction of some of the fault sets, whole.

        Parameters
        ----------
        rows : IntArray
            Which, in the order wanted, shape (n_kept,).

        Returns
        -------
        Prediction
            Of n_kept sets.
        """
        n_front = len(self.stored)
        behind = np.flatnonzero(rows >= n_front)
        if len(behind) == len(rows):
            return self.tail.kept(rows - n_front)
        shown = self.stored.take(rows, mode="clip")

        def whole(blocks: Blocks | KeptVolts, tail: Numbers) -> Numbers:
            held = [blocks.row(row) for row in shown.tolist()]
            # from row, group, item, draw
            found = np.ascontiguousarray(np.stack(held).transpose(1, 0, 3, 2))
            found[:, behind] = tail[:, rows[behind] - n_front]
            return found

        return Prediction(
            volts=whole(self.nodes.volts, self.tail.volts),
            source_units=whole(self.nodes.source_units, self.tail.source_units),
            probes=whole(self.nodes.probes, self.tail.probes[None])[0],
            is_settled=self.is_settled[:, rows],
        )


# What a list of fault sets would show, however it is kept.
AnyPrediction = Prediction | KeptPrediction
