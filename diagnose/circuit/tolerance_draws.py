"""Draws of every tolerance and severity, the same ones for all fault sets.

A Latin hypercube: the span of each quantity is cut into as many equal shares as there
are draws, one draw falls into each, and the name of the quantity says in which order.
As all faults share the draws, a difference between them is physics and not sampling
noise, and one factorisation serves them all; a part added to the car leaves the draws
of the others as they were. A Sobol sequence was set aside: with a thousand quantities
and 64 draws it is no more even in any pair of dimensions, and its draws move when a
part is added.

References
----------
M. D. McKay, R. J. Beckman, W. J. Conover, "A comparison of three methods for selecting
values of input variables in the analysis of output from a computer code", Technometrics
21, 1979 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol
from zlib import crc32

import numpy as np

from diagnose.arrays import FloatArray

# Part of its share that a draw keeps to, so that none falls on an edge (own
# choice). [1]
WITHIN_SHARE = (0.05, 0.95)


class Draws(Protocol):
    """Whatever says which value each draw takes of what is not known exactly.

    Attributes
    ----------
    n_draws : int
        Number of draws. [1]
    """

    @property
    def n_draws(self) -> int:
        """Number of draws. [1]."""

    def probabilities(self, key: str) -> FloatArray:
        """Return which quantile of one quantity each draw takes.

        Parameters
        ----------
        key : str
            Name of the quantity.

        Returns
        -------
        FloatArray
            Shape (n_draws,), strictly between 0 and 1. [1]
        """


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """A set of equally likely draws of everything that is not known exactly.

    Parameters
    ----------
    n_draws : int
        Number of draws.
    seed : int
        Another seed gives another, independent set.
    """

    n_draws: int
    seed: int = 0

    def probabilities(self, key: str) -> FloatArray:
        """Return which quantile of one quantity each draw takes.

        Parameters
        ----------
        key : str
            Name of the quantity, such as ``pump-wire/joint_a_ohms``.

        Returns
        -------
        FloatArray
            Shape (n_draws,), one in each share, strictly between 0 and 1. [1]
        """
        generator = np.random.default_rng((self.seed, crc32(key.encode())))
        strata = generator.permutation(self.n_draws)
        within = generator.uniform(*WITHIN_SHARE, self.n_draws)
        return np.asarray((strata + within) / self.n_draws, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Middle(Sample):
    """Draws that are all the median: one middle car.

    Parameters
    ----------
    n_draws, seed
        As in `Sample`; all draws are the same.
    """

    def probabilities(self, key: str) -> FloatArray:
        """Return one half for every draw.

        Parameters
        ----------
        key : str
            Name of the quantity, which makes no difference.

        Returns
        -------
        FloatArray
            Shape (n_draws,). [1]
        """
        del key  # the same for every quantity
        return np.full(self.n_draws, 0.5)
