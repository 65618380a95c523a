"""The next step, in minutes: what each reading is expected to save.

Works on particles (a fault set and a draw each) taken from the beliefs, so that a few
hundred readings are ranked in milliseconds. A reading's outcomes are bins a person
would tell apart; after each outcome the repairs are ordered by chance over cost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray, StoredArray
from diagnose.measurement.probe_lamp import GRADES, answer_chance

AMP_EDGES = np.array([0.03, 0.1, 0.3, 1, 2, 4, 6, 9, 13, 18, 25, 35, 50, 80, 120, 180])
AC_VOLT_EDGES = np.array([0.01, 0.02, 0.03, 0.05, 0.08, 0.12, 0.2, 0.35, 0.6, 1.0])
OHM_EDGES = np.array([0.3, 0.6, 1, 2, 4, 8, 16, 40, 100, 300, 1e3, 1e4, 1e5, 1e6, 4e7])
FUSE_VOLT_EDGES = 0.005 * AMP_EDGES
# Derived: as for amps, in a fuse of 15 A.
LOOK_EDGES = np.array([0.5])
# Derived: steps of a few times the meter's and the model's spread; they serve planning
# only.


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairPlan:
    """The repairs a hypothesis needs, seen from now.

    Parameters
    ----------
    minutes : FloatArray
        Of each group of causes (one line of the ranking), shape (n_groups,). [min]
    give_up_minutes : float
        What it costs when no repair of the list cures. [min]
    """

    minutes: FloatArray
    give_up_minutes: float


def expected_repair_minutes(probabilities: FloatArray, plan: RepairPlan) -> FloatArray:
    """Return the expected minutes to a cure, repairs in order of chance over cost.

    After each repair one may stop and get help instead; the best point to stop counts.

    Parameters
    ----------
    probabilities : FloatArray
        Of each group, shape (..., n_groups); may sum to less than 1: the rest is cured
        by none of them.

    Returns
    -------
    FloatArray
        Shape (...). [min]

    References
    ----------
    Kadane and Simon 1977; Heckerman, Breese and Rommelse 1995: with single faults and
    costs that do not depend on order, probability over cost is optimal.

    Examples
    --------
    >>> plan = RepairPlan(
    ...     minutes=np.array([30.0, 10.0, 2.0, 40.0]), give_up_minutes=1e9
    ... )
    >>> round(
    ...     float(expected_repair_minutes(np.array([0.45, 0.30, 0.15, 0.10]), plan)), 1
    ... )
    31.0
    """
    if not len(plan.minutes):
        return np.full(probabilities.shape[:-1], plan.give_up_minutes)
    order = np.argsort(-probabilities / plan.minutes, axis=-1)
    ranked = np.take_along_axis(probabilities, order, axis=-1)
    left = 1.0 - np.cumsum(ranked, axis=-1)
    before = np.concatenate([np.ones_like(left[..., :1]), left[..., :-1]], axis=-1)
    spent = np.cumsum(plan.minutes[order] * np.maximum(before, 0.0), axis=-1)
    stopping = spent + np.maximum(left, 0.0) * plan.give_up_minutes
    return np.asarray(np.minimum(stopping.min(axis=-1), plan.give_up_minutes))


def told_bits(joint: FloatArray) -> FloatArray:
    """Return the expected information about the group, shape (n_readings,). [bit].

    Parameters
    ----------
    joint : FloatArray
        Of outcome and group, shape (n_readings, n_bins, n_groups); each reading sums to
        the chance that the groups cover (at most 1), the last group being "nothing to
        mend".
    """
    outcome = _over_groups(joint)
    happens = outcome > 0.0
    chance = outcome[happens]
    unsure = np.zeros_like(outcome)
    unsure[happens] = chance * _entropy(joint[happens] / chance[:, None])
    return np.asarray(_entropy(joint.sum(axis=1)) - unsure.sum(axis=1))


def saved_minutes(joints: Sequence[FloatArray], plan: RepairPlan) -> FloatArray:
    """Return the expected minutes that readings save before their own cost. [min].

    Parameters
    ----------
    joints : Sequence[FloatArray]
        As for `told_bits`; of several kinds of reading, one after the other.

    Returns
    -------
    FloatArray
        Shape (n_readings,).
    """
    outcomes = [_over_groups(joint) for joint in joints]
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


def _over_groups(joint: FloatArray) -> FloatArray:
    """Return the sums along the last axis: by a product, for rows this short."""
    return np.asarray(joint @ np.ones(joint.shape[-1]))


def _entropy(probabilities: FloatArray) -> FloatArray:
    safe = np.where(probabilities > 0.0, probabilities, 1.0)
    return -_over_groups(safe * np.log2(safe))


def binned_joint(
    values: FloatArray | StoredArray,
    particles: Particles,
    *,
    edges: FloatArray,
    n_groups: int,
) -> FloatArray:
    """Return the joint of outcome bin and group for many readings.

    Parameters
    ----------
    values : FloatArray or StoredArray
        Simulated readings, shape (n_readings, n_particles).
    edges : FloatArray
        Rising bin edges.

    Returns
    -------
    FloatArray
        Shape (n_readings, n_edges + 1, n_groups); each reading sums to 1.
    """
    n_bins = len(edges) + 1
    outcome = np.searchsorted(edges, values, side="right")
    outcome *= n_groups
    outcome += particles.group
    return _counted(outcome, particles.share, n_bins=n_bins, n_groups=n_groups)


def _counted(
    outcome: IntArray, share: FloatArray, *, n_bins: int, n_groups: int
) -> FloatArray:
    """Return the share of each outcome, shape (n_readings, n_bins, n_groups).

    Parameters
    ----------
    outcome : IntArray
        Bin times groups plus group, shape (n_readings, n_particles); written over.
    """
    n_readings, n_cells = len(outcome), n_bins * n_groups
    outcome += (np.arange(n_readings) * n_cells)[:, None]
    counts = np.bincount(
        outcome.ravel(),
        np.broadcast_to(share, outcome.shape).ravel(),
        minlength=n_readings * n_cells,
    )
    return np.asarray(counts.reshape(n_readings, n_bins, n_groups))


def mutual_bits(joint: FloatArray) -> FloatArray:
    """Return the information each reading gives about the group, (n_readings,). [bit].

    Parameters
    ----------
    joint : FloatArray
        Shape (n_readings, n_bins, n_groups); each reading sums to 1.
    """
    n_readings = len(joint)
    whole = _entropy(joint.reshape(n_readings, -1))
    return np.asarray(_entropy(joint.sum(axis=1)) + _entropy(joint.sum(axis=2)) - whole)


def yes_no_joint(yes: FloatArray, particles: Particles, *, n_groups: int) -> FloatArray:
    """Return the joint of a yes or no and group, shape (n_symptoms, 2, n_groups).

    Parameters
    ----------
    yes : FloatArray
        Chance of a yes for each particle, shape (n_symptoms, n_particles).
    """
    one_hot = np.zeros((len(particles.group), n_groups))
    one_hot[np.arange(len(particles.group)), particles.group] = particles.share
    return np.stack([yes @ one_hot, (1.0 - yes) @ one_hot], axis=1)


def graded_joint(
    grades: FloatArray | StoredArray, particles: Particles, *, n_groups: int
) -> FloatArray:
    """Return the joint of a test lamp's answer and group, (n_readings, 3, n_groups).

    Parameters
    ----------
    grades : FloatArray or StoredArray
        For each particle, shape (n_readings, n_particles); see `lamp_grade`.
    """
    one_hot = np.zeros((len(particles.group), n_groups))
    one_hot[np.arange(len(particles.group)), particles.group] = particles.share
    answers = [answer_chance(value, grades) @ one_hot for value in GRADES.values()]
    return np.stack(answers, axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Particles:
    """Fault sets with draws, standing for the beliefs.

    Parameters
    ----------
    row, draw : IntArray
        Fault set and tolerance draw, shape (n_particles,).
    share : FloatArray
        Shape (n_particles,); sums to 1.
    group : IntArray
        What has to be mended: a column of the joints, shape (n_particles,).
    told_of : IntArray or None
        The row of the beliefs each particle stands for, where `row` is that of what it
        shows; the same when None.
    """

    row: IntArray
    draw: IntArray
    share: FloatArray
    group: IntArray
    told_of: IntArray | None = None


RULED_OUT = 0.02
# Derived: a draw with a fiftieth of the weight of its set's best draw.


def common_particles(
    weights: FloatArray, *, most_sets: int, n_draws: int
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return rows, draws and shares of particles that share their draws.

    Parameters
    ----------
    weights : FloatArray
        Shape (n_sets, n_all_draws); sums to 1.
    most_sets : int
        The likeliest fault sets to keep.
    n_draws : int
        Draws a set, or all when there are fewer.

    Notes
    -----
    Every fault set gets the same draws with the same shares, taken from the beliefs
    about
    the draws over all sets, but for draws that the facts have ruled out for it: sets
    that would show the same then show the same here, and a reading that can't tell them
    apart is seen to be worth nothing.
    """
    chances = weights.sum(axis=1)
    rows = np.argsort(-chances, kind="stable")[:most_sets]
    rows = rows[chances[rows] > 1e-4 * chances[rows[0]]]
    by_draw = weights[rows].sum(axis=0)
    draws = np.sort(np.argsort(-by_draw, kind="stable")[:n_draws])
    own = weights[rows][:, draws]
    is_possible = own > RULED_OUT * own.max(axis=1, keepdims=True)
    share = np.where(is_possible, by_draw[draws], 0.0)
    share *= (chances[rows] / share.sum(axis=1))[:, None]
    share /= share.sum()
    return np.repeat(rows, len(draws)), np.tile(draws, len(rows)), share.ravel()


def edges_for(unit: str) -> FloatArray:
    """Return the outcome edges for a kind of reading, neither volts nor a test lamp."""
    edges = {
        "ac": AC_VOLT_EDGES,
        "amps": AMP_EDGES,
        "ohms": OHM_EDGES,
        "fuse": FUSE_VOLT_EDGES,
    }
    return edges.get(unit, LOOK_EDGES)


def best_first(saves_minutes: FloatArray, cost_minutes: FloatArray) -> Sequence[int]:
    """Return the indices of readings by what they save net of their own cost."""
    order: list[int] = np.argsort(
        -(saves_minutes - cost_minutes), kind="stable"
    ).tolist()
    return order
