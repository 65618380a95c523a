"""Hypotheses: fault sets with all that they would show.

Leaves where they lie in memory to `bank`, and solving them to `compiled_car`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from diagnose.arrays import BoolArray, IntArray, StoredArray
from diagnose.faults.causes import FaultSet, Severity
from diagnose.faults.predictions.kept.prediction import AnyPrediction
from diagnose.faults.predictions.predicted import Prediction


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypotheses:
    """Fault sets with their predictions.

    Parameters
    ----------
    sets : tuple[FaultSet, ...]
        The causes present in each.
    prediction : AnyPrediction
        What every point of the car would be at, with a row for each set.
    symptoms : StoredArray
        Chance that each symptom is really there, shape (n_sets, n_draws, n_symptoms);
        columns as in `Compiled.symptom_names`. [1]
    severities : tuple[tuple[Severity, ...], ...]
        How severe causes of each set are where they are not as drawn; empty where all
        are.
    switches : Mapping[str, BoolArray]
        Of severities of one set that go up: operating state to whether something there
        switches from each to the next (a relay lets go, a controller resets), shape
        (n_sets - 1, n_draws); empty where that was not looked at.
    opens : Mapping[str, BoolArray]
        The same of fuses that blow: nothing lies between blown and whole.
    """

    sets: tuple[FaultSet, ...]
    prediction: AnyPrediction
    symptoms: StoredArray
    severities: tuple[tuple[Severity, ...], ...] = ()
    switches: Mapping[str, BoolArray] = field(
        default_factory=lambda: MappingProxyType({})
    )
    opens: Mapping[str, BoolArray] = field(default_factory=lambda: MappingProxyType({}))

    def severe(self, row: int) -> tuple[Severity, ...]:
        """Return how severe causes of a set are; none where they are as drawn.

        Parameters
        ----------
        row : int
            Of the set.

        Returns
        -------
        tuple[Severity, ...]
        """
        return self.severities[row] if self.severities else ()

    def whole(self) -> Prediction:
        """Return the prediction with every number at hand.

        Returns
        -------
        Prediction
            Of the same fault sets.
        """
        held = self.prediction
        if isinstance(held, Prediction):
            return held
        return held.kept(np.arange(len(self.sets)))

    def some_draws(self, every: int) -> Hypotheses:
        """Return these with every so many-th draw.

        Parameters
        ----------
        every : int
            Of so many draws the first is kept. [1]

        Returns
        -------
        Hypotheses
            Views of the same numbers.
        """
        held, some = self.whole(), slice(None, None, every)
        return Hypotheses(
            sets=self.sets,
            prediction=Prediction(
                volts=held.volts[:, :, some],
                source_units=held.source_units[:, :, some],
                probes=held.probes[:, some],
                is_settled=held.is_settled[:, :, some],
            ),
            symptoms=self.symptoms[:, some],
        )

    def stretched(self, every: int) -> Hypotheses:
        """Return these with each draw repeated, for those that it stands for.

        Parameters
        ----------
        every : int
            How often each draw comes. [1]

        Returns
        -------
        Hypotheses
            With so many times the draws.
        """
        held = self.whole()
        return Hypotheses(
            sets=self.sets,
            prediction=Prediction(
                volts=held.volts.repeat(every, axis=2),
                source_units=held.source_units.repeat(every, axis=2),
                probes=held.probes.repeat(every, axis=1),
                is_settled=held.is_settled.repeat(every, axis=2),
            ),
            symptoms=self.symptoms.repeat(every, axis=1),
        )

    def kept(self, rows: IntArray) -> Hypotheses:
        """Return some of the fault sets.

        Parameters
        ----------
        rows : IntArray
            Their rows, shape (n_kept,).

        Returns
        -------
        Hypotheses
            In the order of `rows`.
        """
        return Hypotheses(
            sets=tuple(self.sets[row] for row in rows.tolist()),
            prediction=self.prediction.kept(rows),
            symptoms=self.symptoms[rows],
            severities=tuple(self.severe(row) for row in rows.tolist())
            if self.severities
            else (),
        )


def joined(parts: Sequence[Hypotheses]) -> Hypotheses:
    """Return the fault sets of several hypotheses as one.

    Parameters
    ----------
    parts : Sequence[Hypotheses]
        With the same draws; at least one.

    Returns
    -------
    Hypotheses
        One part after the other.
    """
    held = [part.whole() for part in parts]
    return Hypotheses(
        sets=tuple(fault_set for part in parts for fault_set in part.sets),
        prediction=Prediction(
            volts=np.concatenate([one.volts for one in held], axis=1),
            source_units=np.concatenate([one.source_units for one in held], axis=1),
            probes=np.concatenate([one.probes for one in held], axis=0),
            is_settled=np.concatenate([one.is_settled for one in held], axis=1),
        ),
        symptoms=np.concatenate([part.symptoms for part in parts], axis=0),
    )
