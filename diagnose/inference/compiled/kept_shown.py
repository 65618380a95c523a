"""What single causes show, kept for a while: it is asked for again and again."""

from __future__ import annotations

from typing import Generic, TypeVar

import numpy as np

from diagnose.arrays import IntArray, StoredArray
from diagnose.faults.predictions.kept.prediction import AnyPrediction
from diagnose.faults.predictions.predicted import in_single

KeyT = TypeVar("KeyT")


ShownT = TypeVar("ShownT")


# Of how many nodes is kept what single causes put under a lead there. [1] Derived: the
# posts in every state, where a slipped lead lands, and the latest ones; .4 MB each.
KEPT_LEADS = 64


class Latest(Generic[KeyT, ShownT]):
    """What was asked for last of what single causes show.

    Parameters
    ----------
    n_most : int
        How many answers are kept; the one asked for longest ago is dropped first.
    """

    def __init__(self, n_most: int) -> None:
        self._n_most = n_most
        self._kept: dict[KeyT, ShownT] = {}

    def get(self, key: KeyT) -> ShownT | None:
        """Return what is kept under a key, None when nothing is.

        Parameters
        ----------
        key : KeyT
            What is asked for.

        Returns
        -------
        ShownT or None
            Not to be written to.
        """
        found = self._kept.pop(key, None)
        if found is not None:
            self._kept[key] = found
        return found

    def put(self, key: KeyT, shown: ShownT) -> None:
        """Keep an answer.

        Parameters
        ----------
        key : KeyT
            What was asked for.
        shown : ShownT
            The answer.
        """
        while len(self._kept) >= self._n_most:
            del self._kept[next(iter(self._kept))]
        self._kept[key] = shown


class Leads:
    """What fault sets put under a lead; that of the single causes is kept for a while.

    Most readings have a lead on a post, and a slipped lead lands there as well.
    """

    def __init__(self) -> None:
        self._kept: Latest[tuple[int, int], tuple[StoredArray, StoredArray]] = Latest(
            KEPT_LEADS
        )

    def under(
        self,
        held: AnyPrediction,
        place: tuple[int, int],
        rows: IntArray | slice,
        *,
        is_kept: bool,
    ) -> tuple[StoredArray, StoredArray]:
        """Return what is under a lead.

        Parameters
        ----------
        held : AnyPrediction
            What fault sets show.
        place : tuple[int, int]
            Numbers of the state and the node.
        rows : IntArray or slice
            The fault sets wanted.
        is_kept : bool
            Whether these are the single causes, all of them.

        Returns
        -------
        tuple[StoredArray, StoredArray]
            Volts, and the resistance behind them in source units, in single precision,
            which is quicker to reckon with; shape (n_wanted, n_draws) each, not to be
            written to.
        """
        if is_kept and (known := self._kept.get(place)) is not None:
            return known
        units = in_single(np.ascontiguousarray(held.units_at(*place, rows)))
        found = held.volts_at(*place, rows), units
        if is_kept:
            self._kept.put(place, found)
        return found
