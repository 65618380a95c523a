"""What fault sets show, kept for a while: it is asked for again and again."""

from __future__ import annotations

from typing import Generic, TypeVar

import numpy as np

from diagnose.arrays import FloatArray, IntArray, StoredArray
from diagnose.faults.predictions.kept.prediction import AnyPrediction
from diagnose.faults.predictions.predicted import in_single
from diagnose.measurement.readings import Reading

KeyT = TypeVar("KeyT")


ShownT = TypeVar("ShownT")


class Latest(Generic[KeyT, ShownT]):
    """What was asked for last.

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


class KeptShown:
    """What some fault sets show, kept while it is asked for again and again.

    Most readings have a lead on a post, and a slipped lead lands there as well.

    Parameters
    ----------
    n_readings, n_leads : int
        Of how many readings, and of how many nodes under a lead. [1]
    wider : KeptShown or None
        What is kept of all the rows that these are some of.

    Attributes
    ----------
    across : Latest
        Open-circuit volts between the leads and what stands behind them, by reading.
    shown : Latest
        What the meter makes of those.
    """

    def __init__(
        self, n_readings: int, n_leads: int, wider: KeptShown | None = None
    ) -> None:
        self._wider = wider
        self.across: Latest[Reading, tuple[FloatArray, FloatArray]] = Latest(n_readings)
        self.shown: Latest[Reading, FloatArray] = Latest(n_readings)
        self._leads: Latest[tuple[int, int], tuple[StoredArray, StoredArray]] = Latest(
            n_leads
        )

    def under(
        self, held: AnyPrediction, place: tuple[int, int], rows: IntArray | slice
    ) -> tuple[StoredArray, StoredArray]:
        """Return what is under a lead.

        Parameters
        ----------
        held : AnyPrediction
            What the fault sets show.
        place : tuple[int, int]
            Numbers of the state and the node.
        rows : IntArray or slice
            The fault sets, always the same.

        Returns
        -------
        tuple[StoredArray, StoredArray]
            Volts, and the resistance behind them in source units, in single precision,
            which is quicker to reckon with; shape (n_rows, n_draws) each, not to be
            written to.
        """
        found = self._leads.get(place)
        if found is not None:
            return found
        known = None if self._wider is None else self._wider.kept_under(place)
        if known is not None:
            found = known[0][rows], known[1][rows]
        else:
            units = in_single(np.ascontiguousarray(held.units_at(*place, rows)))
            found = held.volts_at(*place, rows), units
        self._leads.put(place, found)
        return found

    def kept_under(
        self, place: tuple[int, int]
    ) -> tuple[StoredArray, StoredArray] | None:
        """Return what is under a lead, None where that is not kept.

        Parameters
        ----------
        place : tuple[int, int]
            Numbers of the state and the node.

        Returns
        -------
        tuple[StoredArray, StoredArray] or None
            As `under`.
        """
        return self._leads.get(place)
