"""What a meter makes of volts and ohms: its load, stray leakage, and its range.

Leaves the open-circuit volts and what stands behind them to `compiled_car`.

How well a car insulates is one draw of it, ten thousandfold from worst to best. Blurred
reading by reading, two readings of one floating wire counted as two proofs for whatever
fault happens to give the same millivolts.

A wire that nothing holds shows what leaks to it from its live neighbours, on either
side of an open: phantom volts, which say that it floats and nothing of where it is
open.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from diagnose.arrays import FloatArray, StoredArray
from diagnose.measurement.meters import Meter

# Where a path stops being copper and begins to be insulation. [Ω] From memory: dirt and
# damp leave anything from some hundred kohm up.
GHOST_OHMS = 1e6

# Insulation of one wire in the circuit's tables. [Ω] As leak_ohms in part-kinds.yaml.
USUAL_LEAK_OHMS = 2e7

# Insulation of one wire of a wet car and of a dry one. [Ω] From memory: dirt and damp
# leave a megohm, dry plastic is beyond what any meter shows.
WET_OHMS, DRY_OHMS = 1e6, 1e10

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
    1 Mohm, 100 Mohm and 10 Gohm, where the tables have 20 Mohm:

    >>> leak_factors(np.array([0.0, 0.5, 1.0])).round(2).tolist()
    [0.05, 5.0, 500.0]
    """
    return np.asarray(WET_OHMS / USUAL_LEAK_OHMS * (DRY_OHMS / WET_OHMS) ** level)


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
    found = beyond * (leak_factor - 1.0)
    found += 1.0
    found *= source_ohms
    return np.asarray(found)


def leak_volts(
    shown: FloatArray,
    source_ohms: FloatArray,
    leak_factor: FloatArray,
    meter: Meter,
    *,
    system_volts: float,
) -> FloatArray:
    """Return how far leakage from place to place may move what a meter shows.

    Parameters
    ----------
    shown : FloatArray
        What the meter shows of volts that it loads, shape (..., n_draws). [V]
    source_ohms : FloatArray
        Behind those, same shape. [Ω]
    leak_factor : FloatArray
        As in `leaky_ohms`. [1]
    meter : Meter
        What loads them.
    system_volts : float
        What a live neighbour has. [V]

    Returns
    -------
    FloatArray
        A standard deviation, shape (..., n_draws). [V]

    Notes
    -----
    By Ohm's law a neighbour behind R drives ``system_volts input / (input + R)`` onto a
    meter. Which neighbours a wire has is not in the car file: half of that, either way,
    wherever nothing holds the wire. Half of what leaks to it as drawn comes on top.

    Examples
    --------
    A floating wire on a wet car (1 Mohm), on a usual and on a dry one:

    >>> from diagnose.measurement.meters import Meter, MeterRange
    >>> from diagnose.measurement.probe_lamp import ProbeLamp
    >>> range_ = MeterRange(percent=0.5, counts=2, resolution=0.01)
    >>> lamp = ProbeLamp(
    ...     watts=3.0,
    ...     volts=12.0,
    ...     lit_light=0.5,
    ...     dark_light=0.01,
    ...     lit_blur=0.25,
    ...     dark_blur=0.6,
    ... )
    >>> meter = Meter(
    ...     volts=range_,
    ...     ohms=range_,
    ...     amps=range_,
    ...     ac_volts=range_,
    ...     millivolts=range_,
    ...     test_lamp=lamp,
    ...     input_ohms=1e7,
    ...     lead_ohms=0.2,
    ...     slip_probability=0.02,
    ...     model_volts=0.03,
    ...     model_fraction=0.01,
    ... )
    >>> stray = leak_volts(
    ...     np.zeros(3),
    ...     np.full(3, 1e9),
    ...     np.array([0.05, 5.0, 500.0]),
    ...     meter,
    ...     system_volts=12.0,
    ... )
    >>> stray.round(2).tolist()
    [5.45, 0.54, 0.01]
    """
    neighbour = leak_factor * USUAL_LEAK_OHMS
    phantom = system_volts / (1.0 + neighbour / meter.input_ohms)
    beyond = source_ohms / (source_ohms + GHOST_OHMS)
    return np.asarray(LEAK_SHARE * np.hypot(shown, phantom) * beyond)


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
