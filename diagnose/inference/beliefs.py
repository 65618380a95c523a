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

import numpy as np

from diagnose.circuit.car import FloatArray
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
) -> Beliefs | None:
    """Return the beliefs after all steps, or None if they are impossible together.

    Parameters
    ----------
    sets : Sequence[FaultSet]
        Must hold every set that a repair can lead to.
    prior : FloatArray
        Of each set and draw, shape (n_sets, n_draws); rows of zeros are not in use.
    """
    weights = prior.copy()
    log_evidence = -float(np.log(max(prior.sum(), 1e-300)))
    in_use = np.flatnonzero(prior.any(axis=1)).tolist()
    index = {sets[row]: row for row in in_use}
    for step in steps:
        if isinstance(step, RepairStep):
            weights = _repaired(weights, index, step)
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
    weights: FloatArray, index: Mapping[FaultSet, int], step: RepairStep
) -> FloatArray:
    result = weights.copy()
    for fault_set, row in index.items():
        left = tuple(cause for cause in fault_set if cause not in step.causes)
        if len(left) < len(fault_set):
            cured = step.cure_probability * weights[row]
            result[row] -= cured
            result[index[left]] += cured
    return result
