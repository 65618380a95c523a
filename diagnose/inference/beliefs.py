"""Beliefs: the weight of every fault set and draw after the facts so far.

Facts before and after a repair are told apart: a repair moves weight from the fault
sets
that hold the cause to the sets without it, by its chance to cure. Independent of the
order of facts between repairs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.circuit.nodal import IntArray
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


@dataclass(frozen=True, slots=True, kw_only=True)
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


LEAST_EXCESS = 1e-3
# Derived: a pair that adds less than this share of the evidence can't change a ranking.


LEAST_DEVIATION = 0.02
# Derived: below the error of a report and the spread of a reading.


def promising_pairs(
    prior_odds: FloatArray,
    part_of: IntArray,
    likelihoods: FloatArray,
    deviations: FloatArray,
    *,
    most: int,
) -> tuple[tuple[FaultSet, ...], float]:
    """Return the double faults that explain the facts better than either cause alone.

    Parameters
    ----------
    prior_odds : FloatArray
        Of each cause against its part being ok, shape (n_causes,).
    part_of : IntArray
        Fault node of each cause, shape (n_causes,).
    likelihoods : FloatArray
        Mean likelihood of each fact under the healthy car (row 0) and each cause, shape
        (1 + n_causes, n_facts).
    deviations : FloatArray
        How far each cause moves what each fact looks at, in any unit that compares
        causes within a fact, shape (n_causes, n_facts).
    most : int
        How many pairs to return at most.

    Returns
    -------
    tuple
        Pairs, most promising first, and the share of the evidence that the pairs left
        out could add.

    Notes
    -----
    Faults in different circuits hardly interact, so a pair shows in each fact what the
    one that moves it further shows. Its excess is the evidence it adds beyond the
    better
    of its causes alone; a pair without excess (a cause and an unrelated one) shifts all
    causes alike and is left to the priors. Only the order of search rests on this: the
    pairs kept are solved exactly.
    """
    log_likelihood = np.log(np.maximum(likelihoods, 1e-30))
    log_odds = np.log(np.maximum(prior_odds, 1e-30))
    alone = log_likelihood.sum(axis=1)
    scale = alone.max()
    evidence = np.exp(alone[0] - scale) + np.exp(alone[1:] - scale + log_odds).sum()
    moves = np.flatnonzero((deviations > LEAST_DEVIATION).any(axis=1))
    log_odds, part_of = log_odds[moves], part_of[moves]
    together = np.zeros((len(moves), len(moves)))
    for fact, moved in zip(
        log_likelihood[1 + moves].T, deviations[moves].T, strict=True
    ):
        is_first = moved[:, None] >= moved[None, :]
        together += np.where(is_first, fact[:, None], fact[None, :])
    better = np.maximum(alone[1 + moves, None], alone[None, 1 + moves])
    excess = np.exp(np.minimum(together - scale, 600.0)) - np.exp(better - scale)
    excess *= np.exp(log_odds[:, None] + log_odds[None, :]) / evidence
    is_same = part_of[:, None] == part_of[None, :]
    excess[is_same | np.tri(len(moves), dtype=np.bool_)] = 0.0
    flat = np.maximum(excess.ravel(), 0.0)
    order = np.argsort(-flat, kind="stable")[:most]
    chosen = order[flat[order] > LEAST_EXCESS]
    added = float(flat.sum())
    left_out = (added - float(flat[chosen].sum())) / (1.0 + added)
    first, second = moves[np.array(np.unravel_index(chosen, excess.shape))]
    pairs = tuple(zip(first.tolist(), second.tolist(), strict=True))
    return pairs, max(left_out, 0.0)


def promising_companions(
    score: FloatArray, part_of: IntArray, *, mended: Sequence[int], most: int
) -> tuple[FaultSet, ...]:
    """Return pairs of a mended cause and what may have been there beside it.

    Parameters
    ----------
    score : FloatArray
        Prior odds of each cause times its likelihood of the facts after the repair,
        shape (n_causes,).
    mended : Sequence[int]
        Causes that were repaired.
    """
    order = np.argsort(-score, kind="stable")[:most].tolist()
    pairs = {
        tuple(sorted((first, second)))
        for first in mended
        for second in order
        if part_of[first] != part_of[second]
    }
    ranked = sorted(pairs, key=lambda pair: (-max(score[list(pair)]), pair))
    return tuple((pair[0], pair[1]) for pair in ranked[:most])
