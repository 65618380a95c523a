"""What the two currents on the label of an alternator say of it."""

from __future__ import annotations

import math

import numpy as np

from diagnose.arrays import FloatArray

# Alternator speed at which the rated output is stated: ISO 8854 (read in a secondary
# copy). [1/min]
RATED_RPM = 6000.0


# Alternator speed of the first current of a label such as 28/70: ISO 8854 (from
# memory). [1/min]
LABEL_LOW_RPM = 1500.0


# Speed constants [1/min] between which the one of a label is looked for; at the low end
# the output is full at once, at the high end it rises in a straight line (own choice).
SPEED_CONSTANTS_RPM = (10.0, 1e6)


# Halvings of that span; so many leave no digit of a float undecided (derived).
N_HALVINGS = 60


def alternator_limit_amps(
    *,
    rated_amps: FloatArray,
    alternator_rpm: FloatArray,
    cut_in_rpm: FloatArray,
    speed_constant_rpm: FloatArray,
) -> FloatArray:
    """Return the most an alternator can deliver at a speed.

    Parameters
    ----------
    rated_amps : FloatArray
        Output at 6000 alternator rpm. [A]
    alternator_rpm : FloatArray
        Speed of the alternator, not of the engine; all arrays of one shape. [1/min]
    cut_in_rpm : FloatArray
        Speed at which it begins to charge. [1/min]
    speed_constant_rpm : FloatArray
        How many rpm more take it to 63 % of what it can ever give. [1/min]

    Returns
    -------
    FloatArray
        Output limit, same shape; `rated_amps` at 6000 rpm. [A]

    Notes
    -----
    rated * (1 - exp(-(n - n0)/k)) / (1 - exp(-(6000 - n0)/k)); with n0 = 850 and
    k = 950 it is 38 % of the rating at 1300, between the third (hot) and the half
    (cold) that service practice quotes for idle.

    Examples
    --------
    >>> limit = alternator_limit_amps(
    ...     rated_amps=np.array([50.0]),
    ...     alternator_rpm=np.array([1300.0]),
    ...     cut_in_rpm=np.array([850.0]),
    ...     speed_constant_rpm=np.array([950.0]),
    ... )
    >>> round(float(limit[0]), 1)
    18.9
    """

    def rise(rpm: FloatArray) -> FloatArray:
        above = np.maximum(rpm - cut_in_rpm, 0.0)
        return np.asarray(-np.expm1(-above / speed_constant_rpm))

    top = rise(np.full_like(rated_amps, RATED_RPM))
    return np.asarray(rated_amps * rise(alternator_rpm) / top)


def speed_constant_rpm(*, share: float, cut_in_rpm: float) -> float:
    """Return the speed constant of an alternator from the two currents on its label.

    Parameters
    ----------
    share : float
        Current at 1500 alternator rpm over the one at 6000 rpm, as in 28/70. [1]
    cut_in_rpm : float
        Speed at which it begins to charge, below 1500. [1/min]

    Returns
    -------
    float
        For `alternator_limit_amps`. [1/min]

    Raises
    ------
    ValueError
        If no constant gives such a share: it must lie between that of a straight line
        and 1.

    Examples
    --------
    >>> round(speed_constant_rpm(share=0.4, cut_in_rpm=1000.0))
    987
    """
    low, high = SPEED_CONSTANTS_RPM

    def share_at(constant_rpm: float) -> float:
        limit = alternator_limit_amps(
            rated_amps=np.ones(1),
            alternator_rpm=np.array([LABEL_LOW_RPM]),
            cut_in_rpm=np.array([cut_in_rpm]),
            speed_constant_rpm=np.array([constant_rpm]),
        )
        return float(limit[0])

    if not share_at(high) < share < share_at(low):
        raise ValueError(
            f"a share of {share:.2f} at {LABEL_LOW_RPM:.0f} rpm can't be; it lies "
            f"between {share_at(high):.2f} and 1"
        )
    for _ in range(N_HALVINGS):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if share_at(middle) > share else (low, middle)
    return low
