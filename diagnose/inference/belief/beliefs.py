"""Beliefs: the weight of every fault set and draw after the facts so far.

Facts before and after a repair are told apart: a repair moves weight from the fault
sets
that hold the cause to the sets without it, by its chance to cure. Independent of the
order of facts between repairs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.causes import FaultSet


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairStep:
    """A repair between facts.

    Parameters
    ----------
    causes : frozenset[int]
        The causes it mends when it cures.
    cure_probability : float
    """

    causes: frozenset[int]
    cure_probability: float


Step = FloatArray | RepairStep
"""A likelihood, shape (n_sets, n_draws), or a repair."""


@dataclass(frozen=True, kw_only=True)
class Beliefs:
    """Weights of fault sets and draws as they are now.

    Parameters
    ----------
    sets : tuple[FaultSet, ...]
    weights : FloatArray
        Shape (n_sets, n_draws); sums to 1.
    log_evidence : float
        Natural log of the likelihood of all facts under the model.
    """

    sets: tuple[FaultSet, ...]
    weights: FloatArray
    log_evidence: float

    def set_probabilities(self) -> FloatArray:
        """Return the probability of each fault set, shape (n_sets,)."""
        return self._of_sets

    @cached_property
    def _of_sets(self) -> FloatArray:
        return np.asarray(self.weights.sum(axis=1))

    def cause_probabilities(self, n_causes: int) -> FloatArray:
        """Return the probability that each cause is present, shape (n_causes,)."""
        result = np.zeros(n_causes)
        for fault_set, weight in zip(self.sets, self.set_probabilities(), strict=True):
            for cause in fault_set:
                result[cause] += weight
        return result


def update(
    sets: Sequence[FaultSet],
    prior: FloatArray,
    steps: Sequence[Step],
    *,
    remains: Mapping[tuple[int, FaultSet], int] = MappingProxyType({}),
) -> Beliefs | None:
    """Return the beliefs after all steps, or None if they are impossible together.

    Parameters
    ----------
    sets : Sequence[FaultSet]
        Must hold every set that a repair can lead to.
    prior : FloatArray
        Of each set and draw, shape (n_sets, n_draws); rows of zeros are not in use.
    remains : Mapping[tuple[int, FaultSet], int]
        The row for what a repair leaves of the set in a row, where that is not the one
        whose prior is that of the set.
    """
    weights = prior.copy()
    log_evidence = -float(np.log(max(prior.sum(), 1e-300)))
    in_use = np.flatnonzero(prior.any(axis=1)).tolist()
    index = {sets[row]: row for row in in_use}
    for step in steps:
        if isinstance(step, RepairStep):
            weights = _repaired(weights, sets, index, step, remains=remains)
            continue
        weights = weights * step
        total = float(weights.sum())
        if not total > 0.0:
            return None
        weights /= total
        log_evidence += float(np.log(total))
    total = float(weights.sum())
    return Beliefs(sets=tuple(sets), weights=weights / total, log_evidence=log_evidence)


def _repaired(
    weights: FloatArray,
    sets: Sequence[FaultSet],
    index: Mapping[FaultSet, int],
    step: RepairStep,
    *,
    remains: Mapping[tuple[int, FaultSet], int],
) -> FloatArray:
    result = weights.copy()
    for row in np.flatnonzero(weights.any(axis=1)).tolist():
        left = tuple(cause for cause in sets[row] if cause not in step.causes)
        if len(left) < len(sets[row]):
            cured = step.cure_probability * weights[row]
            result[row] -= cured
            place = remains.get((row, left))
            result[index[left] if place is None else place] += cured
    return result
