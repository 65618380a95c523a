"""How likely a part gets hot under fault sets that are solved: the watts in it.

Leaves what can be felt, and what makes it hot, to `measurement.touch`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.quantities import Probe
from diagnose.measurement.touch import ALONG_WIRE, Touch

# Width of the limit in the logarithm of the watts. [1] Own choice: at twice the watts
# five in six feel it hot, at half one in six; hands, air and lugs differ.
BLUR = 0.43

# Watts below which the logarithm is not taken. [W] Own choice: nothing gets warm.
LEAST_WATTS = 1e-3


def hot_chance(
    hypotheses: Hypotheses,
    touch: Touch,
    compiled: Compiled,
    *,
    rows: IntArray | slice = slice(None),
) -> FloatArray:
    """Return how likely a part gets hot in some state.

    Parameters
    ----------
    hypotheses : Hypotheses
        Fault sets that are solved.
    touch : Touch
        What is felt.
    compiled : Compiled
        The car they are of.
    rows : IntArray or slice
        The fault sets wanted; all when not given.

    Returns
    -------
    FloatArray
        In the state that heats it most, shape (n_rows, n_draws); what the person
        misses or imagines is left out. [1]

    Notes
    -----
    Volts across the part times the current through it, less what the wire between its
    ends loses: the watts in its joints. A logistic curve over their logarithm.
    """
    held, predictor = hypotheses.prediction, compiled.predictor
    hottest: FloatArray | None = None
    for state, limit in touch.limit_watts.items():
        number = predictor.state_index[state]
        column = compiled.column_of(
            Probe(branch=touch.amps_of, state=state, is_current=True)
        )
        amps = np.abs(held.probes_at(column, rows).astype(np.float64))
        first, second = (predictor.node_index[node] for node in touch.ends)
        across = held.volts_at(number, first, rows).astype(np.float64)
        across -= held.volts_at(number, second, rows)
        watts = np.abs(across) * amps - ALONG_WIRE * touch.wire_ohms * amps**2
        step = np.log(np.maximum(watts, LEAST_WATTS) / limit) / BLUR
        hottest = step if hottest is None else np.maximum(hottest, step)
    assert hottest is not None, "a touch has a state"
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * hottest)))
