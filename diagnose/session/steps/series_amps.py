"""Whether a meter in series bears what the suspects draw.

A drain is read in series where there is no clamp, but a short behind the same fuse
drives hundreds of amps through the meter. Leaves to `wording` how it is done.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import BoolArray
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.measurement.meters import SERIES_AMPS
from diagnose.measurement.points.where_to_measure import is_at_rest
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.steps.candidates import Candidates, Costs
from diagnose.session.steps.moment import Moment

# Least probability of a cause that counts. [1] Own choice: one in a hundred.
LEAST_BELIEVED = 0.01

# Most of a cause's weight that may lie on severities that draw too much. [1] Own
# choice: one in a thousand, less than any single draw of a severity weighs.
MOST_OVERLOADED = 0.001


def bears_series(conclusion: Conclusion, reading: Reading, compiled: Compiled) -> bool:
    """Return whether a meter in series would bear what is believed.

    Parameters
    ----------
    conclusion : Conclusion
        What is believed now.
    reading : Reading
        What is read.
    compiled : Compiled
        The car's predictions.

    Returns
    -------
    bool
        True for amps with the key off where every believed cause, and what is believed
        as a whole, draws less than `meters.SERIES_AMPS`.
    """
    if reading.kind is not ReadingKind.AMPS:
        return False
    if not is_at_rest(compiled.car.state(reading.state)):
        return False
    weights = conclusion.beliefs.weights
    rows = np.flatnonzero(weights.any(axis=1))
    amps = np.abs(
        compiled.readings.predicted(
            conclusion.hypotheses, reading, rows=conclusion.shown_by[rows]
        )
    )
    # what is not a number compares as false, and is not borne
    over = np.where(amps < SERIES_AMPS, 0.0, weights[rows]).sum(axis=1)
    if float(over.sum()) >= LEAST_BELIEVED:
        return False
    chance, overloaded = (np.zeros(len(compiled.causes)) for _ in range(2))
    mass = weights[rows].sum(axis=1)
    for place, row in enumerate(rows.tolist()):
        causes = list(conclusion.beliefs.sets[row])
        chance[causes] += mass[place]
        overloaded[causes] += over[place]
    believed = chance >= LEAST_BELIEVED
    return bool((overloaded <= MOST_OVERLOADED * chance)[believed].all())


def takeable(
    candidates: Candidates, costs: Costs, moment: Moment, compiled: Compiled
) -> BoolArray:
    """Return which readings of one kind this owner can take now.

    Parameters
    ----------
    candidates : Candidates
    costs : Costs
        What they cost him.
    moment : Moment
    compiled : Compiled

    Returns
    -------
    BoolArray
        Shape (n_readings,); those in series only while the meter bears what is
        believed.
    """
    if candidates.kind is not ReadingKind.AMPS:
        return costs.can_take.copy()
    is_borne = [
        not moment.prices.needs_series(reading)
        or bears_series(moment.conclusion, reading, compiled)
        for reading in candidates.readings
    ]
    return np.logical_and(costs.can_take, is_borne)
