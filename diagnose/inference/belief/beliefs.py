"""Beliefs: the weight of every fault set and draw after the facts so far.

Bayes' rule over fault sets and tolerance draws. Facts before and after a repair are
told apart: a repair moves weight from the fault sets that hold the cause to the sets
without it, by its chance to cure. Independent of the order of facts between repairs.
Leaves the likelihood of a fact to `evidence`, and which sets there are to
`session.evidence`.

A repair done again fails one time in thirty, not in a thousand: else two bad repairs of
one part would prove that the fault is outside the model.
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
        That it cures. [1]
    """

    causes: frozenset[int]
    cure_probability: float


Step = FloatArray | RepairStep
"""A fact's likelihood, shape (n_sets, n_draws), or a repair."""

# The least total that a logarithm is taken of. [1] Own choice: near the smallest
# double.
LEAST_TOTAL = 1e-300


@dataclass(frozen=True, kw_only=True)
class Beliefs:
    """Weights of fault sets and draws as they are now.

    Parameters
    ----------
    sets : tuple[FaultSet, ...]
        The causes present in each.
    weights : FloatArray
        Shape (n_sets, n_draws); sums to 1. [1]
    log_evidence : float
        Natural log of the likelihood of all facts under the model. [nat]
    """

    sets: tuple[FaultSet, ...]
    weights: FloatArray
    log_evidence: float

    def set_probabilities(self) -> FloatArray:
        """Return the probability of each fault set.

        Returns
        -------
        FloatArray
            Shape (n_sets,); sums to 1. [1]
        """
        return self._of_sets

    @cached_property
    def _of_sets(self) -> FloatArray:
        return np.asarray(self.weights.sum(axis=1))

    def cause_probabilities(self, n_causes: int) -> FloatArray:
        """Return the probability that each cause is present.

        Parameters
        ----------
        n_causes : int
            How many causes there are. [1]

        Returns
        -------
        FloatArray
            Shape (n_causes,); several may be present at once. [1]
        """
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
    """Return the beliefs after all facts and repairs.

    Parameters
    ----------
    sets : Sequence[FaultSet]
        Must hold every set that a repair can lead to.
    prior : FloatArray
        Of each set and draw, shape (n_sets, n_draws); rows of zeros are not in use. [1]
    steps : Sequence[Step]
        Likelihoods and repairs, in the order of the evening.
    remains : Mapping[tuple[int, FaultSet], int]
        The row for what a repair leaves of the set in a row, where that is not the one
        whose prior is that of the set.

    Returns
    -------
    Beliefs or None
        None if the steps are impossible together.

    References
    ----------
    D. Koller and N. Friedman, Probabilistic Graphical Models, MIT Press, 2009, chapter
    2 (Bayes' rule).
    """
    weights = prior.copy()
    log_evidence = -float(np.log(max(prior.sum(), LEAST_TOTAL)))
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
    """Return weights with what a repair cures moved to the sets that it leaves."""
    result = weights.copy()
    for row in np.flatnonzero(weights.any(axis=1)).tolist():
        left = tuple(cause for cause in sets[row] if cause not in step.causes)
        if len(left) < len(sets[row]):
            cured = step.cure_probability * weights[row]
            result[row] -= cured
            place = remains.get((row, left))
            result[index[left] if place is None else place] += cured
    return result
