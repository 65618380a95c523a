"""How likely a symptom is there: from the table, or worked out when somebody asks.

What the whole car does stands in the table of every solved fault set; what one part
does is asked for seldom, and a car has hundreds of such symptoms: those are worked out
from the prediction. Leaves report errors to `evidence`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.predictions.kept.observed import observed
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.symptom_chances import symptom_probability


def can_show(compiled: Compiled, name: str) -> bool:
    """Return whether a car has what a symptom looks at.

    Parameters
    ----------
    compiled : Compiled
        The car.
    name : str
        Of a symptom of the whole car, or of one of its parts.

    Returns
    -------
    bool
    """
    if name in compiled.symptom_index:
        return True
    symptom = compiled.knowledge.symptoms.get(name)
    return symptom is not None and bool(symptom.part)


def symptom_there(
    compiled: Compiled,
    hypotheses: Hypotheses,
    name: str,
    rows: IntArray | slice = slice(None),
) -> FloatArray:
    """Return how likely a symptom is really there.

    Parameters
    ----------
    compiled : Compiled
        The car.
    hypotheses : Hypotheses
        Fault sets that are solved.
    name : str
        One that `can_show` holds of. The claims of one part take nothing but the
        circuit, so the sets of rows in use need not be named.
    rows : IntArray or slice
        The fault sets wanted; all when not given.

    Returns
    -------
    FloatArray
        Shape (n_rows, n_draws). [1]
    """
    column = compiled.symptom_index.get(name)
    if column is not None:
        return np.asarray(hypotheses.symptoms[rows, :, column].astype(np.float64))
    some = np.arange(len(hypotheses.sets))[rows].tolist()
    predictor, symptoms = compiled.predictor, compiled.knowledge.symptoms
    seen = observed(
        [hypotheses.sets[row] for row in some],
        hypotheses.prediction,
        places=(predictor.state_index, predictor.node_index),
        columns=compiled.columns,
        causes=predictor.causes,
        rows=rows,
    )
    return symptom_probability(
        symptoms[name], symptoms=symptoms, car=compiled.car, seen=seen
    )
