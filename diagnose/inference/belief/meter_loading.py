"""What a meter makes of volts and ohms: its load, stray leakage, and its range.

Leaves the open-circuit volts and what stands behind them to `compiled_car`.

How well a car insulates is one draw of it, a hundredfold from worst to best. Blurred
reading by reading, two readings of one floating wire counted as two proofs for whatever
fault happens to give the same millivolts.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from diagnose.arrays import FloatArray, StoredArray
from diagnose.measurement.meters import Meter

# Where a path stops being copper and begins to be insulation. [Ω] From memory: dirt and
# damp leave anything from some hundred kohm up.
GHOST_OHMS = 1e6

# How far insulation differs from car to car, either way. [1] From memory: ten times
# either way, a hundredfold from worst to best.
LEAK_SPREAD = 10.0

# How far insulation differs from place to place on one car, as a share of what a meter
# shows there. [1] From memory: what a wire that nothing holds shows may be off by half.
LEAK_SHARE = 0.5

# Above this a meter is taken to show OL. [Ω] Rule of the trade: above a megohm there is
# only insulation, and it takes the meter and the weather whether it still shows megohms
# or OL. Both mean that no path is left.
OVER_RANGE_OHMS = 1e6


def leak_factors(level: FloatArray) -> FloatArray:
    """Return how well the cars of some draws insulate.

    Parameters
    ----------
    level : FloatArray
        Of each draw, evenly spread from 0 to 1, shape (n_draws,). [1]

    Returns
    -------
    FloatArray
        Factor on what is insulation, shape (n_draws,). [1]

    Examples
    --------
    >>> leak_factors(np.array([0.0, 0.5, 1.0]))
    array([ 0.1,  1. , 10. ])
    """
    return np.asarray(LEAK_SPREAD ** (2.0 * level - 1.0))


def drawn_lead_ohms(level: FloatArray, meter: Meter) -> FloatArray:
    """Return what the leads beside the cars of some draws add to ohms.

    Parameters
    ----------
    level : FloatArray
        Of each draw, evenly spread from 0 to 1, shape (n_draws,). [1]
    meter : Meter
        With the middle and the spread of its leads.

    Returns
    -------
    FloatArray
        Both leads together, shape (n_draws,). [Ω]
    """
    deviations = np.array([NormalDist().inv_cdf(one) for one in level])
    return np.asarray(meter.lead_ohms * np.exp(meter.lead_log_spread * deviations))


def leaky_ohms(
    source_ohms: FloatArray | StoredArray, leak_factor: FloatArray | StoredArray
) -> FloatArray:
    """Return source resistances in cars whose insulation differs.

    Parameters
    ----------
    source_ohms : FloatArray or StoredArray
        Shape (..., n_draws). [Ω]
    leak_factor : FloatArray or StoredArray
        On what is insulation and dirt, shape (n_draws,); on a path of copper it does
        not count. [1]

    Returns
    -------
    FloatArray
        Shape (..., n_draws). [Ω]

    Examples
    --------
    >>> [f"{ohms:.3g}" for ohms in leaky_ohms(np.array([1e3, 1e9]), np.array([0.1]))]
    ['999', '1.01e+08']
    """
    beyond = source_ohms / (source_ohms + GHOST_OHMS)
    return np.asarray(source_ohms * (1.0 + beyond * (leak_factor - 1.0)))


def leak_volts(
    across: FloatArray, source_ohms: FloatArray, leak_factor: FloatArray, meter: Meter
) -> FloatArray:
    """Return how far leakage from place to place may move what a meter shows.

    Parameters
    ----------
    across : FloatArray
        Open-circuit volts, shape (..., n_draws). [V]
    source_ohms : FloatArray
        Behind them, same shape. [Ω]
    leak_factor : FloatArray
        As in `leaky_ohms`. [1]
    meter : Meter
        What loads them.

    Returns
    -------
    FloatArray
        A standard deviation, shape (..., n_draws). [V]
    """
    shown = loaded_volts(across, leaky_ohms(source_ohms, leak_factor), meter)
    beyond = source_ohms / (source_ohms + GHOST_OHMS)
    return np.asarray(LEAK_SHARE * np.abs(shown) * beyond)


def over_range(ohms: FloatArray) -> FloatArray:
    """Return ohms as a meter shows them.

    Parameters
    ----------
    ohms : FloatArray
        Any shape. [Ω]

    Returns
    -------
    FloatArray
        Same shape; inf (OL) above `OVER_RANGE_OHMS`. [Ω]
    """
    return np.where(ohms > OVER_RANGE_OHMS, np.inf, ohms)


def loaded_volts(
    volts: FloatArray, source_ohms: FloatArray, meter: Meter
) -> FloatArray:
    """Return what a meter shows that loads a source with some resistance.

    Parameters
    ----------
    volts : FloatArray
        Open-circuit, any shape. [V]
    source_ohms : FloatArray
        Same shape. [Ω]
    meter : Meter
        With its input resistance.

    Returns
    -------
    FloatArray
        Same shape. [V]

    Examples
    --------
    12 V behind 10 Mohm on a 10 Mohm meter:

    >>> from diagnose.measurement.meters import Meter, MeterRange
    >>> from diagnose.measurement.probe_lamp import ProbeLamp
    >>> range_ = MeterRange(percent=0.5, counts=2, resolution=0.01)
    >>> meter = Meter(
    ...     volts=range_,
    ...     ohms=range_,
    ...     amps=range_,
    ...     ac_volts=range_,
    ...     millivolts=range_,
    ...     test_lamp=ProbeLamp(
    ...         watts=3.0,
    ...         volts=12.0,
    ...         lit_light=0.5,
    ...         dark_light=0.01,
    ...         lit_blur=0.25,
    ...         dark_blur=0.6,
    ...     ),
    ...     input_ohms=1e7,
    ...     lead_ohms=0.2,
    ...     slip_probability=0.02,
    ...     model_volts=0.03,
    ...     model_fraction=0.01,
    ... )
    >>> float(loaded_volts(np.array(12.0), np.array(1e7), meter))
    6.0
    """
    return np.asarray(volts / (1.0 + source_ohms / meter.input_ohms))
