"""Hypotheses: fault sets with all that they would show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.circuit.nodal import IntArray
from diagnose.faults.causes import FaultSet
from diagnose.faults.predicted import Prediction, StoredArray


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

    def joined(self, other: Hypotheses) -> Hypotheses:
        """Return both, in order."""
        return Hypotheses(
            sets=self.sets + other.sets,
            prediction=self.prediction.joined(other.prediction),
            symptoms=np.concatenate([self.symptoms, other.symptoms], axis=0),
        )

    def kept(self, rows: IntArray) -> Hypotheses:
        """Return some of the fault sets."""
        return Hypotheses(
            sets=tuple(self.sets[row] for row in rows.tolist()),
            prediction=self.prediction.kept(rows),
            symptoms=self.symptoms[rows],
        )
