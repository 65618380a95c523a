"""Hypotheses: fault sets with all that they would show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import IntArray, StoredArray
from diagnose.faults.causes import FaultSet
from diagnose.faults.predicted import (
    Prediction,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypotheses:
    """Fault sets with their predictions.

    Parameters
    ----------
    sets : tuple[FaultSet, ...]
    prediction : Prediction
    symptoms : StoredArray
        Chance that each symptom is really there, shape (n_sets, n_draws, n_symptoms),
        float32; columns as in `Compiled.symptom_names`.
    """

    sets: tuple[FaultSet, ...]
    prediction: Prediction
    symptoms: StoredArray

    def some_draws(self, every: int) -> Hypotheses:
        """Return every so many-th draw."""
        held, some = self.prediction, slice(None, None, every)
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
        """Return each draw so many times, for those that it stands for."""
        held = self.prediction
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
        """Return some of the fault sets."""
        return Hypotheses(
            sets=tuple(self.sets[row] for row in rows.tolist()),
            prediction=self.prediction.kept(rows),
            symptoms=self.symptoms[rows],
        )


def joined(parts: Sequence[Hypotheses]) -> Hypotheses:
    """Return the fault sets of all parts, in order."""
    held = [part.prediction for part in parts]
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
