"""What symptoms look at, found in a prediction.

Knows where a prediction keeps it. Leaves what a symptom is to `measurement`, and knows
nothing of who asks: what is read here is handed down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import Cause, FaultSet
from diagnose.faults.predictions.kept.prediction import AnyPrediction
from diagnose.faults.predictions.predicted import SOURCE_UNIT_OHMS, Rows
from diagnose.measurement.quantities import Observed, Probe


def observed(
    sets: Sequence[FaultSet],
    prediction: AnyPrediction,
    *,
    places: tuple[Mapping[str, int], Mapping[str, int]],
    columns: Mapping[Probe, int],
    causes: Sequence[Cause],
    rows: Rows = slice(None),
) -> Observed:
    """Return what symptoms look at, shape (n_sets, n_draws) each.

    Parameters
    ----------
    sets : Sequence[FaultSet]
        What the prediction is of.
    prediction : AnyPrediction
        Of the sets, in their order, or with rows for more.
    places : tuple[Mapping[str, int], Mapping[str, int]]
        Where it holds each state and each node.
    columns : Mapping[Probe, int]
        Where it holds each probe.
    causes : Sequence[Cause]
        All causes, by the numbers in the sets.
    rows : IntArray or slice
        Which of the prediction's rows hold the sets; all when not given.

    Returns
    -------
    Observed
        Each value of shape (n_sets, n_draws).
    """
    state_index, node_index = places

    @cache
    def volts(state: str, node: str) -> FloatArray:
        place = state_index[state], node_index[node]
        return prediction.volts_at(*place, rows).astype(np.float64)

    @cache
    def ohms(state: str, node: str) -> FloatArray:
        place = state_index[state], node_index[node]
        units = prediction.units_at(*place, rows).astype(np.float64)
        return np.asarray(SOURCE_UNIT_OHMS * units)

    @cache
    def probe(wanted: Probe) -> FloatArray:
        return prediction.probes_at(columns[wanted], rows).astype(np.float64)

    def mechanical(name: str, part: str) -> FloatArray:
        worst = [
            min(
                (
                    causes[c].mode.mechanical.get(name, 1.0)
                    for c in fault_set
                    if part in ("", causes[c].part.name)
                ),
                default=1.0,
            )
            for fault_set in sets
        ]
        n_draws = prediction.n_draws
        return np.repeat(np.array(worst)[:, None], n_draws, axis=1)

    return Observed(volts=volts, probe=probe, mechanical=mechanical, ohms=ohms)
