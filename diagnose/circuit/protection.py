"""Fuses, links and breakers: how long they carry a current before they open.

Knows the shape of a time-current curve. What opens is what opens first by its curve, if
the state lasts that long: a 15 A blade fuse and a 60 A bolted one behind it carry the
same short circuit, and cranking for ten seconds is no night with the key off. A breaker
that resets itself is open only where it is overloaded.

Leaves the points of the curves to knowledge/, and what opens in a car under a fault to
`faults`.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import FloatArray

# Kinds of part that open by their own current.
PROTECTIVE_KINDS = ("fuse", "slow-fuse", "fusible-link", "breaker")

# Currents, of the rating, at which fuse standards say how long a fuse holds: ISO 8820-3
# and SAE J1284 (from memory). [%]
PERCENTS = (110, 135, 200, 350, 600)

# Names of the values with the time to open at each of these currents.
OPENING_PARAMETERS = tuple(f"at_{percent}_percent_seconds" for percent in PERCENTS)

# The same currents as logarithms of multiples of the rating (derived). [1]
_LOG_MULTIPLES = np.log(np.array(PERCENTS) / 100.0)


def opening_multiple(seconds: float, opening_seconds: FloatArray) -> FloatArray:
    """Return the least current that opens a part within a time.

    Parameters
    ----------
    seconds : float
        How long the current flows. [s]
    opening_seconds : FloatArray
        Time to open at each of `PERCENTS`, falling along the last axis, shape
        (n_draws, 5). [s]

    Returns
    -------
    FloatArray
        Shape (n_draws,), as a multiple of the rating. [1]

    Notes
    -----
    Straight between the points on log-log paper, as the curves are printed. Below 110 %
    nothing opens; above 600 % the time falls with the square of the current, as it does
    where no heat gets away.
    """
    points = np.log(opening_seconds)
    goal = np.log(seconds)
    log_multiple = np.full(len(points), _LOG_MULTIPLES[0])
    for k in range(len(PERCENTS) - 1):
        share = (points[:, k] - goal) / (points[:, k] - points[:, k + 1])
        rise = np.clip(share, 0.0, 1.0) * (_LOG_MULTIPLES[k + 1] - _LOG_MULTIPLES[k])
        log_multiple += rise
    log_multiple += 0.5 * np.maximum(points[:, -1] - goal, 0.0)
    return np.asarray(np.exp(log_multiple))


def opening_a2s(rating_amps: FloatArray, opening_seconds: FloatArray) -> FloatArray:
    """Return the square of a large current times the seconds it takes to open a part.

    The part with the least of it opens first when several carry one short circuit.

    Parameters
    ----------
    rating_amps : FloatArray
        What the part is rated at, shape (n_draws,). [A]
    opening_seconds : FloatArray
        As for `opening_multiple`. [s]

    Returns
    -------
    FloatArray
        Shape (n_draws,). [A² s]
    """
    amps = rating_amps * PERCENTS[-1] / 100.0
    return np.asarray(amps**2 * opening_seconds[:, -1])
