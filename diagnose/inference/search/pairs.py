"""Which pairs of causes the facts call for.

Rests on what single causes show, and on the rule that how severe one cause is says
nothing of the other: only the search rests on that, the pairs found are solved exactly.
Leaves sets of three and what is left after a repair to `wider_sets`.

Decisions that bind it:

- Pairs are solved when facts ask for them, not all ahead: all pairs of a car in all
  states are some 87 million points, a quarter of an hour and 40 GB of volts.
- They are searched by the evidence they add beyond either cause alone. A cause and an
  unrelated one shift all causes alike; solving them would change nothing.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import CountArray, FloatArray, IntArray, StoredArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.search.found_sets import Combined
from diagnose.inference.search.single_causes import (
    NATS_PER_STEP,
    carrying_share,
    log_mean_exp,
)
from diagnose.inference.search.told_together import Told

# A pair that adds less than this share of the evidence is not solved. [1] Derived: so
# little can't change a ranking.
LEAST_EXCESS = 1e-3

# How many pairs are weighed draw by draw. [1] Derived: many times as many as are
# solved.
MOST_WEIGHED = 400

# The largest log of a share that an exponential is taken of. [nat] Derived: that of the
# largest double is 709.
MOST_NATS = 700.0


def promising_pairs(
    told: Told,
    sums: CountArray,
    *,
    most: int,
    log_lift: StoredArray,
    few_draws: float = 0.0,
) -> Combined:
    """Return the pairs that explain the facts better than either cause alone.

    Parameters
    ----------
    told : Told
        What the facts say of single causes.
    sums : CountArray
        `PairSums.of` the same facts, shape (n_causes, n_causes). [`NATS_PER_STEP`]
    most : int
        How many pairs to return at most. [1]
    log_lift : StoredArray
        Log of how much likelier pairs are than by the odds of each, -inf for those that
        can't be, such as two causes of one part; shape (n_causes, n_causes). [nat]
    few_draws : float
        Share of the draws that counts as few. [1]

    Returns
    -------
    Combined
        The pair that adds most first.

    Notes
    -----
    The excess of a pair is the evidence it adds beyond the better of its causes alone;
    a pair without excess (a cause and an unrelated one) shifts all causes alike and is
    left to the priors. Facts are first taken one by one, then those of the best pairs
    by the draws and severities of each cause.
    """
    first, second, rough = _shortlist(told, sums, log_lift)
    order = np.argsort(-rough, kind="stable")
    shortlist = order[:MOST_WEIGHED]
    shortlist = shortlist[rough[shortlist] > LEAST_EXCESS]
    first, second = first[shortlist], second[shortlist]
    log_shares, narrow = _by_draw(told, first, second, few_draws=few_draws)
    log_shares += log_lift[first, second]
    adds = _above_better(told, log_shares, first, second, log_lift)
    best = np.argsort(-adds, kind="stable")[:most]
    best = best[adds[best] > LEAST_EXCESS]
    added = float(rough.sum() - rough[shortlist].sum() + adds.sum())
    left_out = (added - float(adds[best].sum())) / (1.0 + added)
    shares = np.exp(np.minimum(log_shares[best], MOST_NATS)) / (1.0 + added)
    return Combined(
        sets=tuple(zip(first[best].tolist(), second[best].tolist(), strict=True)),
        shares=tuple(np.minimum(shares, 1.0).tolist()),
        narrow=tuple(narrow[place] for place in best.tolist()),
        left_out_probability=max(left_out, 0.0),
    )


def _shortlist(
    told: Told, sums: CountArray, log_lift: StoredArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return pairs worth a look with their excess, the facts taken one by one."""
    gain = told.bonus + np.log(told.odds)
    score = sums * np.float32(NATS_PER_STEP)
    score += (gain - told.log_evidence).astype(np.float32)[:, None]
    score += gain.astype(np.float32)
    score += log_lift
    flat = np.flatnonzero(score.ravel() > np.log(LEAST_EXCESS))
    first, second = np.divmod(flat, len(told.odds))
    is_upper = first < second
    first, second, flat = first[is_upper], second[is_upper], flat[is_upper]
    excess = _above_better(told, score.ravel()[flat], first, second, log_lift)
    return first, second, excess


def _above_better(
    told: Told,
    log_shares: FloatArray | StoredArray,
    first: IntArray,
    second: IntArray,
    log_lift: StoredArray,
) -> FloatArray:
    """Return what pairs add beyond the better of their causes, as share of evidence."""
    log_odds = np.log(told.odds)
    better = np.maximum(told.alone[1 + first], told.alone[1 + second])
    better = better + log_odds[first] + log_odds[second] - told.log_evidence
    better = better + log_lift[first, second]
    both = np.exp(np.minimum(log_shares, MOST_NATS))
    both = both - np.exp(np.minimum(better, MOST_NATS))
    return np.maximum(np.asarray(both, dtype=np.float64), 0.0)


def _by_draw(
    told: Told, first: IntArray, second: IntArray, *, few_draws: float
) -> tuple[FloatArray, list[FaultSet]]:
    """Return log shares of the evidence, each cause's facts taken draw by draw.

    Shape (n_pairs,); with them the causes of each pair that their facts pin down to few
    draws, the fewest first.
    """
    log_odds = np.log(told.odds)
    is_first = np.stack([one.moved[first] >= one.moved[second] for one in told.seen])
    result = log_odds[first] + log_odds[second] - told.log_evidence
    narrow: list[list[tuple[float, int]]] = [[] for _ in first]
    for causes, mask in ((first, is_first), (second, ~is_first)):
        total = np.zeros((len(causes), told.seen[0].log.shape[1]))
        for one, is_own in zip(told.seen, mask, strict=True):
            total += np.where(is_own[:, None], one.log[1 + causes], 0.0)
        own, carried = log_mean_exp(total), carrying_share(total)
        for place in np.flatnonzero(np.isin(causes, list(told.ladders))).tolist():
            facts = tuple(np.flatnonzero(mask[:, place]).tolist())
            own[place] = told.evidence(int(causes[place]), facts)
        result = result + own
        is_narrow = told.is_severe[causes] & (carried < few_draws)
        for place in np.flatnonzero(is_narrow).tolist():
            narrow[place].append((float(carried[place]), int(causes[place])))
    return np.asarray(result), [tuple(c for _, c in sorted(one)) for one in narrow]
