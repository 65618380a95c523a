"""What a reading is worth: the minutes it is expected to save on the way to a cure.

After each outcome the repairs are ordered by chance over cost. Works on joints
(`joints`); leaves what a reading itself costs to `session.steps`.

The unit of worth is minutes: a choice that ignores cost is two to three times the
optimum on small problems solved exactly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.inference.choice.joints import over_groups


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternatives:
    """Repairs of which a car needs one at most: what else could be behind one fault.

    Parameters
    ----------
    minutes : FloatArray
        Of each repair, shape (n_repairs,). [min]
    needed : FloatArray
        1 where a group of causes needs a repair, else 0, shape (n_groups, n_repairs).
        [1]
    """

    minutes: FloatArray
    needed: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairPlan:
    """The repairs that may be needed, seen from now.

    Parameters
    ----------
    minutes : FloatArray
        Of each group of causes (one line of the ranking), shape (n_groups,). [min]
    give_up_minutes : float
        What it costs when no repair of the list cures. [min]
    vain_factor : float
        What a repair that does not cure counts as, in those that do. [1]
    alternatives : tuple[Alternatives, ...]
        Where groups are of several faults: the repairs for each of the faults, which
        are looked for one beside the other. Empty where a group is one repair.
    bit_minutes : float
        What it takes to learn a bit by further readings; without end where none are
        taken. [min]
    """

    minutes: FloatArray
    give_up_minutes: float
    vain_factor: float = 1.0
    alternatives: tuple[Alternatives, ...] = ()
    bit_minutes: float = math.inf


def expected_repair_minutes(probabilities: FloatArray, plan: RepairPlan) -> FloatArray:
    """Return the expected minutes to a cure, repairs in order of chance over cost.

    After each repair one may stop and get help instead; the best point to stop counts.

    Parameters
    ----------
    probabilities : FloatArray
        Of each group, shape (..., n_groups); may sum to less than 1: the rest is cured
        by none of them. [1]
    plan : RepairPlan
        What each repair takes.

    Returns
    -------
    FloatArray
        Shape (...). [min]

    Notes
    -----
    With single faults and costs that do not depend on order, the order of probability
    over cost is the best one, whatever a repair in vain counts as beside one that
    cures. Of two faults each is looked for by itself: its complaint says when it is
    mended. Taking every pair for one repair of its own made their list so long that
    giving up was the cheapest before and after any reading, so that none seemed to pay.

    References
    ----------
    D. Heckerman, J. S. Breese and K. Rommelse, Decision-theoretic troubleshooting,
    Communications of the ACM 38 (3), 1995.

    J. B. Kadane and H. A. Simon, Optimal strategies for a class of constrained
    sequential problems, Annals of Statistics 5, 1977.

    Examples
    --------
    >>> from dataclasses import replace
    >>> plan = RepairPlan(
    ...     minutes=np.array([30.0, 10.0, 2.0, 40.0]), give_up_minutes=1e9
    ... )
    >>> round(
    ...     float(expected_repair_minutes(np.array([0.45, 0.30, 0.15, 0.10]), plan)), 1
    ... )
    31.0

    By hand, with repairs in vain counted twice: 2 (2 - .15) + 10 (1.7 - .3)
    + 30 (1.1 - .45) + 40 (.2 - .1) = 3.7 + 14 + 19.5 + 4.

    >>> twice = replace(plan, vain_factor=2.0)
    >>> round(
    ...     float(expected_repair_minutes(np.array([0.45, 0.30, 0.15, 0.10]), twice)), 1
    ... )
    41.2
    """
    total = np.ones(probabilities.shape[:-1])
    if not plan.alternatives:
        return _in_order(probabilities, plan.minutes, total, plan)
    # what no group has is looked for among the first
    total = total - probabilities.sum(axis=-1)
    result = np.zeros(total.shape)
    for one in plan.alternatives:
        needed = probabilities @ one.needed
        total = total + needed.sum(axis=-1)
        result += _in_order(needed, one.minutes, total, plan)
        total = np.zeros(total.shape)
    return result


def _in_order(
    probabilities: FloatArray, minutes: FloatArray, total: FloatArray, plan: RepairPlan
) -> FloatArray:
    """Return the expected minutes of repairs of which one is needed at most. [min].

    Parameters
    ----------
    probabilities : FloatArray
        Of each repair, shape (..., n_repairs). [1]
    minutes : FloatArray
        Of each, shape (n_repairs,). [min]
    total : FloatArray
        Chance that there is anything to mend, shape (...). [1]
    plan : RepairPlan
        What giving up takes, and repairs in vain.
    """
    if not len(minutes):
        return total * plan.give_up_minutes
    order = np.argsort(-probabilities / minutes, axis=-1)
    ranked = np.take_along_axis(probabilities, order, axis=-1)
    left = total[..., None] - np.cumsum(ranked, axis=-1)
    before = np.concatenate([total[..., None], left[..., :-1]], axis=-1)
    tried = plan.vain_factor * np.maximum(before, 0.0)
    tried -= (plan.vain_factor - 1.0) * ranked
    spent = np.cumsum(minutes[order] * tried, axis=-1)
    stopping = spent + np.maximum(left, 0.0) * plan.give_up_minutes
    best = np.minimum(stopping.min(axis=-1), total * plan.give_up_minutes)
    if math.isfinite(plan.bit_minutes):
        best = np.minimum(best, _read_on(probabilities, minutes, total, plan))
    return np.asarray(best)


def _read_on(
    probabilities: FloatArray, minutes: FloatArray, total: FloatArray, plan: RepairPlan
) -> FloatArray:
    """Return the expected minutes of reading on until the repair is known. [min]."""
    none = np.maximum(total - probabilities.sum(axis=-1), 0.0)
    every = np.concatenate([probabilities, none[..., None]], axis=-1)
    safe = np.where(every > 0.0, every, 1.0)
    bits = -(safe * np.log2(safe)).sum(axis=-1)
    return np.asarray(
        plan.bit_minutes * bits + probabilities @ minutes + none * plan.give_up_minutes
    )


def saved_minutes(joints: Sequence[FloatArray], plan: RepairPlan) -> FloatArray:
    """Return the expected minutes that readings save before their own cost.

    Parameters
    ----------
    joints : Sequence[FloatArray]
        Of several kinds of reading, shape (n_readings, n_outcomes, n_groups) each; the
        last group is nothing to mend. [1]
    plan : RepairPlan
        What each repair takes.

    Returns
    -------
    FloatArray
        The kinds one after the other, shape (n_readings of all kinds,). [min]
    """
    outcomes = [over_groups(joint) for joint in joints]
    happens = [outcome > 0.0 for outcome in outcomes]
    both = list(zip(joints, outcomes, happens, strict=True))
    chance = np.concatenate([outcome[some] for _, outcome, some in both])
    groups = np.concatenate([joint[some][:, :-1] for joint, _, some in both])
    number, owner = 0, []
    for some in happens:
        owner.append(number + np.flatnonzero(some) // some.shape[1])
        number += len(some)
    minutes = chance * expected_repair_minutes(groups / chance[:, None], plan)
    after = np.bincount(np.concatenate(owner), minutes, minlength=number)
    now = np.concatenate([joint[..., :-1].sum(axis=1) for joint in joints])
    return np.asarray(expected_repair_minutes(now, plan) - after)
