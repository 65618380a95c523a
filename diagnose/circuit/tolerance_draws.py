"""Draws of every tolerance and severity, shared by all fault sets.

A Latin hypercube: each quantity's draws are a permutation of equal strata, seeded by
the quantity's name. Common draws make differences between causes physics, not sampling
noise, and a part added to the car leaves the draws of the others as they were. A Sobol
sequence was set aside: with a thousand quantities and 64 draws it is no more even in
any pair of dimensions, and its draws move when a part is added.
"""

from __future__ import annotations

from dataclasses import dataclass
from zlib import crc32

import numpy as np

from diagnose.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """A set of equally likely draws.

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
        """Return the quantile levels of one quantity.

        Parameters
        ----------
        key : str
            Name of the quantity, e.g. ``pump-wire/joint_a_ohms``.

        Returns
        -------
        FloatArray
            Shape (n_draws,), one per stratum, strictly between 0 and 1. [1]
        """
        generator = np.random.default_rng((self.seed, crc32(key.encode())))
        strata = generator.permutation(self.n_draws)
        within = generator.uniform(0.05, 0.95, self.n_draws)
        return np.asarray((strata + within) / self.n_draws, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Middle(Sample):
    """Draws that are all the median: one middle car."""

    def probabilities(self, key: str) -> FloatArray:
        """Return one half for every draw."""
        del key  # the same for every quantity
        return np.full(self.n_draws, 0.5)
