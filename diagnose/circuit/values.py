"""Values of parts: how much, how sure, and who says so.

A value that is not known exactly is a distribution, in the unit of its parameter.
Leaves which parts have which values to `car`, drawing from them to `tolerance_draws`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from statistics import NormalDist

import numpy as np

from diagnose.arrays import FloatArray

# Inverse of the standard normal distribution, of the standard library: importing
# scipy.special would take a quarter of a second (measured).
_normal_quantile = np.vectorize(NormalDist().inv_cdf, otypes=[np.float64])


class Shape(Enum):
    """Which family a `Distribution` is of, and what its two numbers mean."""

    FIXED = "fixed"  # first: the value
    LOGNORMAL = "lognormal"  # first: median; second: standard deviation of ln(value)
    NORMAL = "normal"  # first: mean; second: standard deviation
    UNIFORM = "uniform"  # first: low; second: high
    LOGUNIFORM = "loguniform"  # first: low (> 0); second: high


@dataclass(frozen=True, slots=True, kw_only=True)
class Distribution:
    """A quantity that is not known exactly, in the unit of its parameter's name.

    Parameters
    ----------
    shape : Shape
        Which family it is of.
    first, second : float
        What describes it, as `Shape` says for each family.
    """

    shape: Shape
    first: float
    second: float = 0.0

    @property
    def nominal(self) -> float:
        """The median."""
        if self.shape is Shape.UNIFORM:
            return 0.5 * (self.first + self.second)
        if self.shape is Shape.LOGUNIFORM:
            return float(np.sqrt(self.first * self.second))
        return self.first

    def quantile(self, probability: FloatArray) -> FloatArray:
        """Return the values below which the given probabilities lie.

        Parameters
        ----------
        probability : FloatArray
            Any shape, strictly between 0 and 1. [1]

        Returns
        -------
        FloatArray
            Same shape, in the unit of the quantity.

        Examples
        --------
        >>> between = Distribution(shape=Shape.UNIFORM, first=2.0, second=4.0)
        >>> between.quantile(np.array([0.25]))
        array([2.5])
        """
        if self.shape is Shape.FIXED:
            return np.full_like(probability, self.first)
        if self.shape is Shape.UNIFORM:
            return self.first + probability * (self.second - self.first)
        if self.shape is Shape.LOGUNIFORM:
            ratio = self.second / self.first
            return np.asarray(self.first * ratio**probability, dtype=np.float64)
        deviation = np.asarray(_normal_quantile(probability), dtype=np.float64)
        if self.shape is Shape.NORMAL:
            return np.asarray(self.first + self.second * deviation)
        return np.asarray(self.first * np.exp(self.second * deviation))


def fixed(value: float) -> Distribution:
    """Return a distribution that is one value for certain.

    Parameters
    ----------
    value : float
        In the unit of the quantity.

    Returns
    -------
    Distribution
        Every quantile of which is that value.
    """
    return Distribution(shape=Shape.FIXED, first=value)


class Origin(Enum):
    """Where a value comes from."""

    CAR_FILE = "car file"
    DEFAULT = "default"


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One value of a part: how much, how sure, and who says so.

    Parameters
    ----------
    distribution : Distribution
        How much, and how sure that is.
    origin : Origin
        The car file, or a default.
    source : str
        What the knowledge file gives as its source.
    """

    distribution: Distribution
    origin: Origin
    source: str = ""
