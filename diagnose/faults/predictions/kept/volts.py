"""Kept volts: what a fault does to the hubs of a car, and what does not follow from it.

A fault that draws or saves a few amps moves the battery by millivolts, and with it
every point of the car. But far from the fault that follows from what it does to the
hubs, the points where most branches meet: with those held, the rest of the car is as it
was. So the hubs are kept for every fault, and another node only where it is not what
the hubs make of it: beside the fault, and where something switches. Leaves solving to
`predictor`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.predictions.kept.blocks import Blocks, Numbers

# Volts that a node may be off what the hubs make of it and not be kept. [V] Own choice:
# a tenth of the finest count of a usual meter (0.1 mV).
KEPT_APART_VOLTS = 1e-5

# How many hubs a car has at most. [1] Own choice: battery, body, engine, and the
# junctions and panels of a car with many circuits.
MOST_HUBS = 12

# Beyond this a share is rounding and counts as none. [1] Derived: with all hubs but one
# at nought, a network of resistors lies between nought and that one.
MOST_SHARE = 1.5


def hubs_of(output: IntArray, n_nodes: int) -> IntArray:
    """Return the nodes where most branches meet, the reference left out.

    Parameters
    ----------
    output : IntArray
        The nodes of each branch, shape (n_branches, 2).
    n_nodes : int
        Number of nodes. [1]

    Returns
    -------
    IntArray
        Shape (n_hubs,).
    """
    count = np.bincount(output.ravel(), minlength=n_nodes)
    count[0] = 0
    order = np.argsort(-count, kind="stable")
    return np.sort(order[: min(MOST_HUBS, n_nodes - 1)])


def hub_shares(response: FloatArray, hubs: IntArray) -> FloatArray:
    """Return by how much nodes follow the hubs.

    Parameters
    ----------
    response : FloatArray
        Volts of each node per amp into each hub, shape (n_nodes, n_hubs, n_points). [Ω]
    hubs : IntArray
        Shape (n_hubs,).

    Returns
    -------
    FloatArray
        Volts of a node per volt of a hub, the other hubs held; shape (n_points,
        n_nodes, n_hubs). [1]
    """
    by_point = response.transpose(2, 0, 1)
    own = by_point[:, hubs]
    # of one size, whether a hub hangs on milliohms or on its insulation
    size = np.sqrt(np.abs(np.diagonal(own, axis1=1, axis2=2)))
    size = np.maximum(size, np.finfo(np.float64).tiny)
    scaled = own / size[:, :, None] / size[:, None, :]
    inverse = np.linalg.pinv(scaled, rcond=1e-12)
    shares = (by_point / size[:, None]) @ inverse / size[:, None]
    shares[~(np.abs(shares) <= MOST_SHARE)] = 0.0
    return np.asarray(shares)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptVolts:
    """Volts of fault sets by operating state and node.

    Parameters
    ----------
    blocks : Blocks
        Those that are not what the hubs make of them. [V]
    shares : Numbers
        By how much nodes follow hubs, shape (n_states, n_draws, n_nodes, n_hubs). [1]
    moved : Numbers
        By how much fault sets move the hubs in a state, where they move any, shape
        (n_moved, n_draws, n_hubs). [V]
    place : IntArray
        Where among those each fault set is in each state, -1 where it moves none, shape
        (n_rows, n_states).
    """

    blocks: Blocks
    shares: Numbers
    moved: Numbers
    place: IntArray

    @staticmethod
    def of(
        base: Numbers, shares: Numbers, hubs: IntArray, whole: Numbers, first_row: int
    ) -> KeptVolts:
        """Return fault sets that follow each other.

        Parameters
        ----------
        base : Numbers
            The sound car, shape (n_states, n_nodes, n_draws). [V]
        shares : Numbers
            As the attribute.
        hubs : IntArray
            Shape (n_hubs,).
        whole : Numbers
            The fault sets, shape (n_states, n_rows, n_draws, n_nodes). [V]
        first_row : int
            The number of the first of them.

        Returns
        -------
        KeptVolts
            Of these fault sets alone.
        """
        by_draw = base.transpose(0, 2, 1)
        apart = whole[..., hubs] - by_draw[:, None][..., hubs]
        differs = np.empty((*whole.shape[:2], whole.shape[3]), dtype=np.bool_)
        for state, of_state in enumerate(whole):
            # by draw, row and node
            made = np.matmul(
                apart[state].transpose(1, 0, 2), shares[state].swapaxes(1, 2)
            )
            made += by_draw[state][:, None]
            made -= of_state.transpose(1, 0, 2)
            np.abs(made, out=made)
            differs[state] = made.max(axis=0) > KEPT_APART_VOLTS
        by_row = apart.transpose(1, 0, 2, 3)
        moves = by_row.any(axis=(2, 3))
        place = np.full(moves.shape, -1)
        place[moves] = np.arange(np.count_nonzero(moves))
        return KeptVolts(
            blocks=Blocks.of(base, whole, differs, first_row=first_row),
            shares=shares,
            moved=np.ascontiguousarray(by_row[moves]),
            place=place,
        )

    @staticmethod
    def joined(parts: list[KeptVolts]) -> KeptVolts:
        """Return the rows of all parts in turn; the list is emptied meanwhile.

        Parameters
        ----------
        parts : list[KeptVolts]
            Beside the same sound car, their rows rising; at least one.

        Returns
        -------
        KeptVolts
            Of all their rows.
        """
        shares, moved = parts[0].shares, np.concatenate([one.moved for one in parts])
        starts = np.cumsum([0, *(len(one.moved) for one in parts[:-1])])
        place = np.concatenate(
            [
                np.where(one.place >= 0, one.place + start, -1)
                for one, start in zip(parts, starts, strict=True)
            ]
        )
        blocks = [one.blocks for one in parts]
        parts.clear()
        return KeptVolts(
            blocks=Blocks.joined(blocks), shares=shares, moved=moved, place=place
        )

    def column(self, state: int, node: int, rows: IntArray) -> Numbers:
        """Return one node in one state.

        Parameters
        ----------
        state, node : int
            Which.
        rows : IntArray
            Shape (n_chosen,).

        Returns
        -------
        Numbers
            Shape (n_chosen, n_draws). [V]
        """
        usual = self.blocks.base[state, node][None].repeat(len(rows), axis=0)
        place = self.place[rows, state]
        moves = np.flatnonzero(place >= 0)
        if len(moves):
            shares, moved = self.shares[state, :, node], self.moved[place[moves]]
            usual[moves] += np.einsum("rdh,dh->rd", moved, shares)
        return self.blocks.column(state, node, rows, usual)

    def seen(self, state: int, rows: IntArray, draws: IntArray) -> Numbers:
        """Return all nodes in one state, each point in a row and a draw of its own.

        Parameters
        ----------
        state : int
            Which.
        rows, draws : IntArray
            Row and draw of each point, shape (n_points,).

        Returns
        -------
        Numbers
            Shape (n_nodes, n_points). [V]
        """
        place = self.place[rows, state]
        moves = place >= 0
        moved = np.zeros((len(rows), self.moved.shape[2]), dtype=self.moved.dtype)
        moved[moves] = self.moved[place[moves], draws[moves]]
        # the points of one draw beside each other, and back in the order asked for
        order = np.argsort(draws, kind="stable")
        by_draw = np.empty((self.shares.shape[2], len(draws)), dtype=self.shares.dtype)
        start, ends = 0, np.cumsum(np.bincount(draws))
        for draw in np.unique(draws).tolist():
            of_draw = slice(start, int(ends[draw]))
            by_draw[:, of_draw] = self.shares[state, draw] @ moved[order[of_draw]].T
            start = of_draw.stop
        back = np.empty_like(order)
        back[order] = np.arange(len(order))
        usual = by_draw.take(back, axis=1)
        usual += self.blocks.base[state].take(draws, axis=1)
        return self.blocks.seen(state, rows, draws, usual)

    def row(self, row: int) -> Numbers:
        """Return all nodes in all states.

        Parameters
        ----------
        row : int
            Which fault set.

        Returns
        -------
        Numbers
            Shape (n_states, n_nodes, n_draws). [V]
        """
        usual, place = self.blocks.base.copy(), self.place[row]
        moves = place >= 0
        moved = self.moved[place[moves]][..., None]
        follows = np.matmul(self.shares[moves], moved)[..., 0]
        usual[moves] += follows.transpose(0, 2, 1)
        return self.blocks.row(row, usual)

    def arrays(self) -> dict[str, Numbers]:
        """Return all that is kept.

        Returns
        -------
        dict[str, Numbers]
            By name.
        """
        held = {
            "volts-shares": self.shares,
            "volts-moved": self.moved,
            "volts-place": self.place,
        }
        return {**self.blocks.arrays("volts"), **held}

    @staticmethod
    def from_arrays(arrays: Mapping[str, Numbers]) -> KeptVolts:
        """Return what `arrays` gave.

        Parameters
        ----------
        arrays : Mapping[str, Numbers]
            By name.

        Returns
        -------
        KeptVolts
            As it was kept.
        """
        return KeptVolts(
            blocks=Blocks.from_arrays(arrays, "volts"),
            shares=np.asarray(arrays["volts-shares"]),
            moved=np.asarray(arrays["volts-moved"]),
            place=np.asarray(arrays["volts-place"]),
        )
