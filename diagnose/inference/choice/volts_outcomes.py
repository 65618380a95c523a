"""What a person tells apart in volts: the chance of each bin, given what is predicted.

Serves planning alone; what is told is weighed as it was read (`belief.evidence`). Two
readings that differ by less than the meter and the model stray share their bins, so
that a reading is worth nothing where it tells nothing.

Each value has the chances of three neighbouring bins, by the normal it strays with. Two
points for the normal told 0 V from .035 V with certainty where both stray by .03 V, and
such readings were proposed and told nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from diagnose.arrays import FloatArray, IntArray, StoredArray
from diagnose.inference.choice.particles import Particles

# Where the bins part on a 12 V car. [V] Derived: steps of about twice what the meter
# and the model stray.
VOLT_EDGES = np.array(
    [
        *(0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 0.8, 1.2, 2, 3.5, 5, 6.5, 7.5, 8.5, 9.2),
        *(9.8, 10.3, 10.8, 11.2, 11.6, 11.9, 12.2, 12.5, 12.8, 13.2, 13.6, 14.0, 14.4),
        14.9,
    ]
)

# How many neighbouring bins a value may fall into. [1] Derived: they hold nearly all of
# a normal that is half a step wide.
N_TOGETHER = 3

# In what steps the chances are worked out. [V] Derived: a third of the least that a
# reading strays.
VOLT_STEP = 0.01

# Up to what the chances are worked out; more counts as that. [V] Own choice: above what
# any 12 V car charges with.
MOST_VOLTS = 16.0

# How many readings are counted at once. [1] Measured: the values of so many stay in the
# processor's cache.
BLOCK_READINGS = 64

# From here on a normal deviate is taken for certain. [standard deviations] Derived:
# what is beyond it, 2e-17, is lost beside 1 in a double.
CERTAIN_DEVIATIONS = 8.4

_normal_below = np.vectorize(NormalDist().cdf, otypes=[np.float64])


@dataclass(frozen=True, slots=True)
class VoltsOutcomes:
    """The bins that volts on a 12 V scale fall into, and with what chance.

    Only how far a reading is from zero counts: leads get swapped.

    Parameters
    ----------
    first : IntArray
        The lowest of the bins for each step of predicted volts, shape (n_steps,).
    chance : FloatArray
        Of that bin and the next ones, shape (N_TOGETHER, n_steps); sums to 1. [1]
    """

    first: IntArray
    chance: FloatArray

    @classmethod
    def of(cls, fixed_volts: float, fraction: float) -> VoltsOutcomes:
        """Return the outcomes where readings stray by a fixed part and a fraction.

        Parameters
        ----------
        fixed_volts : float
            Standard deviation whatever the volts, on a 12 V scale. [V]
        fraction : float
            Standard deviation as a share of the volts. [1]

        Returns
        -------
        VoltsOutcomes
            For predictions from 0 to `MOST_VOLTS`.
        """
        centres = VOLT_STEP * (np.arange(MOST_VOLTS / VOLT_STEP) + 0.5)
        spread = np.hypot(fixed_volts, fraction * centres)
        below = _chance_below((VOLT_EDGES[:, None] - centres) / spread)
        below -= _chance_below((-VOLT_EDGES[:, None] - centres) / spread)
        none, every = np.zeros_like(below[:1]), np.ones_like(below[:1])
        ends = np.concatenate([none, below, every])
        bins = np.diff(ends, axis=0)
        windows = np.lib.stride_tricks.sliding_window_view(bins, N_TOGETHER, axis=0)
        first = windows.sum(axis=2).argmax(axis=0)
        chance = windows[first, np.arange(len(centres))].T
        return cls(
            first=first, chance=np.ascontiguousarray(chance / chance.sum(axis=0))
        )

    def joint(
        self, values: StoredArray, particles: Particles, *, n_groups: int
    ) -> FloatArray:
        """Return the joints of many readings of volts.

        Parameters
        ----------
        values : StoredArray
            Simulated readings, shape (n_readings, n_particles). [V]
        particles : Particles
            What the readings are simulated for.
        n_groups : int
            How many groups there are. [1]

        Returns
        -------
        FloatArray
            Shape (n_readings, n_bins, n_groups); each reading sums to 1. [1]
        """
        n_cells = (len(VOLT_EDGES) + 1) * n_groups
        result = np.empty((len(values), n_cells))
        for start in range(0, len(values), BLOCK_READINGS):
            some = slice(start, start + BLOCK_READINGS)
            steps = self._steps(values[some])
            cells = self.first.take(steps)
            cells *= n_groups
            cells += np.broadcast_to(particles.group, values.shape)[some]
            cells += (np.arange(len(steps)) * n_cells)[:, None]
            size, flat = len(steps) * n_cells, cells.ravel()
            counts = np.zeros(size)
            for chance in self.chance:
                weights = chance.take(steps)
                weights *= particles.share
                counts += np.bincount(flat, weights.ravel(), minlength=size)
                flat += n_groups
            result[some] = counts.reshape(-1, n_cells)
        return result.reshape(len(values), len(VOLT_EDGES) + 1, n_groups)

    def chances(self, values: StoredArray) -> FloatArray:
        """Return the chance of each bin for some readings.

        Parameters
        ----------
        values : StoredArray
            Simulated readings, shape (n_values,). [V]

        Returns
        -------
        FloatArray
            Shape (n_bins, n_values), bins that no value falls into left out; each value
            sums to 1. [1]
        """
        steps, columns = self._steps(values), np.arange(len(values))
        result = np.zeros((len(VOLT_EDGES) + 1, len(values)))
        for number, chance in enumerate(self.chance):
            result[self.first[steps] + number, columns] = chance[steps]
        return result[result.any(axis=1)]

    def _steps(self, values: StoredArray) -> IntArray:
        size = np.abs(values)
        size *= np.float32(1.0 / VOLT_STEP)
        np.minimum(size, np.float32(len(self.first) - 1), out=size)
        return size.astype(np.int64)


def _chance_below(deviations: FloatArray) -> FloatArray:
    """Return the chance that a standard normal is below, same shape."""
    result = (deviations > 0.0).astype(np.float64)
    is_open = np.abs(deviations) < CERTAIN_DEVIATIONS
    result[is_open] = _normal_below(deviations[is_open])
    return result
