"""How likely each symptom is under fault sets that are solved.

Knows where a prediction keeps what a symptom looks at. Leaves what a symptom is to
`measurement.quantities`, and report errors to `evidence`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import FaultSet
from diagnose.faults.kept.prediction import AnyPrediction
from diagnose.faults.predictor import Predictor
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.measurement.quantities import Probe
from diagnose.measurement.symptom_chances import Observed, symptom_probability
from diagnose.measurement.symptoms import Symptom


def fill_symptoms(
    solved: Hypotheses,
    predictor: Predictor,
    columns: Mapping[Probe, int],
    names: Sequence[str],
    symptoms: Mapping[str, Symptom],
) -> None:
    """Work out the symptoms of fault sets whose prediction is there.

    Parameters
    ----------
    solved : Hypotheses
        Its symptoms are written over, shape (n_sets, n_draws, n_symptoms). [1]
    predictor : Predictor
        That solved them.
    columns : Mapping[Probe, int]
        Where `Prediction.probes` holds each probe.
    names : Sequence[str]
        The symptoms, in the order of the last axis.
    symptoms : Mapping[str, Symptom]
        Name to what it looks at.
    """
    seen = _observed(solved.sets, solved.prediction, predictor, columns)
    known: dict[str, FloatArray] = {}
    for column, name in enumerate(names):
        solved.symptoms[:, :, column] = symptom_probability(
            symptoms[name],
            symptoms=symptoms,
            car=predictor.model.car,
            seen=seen,
            known=known,
        )


def _observed(
    sets: Sequence[FaultSet],
    prediction: AnyPrediction,
    predictor: Predictor,
    columns: Mapping[Probe, int],
) -> Observed:
    """Return what symptoms look at, shape (n_sets, n_draws) each."""
    node_index, state_index = predictor.node_index, predictor.state_index

    @cache
    def volts(state: str, node: str) -> FloatArray:
        place = state_index[state], node_index[node]
        return prediction.volts_at(*place, slice(None)).astype(np.float64)

    @cache
    def probe(wanted: Probe) -> FloatArray:
        return prediction.probes_at(columns[wanted], slice(None)).astype(np.float64)

    def mechanical(name: str) -> FloatArray:
        worst = [
            min(
                (predictor.causes[c].mode.mechanical.get(name, 1.0) for c in fault_set),
                default=1.0,
            )
            for fault_set in sets
        ]
        n_draws = prediction.n_draws
        return np.repeat(np.array(worst)[:, None], n_draws, axis=1)

    return Observed(volts=volts, probe=probe, mechanical=mechanical)
