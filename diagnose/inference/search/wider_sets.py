"""Third causes beside a leading set, and what may have been there beside a mended one.

Leaves pairs that facts before any repair call for to `pairs`.

Three causes at once are looked at where a third makes the facts three times likelier
beside a leading pair. All triples of a car would be forty million; what leaving all of
them out could cost is bounded from the priors (`prior.several_faults`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import FloatArray, StoredArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.search.single_causes import LEAST_LIKELIHOOD, log_mean_exp
from diagnose.inference.search.told_together import Told

# A second fault beside a mended one that would add less to the belief is left to the
# priors. [1] Derived: half a hundredth is within what a ranking is off by.
LEAST_COMPANION = 5e-3

# By what share of the evidence of the mended cause alone a companion has to better it.
# [1] Own choice: one that betters it less is an unrelated one, and left to the priors.
LEAST_ADDED = 0.1

# A set with a third cause that would hold less of the belief is left out. [1] Derived:
# beside a set that holds a tenth of it, a third cause as likely as most (one in a
# hundred) counts once it makes the facts three times likelier.
LEAST_THIRD = 3e-3

# How much likelier a third cause has to make the facts. [1] Derived: what it hardly
# changes is left to the priors.
LEAST_BETTER = 3.0

# How many third causes are weighed draw by draw beside one set. [1] Own choice: several
# times as many as are solved.
MOST_THIRDS = 24


def promising_thirds(
    told: Told,
    fault_set: FaultSet,
    likelihoods: Sequence[FloatArray],
    *,
    share: float,
    log_lift: StoredArray,
) -> Mapping[FaultSet, float]:
    """Return what a set and one more cause would hold of the belief.

    Parameters
    ----------
    told : Told
        What the facts say of single causes.
    fault_set : FaultSet
        A set that was solved.
    likelihoods : Sequence[FloatArray]
        Of each fact under it, shape (n_draws,) each. [1 over the fact's unit, or 1]
    share : float
        What it holds of the belief. [1]
    log_lift : StoredArray
        As in `promising_pairs`. [nat]

    Returns
    -------
    Mapping[FaultSet, float]
        Sets that explain the facts clearly better, with their estimated share. [1]

    Notes
    -----
    As for pairs: each fact shows what moves it further, the set or the third cause.
    """
    members = list(fault_set)
    logs = [np.log(np.maximum(one, LEAST_LIKELIHOOD)) for one in likelihoods]
    moved = [one.moved[members].max() for one in told.seen]
    gain = told.bonus + np.log(told.odds) + log_lift[members].sum(axis=0)
    for one, log, own in zip(told.seen, logs, moved, strict=True):
        mean = float(log_mean_exp(log))
        gain += np.where(one.moved > own, one.log_mean[1:] - mean, 0.0)
    is_better = gain - np.log(told.odds) > np.log(LEAST_BETTER)
    likely = np.flatnonzero(is_better & (gain + np.log(share) > np.log(LEAST_THIRD)))
    alone = float(log_mean_exp(np.sum(logs, axis=0)))
    found: dict[FaultSet, float] = {}
    for cause in likely[np.argsort(-gain[likely])][:MOST_THIRDS].tolist():
        is_own = [
            one.moved[cause] > own for one, own in zip(told.seen, moved, strict=True)
        ]
        left = [log for log, mine in zip(logs, is_own, strict=True) if not mine]
        facts = tuple(np.flatnonzero(is_own).tolist())
        better = told.evidence(cause, facts) - alone
        better += float(log_mean_exp(np.sum([np.zeros_like(logs[0]), *left], axis=0)))
        lift = float(log_lift[members, cause].sum())
        if better > np.log(LEAST_BETTER):
            log_share = np.log(share * told.odds[cause]) + better + lift
            found[tuple(sorted((*fault_set, cause)))] = float(np.exp(log_share))
    return {one: part for one, part in found.items() if part > LEAST_THIRD}


def promising_companions(
    told: Told,
    odds: FloatArray,
    epochs: Sequence[int],
    mended_at: Mapping[int, int],
    *,
    log_lift: StoredArray,
    most: int,
) -> tuple[FaultSet, ...]:
    """Return pairs of a mended cause and what may have been there beside it.

    Parameters
    ----------
    told : Told
        What the facts say of single causes.
    odds : FloatArray
        Prior odds of each cause that may be a companion, as if nothing had been mended,
        shape (n_companions,); the first of all causes. [1]
    epochs : Sequence[int]
        After how many repairs each fact was told. [1]
    mended_at : Mapping[int, int]
        Cause to after how many repairs it was gone, if its repair took. [1]
    log_lift : StoredArray
        As in `promising_pairs`. [nat]
    most : int
        How many pairs to return at most. [1]

    Returns
    -------
    tuple[FaultSet, ...]
        The likeliest first.

    Notes
    -----
    As for pairs: each fact shows what moves it further of the causes still there when
    it was told. A pair counts by what it adds beyond the mended cause alone.
    """
    some = slice(0, len(odds))
    gone = np.full(len(odds), np.inf)
    for cause, after in mended_at.items():
        if cause < len(odds):
            gone[cause] = after
    found: dict[FaultSet, float] = {}
    log_total = told.log_evidence
    for mended, after in mended_at.items():
        both = np.log(odds) + np.log(odds[mended]) + log_lift[mended, some]
        both += told.bonus[mended] + told.bonus[some]
        alone = float(np.log(odds[mended]) + told.bonus[mended])
        for one, epoch in zip(told.seen, epochs, strict=True):
            sound, shown = float(one.log_mean[0]), one.log_mean[1:][some]
            own, moved = sound, 0.0
            if epoch < after:
                own, moved = float(one.log_mean[1 + mended]), float(one.moved[mended])
            is_its = (epoch < gone) & (one.moved[some] > moved)
            both += np.where(is_its, shown, own)
            alone += own
        log_total = float(np.logaddexp(log_total, max(both.max(), alone)))
        is_better = both > alone + np.log(odds) + np.log1p(LEAST_ADDED)
        for other in np.flatnonzero(is_better).tolist():
            pair = (min(mended, other), max(mended, other))
            found[pair] = max(float(both[other]), found.get(pair, -np.inf))
    least = log_total + np.log(LEAST_COMPANION)
    likely = [pair for pair, log_share in found.items() if log_share > least]
    return tuple(sorted(likely, key=lambda pair: (-found[pair], pair))[:most])
