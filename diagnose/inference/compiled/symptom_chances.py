"""How likely each symptom is under fault sets that are solved.

Leaves what a symptom is to `measurement.quantities`, where a prediction keeps what it
looks at to `faults.predictions.kept.observed`, and report errors to `evidence`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.arrays import FloatArray
from diagnose.faults.predictions.kept.observed import observed
from diagnose.faults.predictions.predictor import Predictor
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.quantities import Probe
from diagnose.measurement.symptom_chances import symptom_probability
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
    seen = observed(
        solved.sets,
        solved.prediction,
        places=(predictor.state_index, predictor.node_index),
        columns=columns,
        causes=predictor.causes,
    )
    known: dict[str, FloatArray] = {}
    for column, name in enumerate(names):
        solved.symptoms[:, :, column] = symptom_probability(
            symptoms[name],
            symptoms=symptoms,
            car=predictor.model.car,
            seen=seen,
            known=known,
        )
