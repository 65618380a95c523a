"""Third causes beside a leading set, and what may have been there beside a mended one.

Leaves pairs that facts before any repair call for to `pairs`.

Three causes at once are looked at where a third makes the facts three times likelier
beside a leading pair. All triples of a car would be forty million; what leaving all of
them out could cost is bounded from the priors (`prior.several_faults`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import FloatArray, IntArray, StoredArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.search.single_causes import LEAST_LIKELIHOOD, log_mean_exp
from diagnose.inference.search.told_together import Told

# A second fault beside a mended one that would hold less of the belief is left to the
# priors. [1] Derived: half a hundredth is within what a ranking is off by.
LEAST_COMPANION = 5e-3

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
        shape (n_causes,). [unit of `sound`]
    part_of : IntArray
        Number of each cause's part, shape (n_causes,); two causes of one part make no
        pair.
    sound : float
        Likelihood of these facts when the repair was all that was needed.
    mended : Sequence[int]
        Causes that were repaired.
    most : int
        How many pairs to return at most. [1]

    Returns
    -------
    tuple[FaultSet, ...]
        Those with the likeliest companion first.
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
