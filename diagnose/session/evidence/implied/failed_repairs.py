"""Whether what was seen since a repair says that it took, or that it did not.

A complaint that is still there says that something is wrong, not that this repair
failed: another cause may be behind it. Only a reading that the part still bad would
give, and the other causes would not, speaks of the repair itself. Leaves what to do
about it to `advice`.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.belief.beliefs import RepairStep, Step, update
from diagnose.session.evidence.conclusion import Conclusion
from diagnose.session.facts import SymptomFact

# From these odds on, what was seen tells mended from not. [1] Own choice: ten to one;
# bands that overlap by more prove nothing.
PROVING_ODDS = 10.0

# The least chance that is divided by. [1] Own choice: near the smallest double.
LEAST_CHANCE = 1e-300


def failure_odds(
    conclusion: Conclusion,
    rows: IntArray,
    *,
    repair: int,
    retests: frozenset[str],
) -> float:
    """Return how much likelier what was seen since a repair is if it did not take.

    Parameters
    ----------
    conclusion : Conclusion
        What the facts amount to.
    rows : IntArray
        The fault sets with what was mended still bad, shape (n_rows,).
    repair : int
        Which repair, counted from 0.
    retests : frozenset[str]
        The symptoms that complaints are tested by; they speak of every cause alike and
        are not counted here.

    Returns
    -------
    float
        Factor on the odds of still bad against anything else: above 1 speaks for a
        repair that failed. 1 where nothing was seen since. [1]

    Notes
    -----
    Weighed with all other facts known, the tests of the complaint among them. Does not
    depend on the order of the facts between two repairs.
    """
    seen = np.ones(conclusion.prior.shape)
    others: list[Step] = []
    for step, counts in _counted(conclusion, repair, retests):
        if counts and not isinstance(step, RepairStep):
            seen = seen * step
        else:
            others.append(step)
    beliefs = update(
        conclusion.hypotheses.sets,
        conclusion.prior,
        others,
        remains=conclusion.remains,
    )
    if beliefs is None:
        return 1.0
    is_bad = np.zeros(len(seen), dtype=np.bool_)
    is_bad[rows] = True
    still = _mean(seen[is_bad], beliefs.weights[is_bad])
    gone = _mean(seen[~is_bad], beliefs.weights[~is_bad])
    return still / max(gone, LEAST_CHANCE)


def _counted(
    conclusion: Conclusion, repair: int, retests: frozenset[str]
) -> Iterator[tuple[Step, bool]]:
    """Yield each fact and repair, and whether it was seen since and is no retest."""
    done = 0
    for noted, likelihood in zip(
        conclusion.observations, conclusion.weighed, strict=True
    ):
        while done < noted.epoch:
            yield conclusion.repairs[done], False
            done += 1
        told = noted.observation
        is_retest = isinstance(told, SymptomFact) and told.symptom in retests
        yield likelihood, noted.epoch > repair and not is_retest
    for step in conclusion.repairs[done:]:
        yield step, False


def _mean(seen: FloatArray, weights: FloatArray) -> float:
    """Return the mean of a likelihood over fault sets and draws; 1 over none."""
    total = float(weights.sum())
    return float((seen * weights).sum()) / total if total > LEAST_CHANCE else 1.0
