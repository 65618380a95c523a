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
from diagnose.circuit.nodal import IntArray
from diagnose.faults.causes import FaultSet
from diagnose.faults.predicted import StoredArray


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


LEAST_EXCESS = 1e-3
# Derived: a pair that adds less than this share of the evidence can't change a ranking.


LEAST_COMPANION = 5e-3
# Derived: half a hundredth of the belief; below, a second fault is left to the priors.
MOST_WEIGHED = 400
# Derived: many times as many as are solved.
MOST_EXPONENT = 80.0
# Derived: what single precision holds; no pair is e^80 better than its causes.
LEAST_DEVIATION = 0.02
# Derived: below the error of a report and the spread of a reading.


def promising_pairs(
    prior_odds: FloatArray,
    part_of: IntArray,
    likelihoods: Sequence[FloatArray],
    deviations: FloatArray,
    *,
    most: int,
    lift: StoredArray | None = None,
) -> tuple[tuple[FaultSet, ...], float]:
    """Return the double faults that explain the facts better than either cause alone.

    Parameters
    ----------
    prior_odds : FloatArray
        Of each cause against its part being ok, shape (n_causes,).
    part_of : IntArray
        Fault node of each cause, shape (n_causes,).
    likelihoods : Sequence[FloatArray]
        Of each fact under the healthy car (row 0) and each cause, shape
        (1 + n_causes, n_draws) each.
    deviations : FloatArray
        How far each cause moves what each fact looks at, in any unit that compares
        causes within a fact, shape (n_causes, n_facts).
    most : int
        How many pairs to return at most.
    lift : StoredArray or None
        How much likelier pairs are than by the odds of each, shape
        (n_causes, n_causes); 1 when None.

    Returns
    -------
    tuple
        Pairs, most promising first, and the share of the evidence that the pairs left
        out could add.

    Notes
    -----
    Faults in different circuits hardly interact, so a pair shows in each fact what the
    one that moves it further shows, and how severe one is says nothing of the other.
    Its excess is the evidence it adds beyond the better of its causes alone; a pair
    without excess (a cause and an unrelated one) shifts all causes alike and is left to
    the priors. Facts are first taken one by one, then the best pairs weighed draw by
    draw. Only the search rests on this: the pairs kept are solved exactly.
    """
    means = np.stack([one.mean(axis=1) for one in likelihoods], axis=1)
    log_likelihood = np.log(np.maximum(means, 1e-30))
    log_odds = np.log(np.maximum(prior_odds, 1e-30))
    alone = log_likelihood.sum(axis=1)
    scale = alone.max()
    evidence = np.exp(alone[0] - scale) + np.exp(alone[1:] - scale + log_odds).sum()
    moves = np.flatnonzero((deviations > LEAST_DEVIATION).any(axis=1))
    parts = part_of[moves]
    # single precision will do for the order of a search
    together = np.zeros((len(moves), len(moves)), dtype=np.float32)
    for fact, moved in zip(
        log_likelihood[1 + moves].T.astype(np.float32),
        deviations[moves].T.astype(np.float32),
        strict=True,
    ):
        is_first = moved[:, None] >= moved[None, :]
        together += np.where(is_first, fact[:, None], fact[None, :])
    together -= np.float32(scale)
    excess = np.exp(np.minimum(together, MOST_EXPONENT, out=together), out=together)
    by_one = np.exp(alone[1 + moves] - scale).astype(np.float32)
    excess -= np.maximum(by_one[:, None], by_one[None, :])
    odds = prior_odds[moves].astype(np.float32)
    excess *= odds[:, None] / np.float32(evidence)
    excess *= odds[None, :]
    if lift is not None:
        excess *= lift[np.ix_(moves, moves)]
    is_same = parts[:, None] == parts[None, :]
    excess[is_same | np.tri(len(moves), dtype=np.bool_)] = 0.0
    flat = np.maximum(excess.ravel(), 0.0)
    order = np.argsort(-flat, kind="stable")[:MOST_WEIGHED]
    shortlist = order[flat[order] > LEAST_EXCESS]
    first, second = moves[np.array(np.unravel_index(shortlist, excess.shape))]
    adds = _excess_by_draw(prior_odds, likelihoods, deviations, first, second)
    if lift is not None:
        adds = adds * lift[first, second]
    best = np.argsort(-adds, kind="stable")[:most]
    best = best[adds[best] > LEAST_EXCESS]
    added = float(flat.sum() - flat[shortlist].sum() + adds.sum())
    left_out = (added - float(adds[best].sum())) / (1.0 + added)
    pairs = tuple(zip(first[best].tolist(), second[best].tolist(), strict=True))
    return pairs, max(left_out, 0.0)


def _excess_by_draw(
    prior_odds: FloatArray,
    likelihoods: Sequence[FloatArray],
    deviations: FloatArray,
    first: IntArray,
    second: IntArray,
) -> FloatArray:
    """Return what pairs add to the evidence, as a share of it, shape (n_pairs,)."""
    n_draws = likelihoods[0].shape[1]
    alone = np.ones_like(likelihoods[0])
    of_first, of_second = np.ones((2, len(first), n_draws))
    for one, moved in zip(likelihoods, deviations.T, strict=True):
        alone *= one
        is_first = (moved[first] >= moved[second])[:, None]
        of_first *= np.where(is_first, one[1 + first], 1.0)
        of_second *= np.where(is_first, 1.0, one[1 + second])
    mean = alone.mean(axis=1)
    evidence = max(float(mean[0] + prior_odds @ mean[1:]), 1e-300)
    together = of_first.mean(axis=1) * of_second.mean(axis=1)
    excess = together - np.maximum(mean[1 + first], mean[1 + second])
    odds = prior_odds[first] * prior_odds[second]
    return np.asarray(np.maximum(odds * excess / evidence, 0.0))


def promising_companions(
    score: FloatArray,
    part_of: IntArray,
    *,
    sound: float,
    mended: Sequence[int],
    most: int,
) -> tuple[FaultSet, ...]:
    """Return pairs of a mended cause and what may have been there beside it.

    Parameters
    ----------
    score : FloatArray
        Prior odds of each cause times its likelihood of the facts after the repair,
        shape (n_causes,).
    sound : float
        Likelihood of these facts when the repair was all that was needed.
    mended : Sequence[int]
        Causes that were repaired.
    """
    share = score / max(sound + float(score.sum()), 1e-300)
    order = np.argsort(-share, kind="stable")[:most]
    pairs = {
        (min(first, second), max(first, second))
        for first in mended
        for second in order[share[order] > LEAST_COMPANION].tolist()
        if part_of[first] != part_of[second]
    }
    ranked = sorted(pairs, key=lambda pair: (-max(share[list(pair)]), pair))
    return tuple(ranked[:most])
