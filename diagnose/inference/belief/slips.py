"""Slips: readings taken at the wrong point, in the wrong state or written down wrong.

Knows what a slip shows, and what readings that agree say of it. Leaves the fit of a
right reading to `evidence`.

Decisions that bind it:

- Readings of one point that agree are one observation. Each may have been a slip, but
  the car strays once: two that agree rule a slip out and prove no more than that.
- After a slip volts are most likely those of a grounded or a fed point. Spread evenly
  over 15 V, a slip to 0 V counted as proof of an open circuit, four hundred times surer
  than it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.belief.reading_spread import SQRT_TWO_PI


@dataclass(frozen=True, slots=True, kw_only=True)
class Slips:
    """How often a reading is a slip, and how often it was taken.

    Parameters
    ----------
    probability : float
        Of a slip, each time the reading is taken. [1]
    times : int
        How often it was taken, each time with about the same value. [1]
    again : float
        Density of a value at which a right reading is when it is taken again. [1 over
        the reading's unit]
    """

    probability: float
    times: int = 1
    again: float = 1.0

    def mixed(self, fit: FloatArray, slipped: FloatArray | float) -> FloatArray:
        """Return the likelihood of a reading, slips included.

        Parameters
        ----------
        fit : FloatArray
            Likelihood of the value where none of the readings was a slip. [1 over the
            reading's unit, or 1]
        slipped : FloatArray or float
            Density of the value after a slip, same shape and unit.

        Returns
        -------
        FloatArray
            Same shape and unit as `fit`; of all the times that it was taken.

        Notes
        -----
        Every reading may be a slip by itself, but what makes a car stray from its file
        makes all its right readings stray alike: with m of n readings right, the fit
        counts once and each further right one only as a repetition a,

            L = (s d)^n + f / a (((1 - s) a + s d)^n - (s d)^n).

        Examples
        --------
        By hand, .98 x .01 + .02 x .1; and of two readings that agree both are slips,
        (.02 x .1)^2, one is, 2 x .98 x .02 x .1 x .01, or none, .98^2 x 5 x .01:

        >>> round(float(Slips(probability=0.02).mixed(np.array(0.01), 0.1)), 6)
        0.0118
        >>> twice = Slips(probability=0.02, times=2, again=5.0)
        >>> round(float(twice.mixed(np.array(0.01), 0.1)), 7)
        0.0480632
        """
        right, wrong = 1.0 - self.probability, self.probability * slipped
        if self.times == 1:
            return np.asarray(right * fit + wrong)
        all_wrong = wrong**self.times
        any_right = (right * self.again + wrong) ** self.times - all_wrong
        return np.asarray(all_wrong + fit / self.again * any_right)


def slip_density(
    value: float,
    levels: Sequence[FloatArray],
    shares: Sequence[float],
    *,
    deviation: float,
    span: float,
) -> FloatArray:
    """Return the density of volts read at some other test point.

    Most points of a car are near one of a few levels, so that a slip mostly shows one.

    Parameters
    ----------
    value : float
        What was read. [V]
    levels : Sequence[FloatArray]
        Volts of each level, shape (n_sets, n_draws) each. [V]
    shares : Sequence[float]
        How many of the points are near each level; what is left lies anywhere. [1]
    deviation : float
        Standard deviation of the points around their level. [V]
    span : float
        How wide anywhere is. [V]

    Returns
    -------
    FloatArray
        Shape (n_sets, n_draws). [1/V]

    Examples
    --------
    Half of the points at 0 V, none elsewhere: 0.5 x 0.399 / 0.1 V + 0.5 / 15 V.

    >>> found = slip_density(0.0, [np.zeros((1, 1))], [0.5], deviation=0.1, span=15.0)
    >>> round(float(found[0, 0]), 3)
    2.028
    """
    result = np.full(levels[0].shape, (1.0 - sum(shares)) / span)
    for level, share in zip(levels, shares, strict=True):
        z = (value - level) / deviation
        result += share * np.exp(-0.5 * z * z) / (deviation * SQRT_TWO_PI)
    return result
