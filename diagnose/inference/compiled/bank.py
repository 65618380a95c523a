"""The bank: predictions of all fault sets of a car in one block of memory.

Singles lie in front, rows for pairs and for redrawn sets behind, so that nothing large
is copied while a diagnosis runs. A row's content depends on its fault set alone, except
for the redrawn rows, which are written anew for each set of facts. Leaves which sets
are wanted to `session.evidence`.

Causes that come and go have no rows: what they show while they are there is that of the
lasting cause they act as, so that 120 of them cost neither memory nor solving.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from diagnose.arrays import IntArray, StoredArray
from diagnose.faults.causes import FaultSet
from diagnose.faults.predictions.kept.prediction import AnyPrediction, KeptPrediction
from diagnose.faults.predictions.kept.sound_car import KeptNodes
from diagnose.faults.predictions.predicted import Prediction
from diagnose.inference.compiled.hypotheses import Hypotheses

# How many rows there are for fault sets solved in a diagnosis. [1] Own choice: a set
# that nobody wants any more gives its row away, so those of a few answers are enough.
PAIR_ROWS = 160

# How many rows there are for fault sets with severities that suit the facts. [1] Own
# choice: the leading ones, and what repairs leave of them.
REDRAWN_ROWS = 28


# The row of the bank that shows the sound car.
SOUND_ROW: IntArray = np.array([0])


class Bank:
    """Rows of hypotheses.

    Parameters
    ----------
    singles : Sequence[FaultSet]
        The healthy car first, then every single cause.
    prediction : AnyPrediction
        With `n_rows(len(singles))` rows; those behind the singles are free.
    symptoms : StoredArray
        Chance of each symptom, with as many rows. [1]

    Attributes
    ----------
    all : Hypotheses
        Every row; those not in use hold no fault set that counts.
    singles : Hypotheses
        The front rows.
    n_singles : int
        How many rows those are. [1]
    first_redrawn : int
        The first of the rows for redrawn sets, behind those for pairs.
    pair_rows : dict[FaultSet, int]
        Where each pair that is kept lies.
    versions : IntArray
        How often each row was written since the start, shape (n_rows,).
    written_for : object
        What the rows behind the singles were last written for; None in between.
    """

    def __init__(
        self,
        singles: Sequence[FaultSet],
        prediction: AnyPrediction,
        symptoms: StoredArray,
    ) -> None:
        self.n_singles = len(singles)
        self.pair_rows: dict[FaultSet, int] = {}
        self.written_for: object = None
        self.first_redrawn = self.n_singles + PAIR_ROWS
        free = n_rows(self.n_singles) - self.n_singles
        self.versions: IntArray = np.zeros(n_rows(self.n_singles), dtype=np.int64)
        self.all = Hypotheses(
            sets=(*singles, *[()] * free), prediction=prediction, symptoms=symptoms
        )
        self.singles = self._part(slice(self.n_singles))

    @staticmethod
    def of_kept(
        singles: Sequence[FaultSet],
        nodes: KeptNodes,
        stored: IntArray,
        *,
        is_settled: StoredArray,
        symptoms: StoredArray,
    ) -> Bank:
        """Return a bank of single causes that are kept as differences.

        Parameters
        ----------
        singles : Sequence[FaultSet]
            The healthy car first, then every single cause.
        nodes : KeptNodes
            What they show.
        stored : IntArray
            The row of `nodes` for each of them, shape (n_singles,).
        is_settled : StoredArray
            As in `Prediction`, of these. [1]
        symptoms : StoredArray
            As in `Hypotheses`, of these. [1]

        Returns
        -------
        Bank
            Its other rows are free.
        """
        n_states, n_nodes, n_draws = nodes.source_units.base.shape
        n_free = n_rows(len(singles)) - len(singles)
        n_probes = nodes.probes.base.shape[1]
        tail = Prediction(
            volts=np.zeros((n_states, n_free, n_draws, n_nodes), np.float32),
            source_units=np.zeros((n_states, n_free, n_draws, n_nodes), np.float16),
            probes=np.zeros((n_free, n_draws, n_probes), np.float32),
            is_settled=np.zeros((n_states, n_free, n_draws), np.float32),
        )
        prediction = KeptPrediction(
            nodes=nodes,
            stored=stored,
            tail=tail,
            is_settled=_with_free_rows(is_settled, 1, len(singles)),
        )
        return Bank(singles, prediction, _with_free_rows(symptoms, 0, len(singles)))

    @staticmethod
    def holding(solved: Hypotheses) -> Bank:
        """Return a bank with a copy of hypotheses in its front rows.

        Parameters
        ----------
        solved : Hypotheses
            The healthy car first, then every single cause.

        Returns
        -------
        Bank
            Its other rows are free.
        """
        n_singles = len(solved.sets)
        held = solved.prediction.kept(np.arange(n_singles))
        prediction = Prediction(
            volts=_with_free_rows(held.volts, 1, n_singles),
            source_units=_with_free_rows(held.source_units, 1, n_singles),
            probes=_with_free_rows(held.probes, 0, n_singles),
            is_settled=_with_free_rows(held.is_settled, 1, n_singles),
        )
        symptoms = _with_free_rows(solved.symptoms, 0, n_singles)
        return Bank(solved.sets, prediction, symptoms)

    def _part(self, rows: slice) -> Hypotheses:
        held = self.all.prediction
        return Hypotheses(
            sets=self.all.sets[rows],
            prediction=held.front(rows),
            symptoms=self.all.symptoms[rows],
        )

    def missing(self, pairs: Sequence[FaultSet]) -> list[FaultSet]:
        """Return the pairs that have no row yet.

        Parameters
        ----------
        pairs : Sequence[FaultSet]
            Those that are wanted.

        Returns
        -------
        list[FaultSet]
            In the same order.
        """
        return [pair for pair in pairs if pair not in self.pair_rows]

    def forget_pairs(self) -> None:
        """Give every pair's row away, as at the start.

        Sums over rows run in their order, so that which pairs were solved before shows
        in the last digit.
        """
        self.pair_rows.clear()
        self.written_for = None

    def keep_pairs(self, fresh: Hypotheses, wanted: Sequence[FaultSet]) -> None:
        """Put newly solved pairs into rows, over pairs that nobody wants now.

        Parameters
        ----------
        fresh : Hypotheses
            The pairs with what they show.
        wanted : Sequence[FaultSet]
            Pairs that must keep their rows.

        Raises
        ------
        ValueError
            If more pairs are wanted than there are rows.
        """
        spare = [pair for pair in self.pair_rows if pair not in set(wanted)]
        free = iter(
            set(range(self.n_singles, self.first_redrawn))
            - set(self.pair_rows.values())
        )
        for source, pair in enumerate(fresh.sets):
            row = next(free, None)
            if row is None:
                if not spare:
                    raise ValueError("more pairs wanted than the bank has rows")
                row = self.pair_rows.pop(spare.pop(0))
            self.pair_rows[pair] = row
            self.put(row, fresh, source)

    def put(self, row: int, source: Hypotheses, source_row: int) -> None:
        """Copy one row of other hypotheses into a row.

        Parameters
        ----------
        row : int
            Written over.
        source : Hypotheses
            Where it is copied from.
        source_row : int
            The row there.
        """
        given = source.prediction.kept(np.array([source_row]))
        self.all.prediction.put(row, given, 0)
        self.all.symptoms[row] = source.symptoms[source_row]
        self.versions[row] += 1


def n_rows(n_singles: int) -> int:
    """Return how many rows a bank has.

    Parameters
    ----------
    n_singles : int
        The healthy car and every single cause. [1]

    Returns
    -------
    int
        With those for pairs and redrawn sets. [1]
    """
    return n_singles + PAIR_ROWS + REDRAWN_ROWS


def _with_free_rows(
    array: npt.NDArray[Any], axis: int, n_singles: int
) -> npt.NDArray[Any]:
    shape = list(array.shape)
    shape[axis] = n_rows(n_singles)
    result = np.zeros(shape, dtype=array.dtype)
    np.moveaxis(result, axis, 0)[:n_singles] = np.moveaxis(array, axis, 0)
    return result
