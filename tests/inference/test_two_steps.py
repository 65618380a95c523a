"""What a second reading saves, on two problems worked by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.choice.look_ahead import (
    after_outcomes,
    binned_outcomes,
    further_minutes,
)
from diagnose.inference.choice.particles import Particles
from diagnose.inference.choice.reading_worth import RepairPlan

FOUR = Particles(
    row=np.arange(4),
    draw=np.zeros(4, dtype=np.int64),
    share=np.full(4, 0.25),
    group=np.arange(4),
)
PLAN = RepairPlan(minutes=np.full(4, 20.0), give_up_minutes=1e6)
FIRST = np.array([[1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0]])
"""The first reading tells the first two of four equal causes from the others."""


def second(some: IntArray, after: Particles) -> Sequence[FloatArray]:
    """Return the joint of one reading that tells the odd causes from the even ones."""
    joint = np.zeros((1, 2, 5))
    for cause, share in zip(some.tolist(), after.share.tolist(), strict=True):
        joint[0, cause % 2, cause] += share
    return [joint]


def further(minutes: float) -> float:
    after = after_outcomes(FIRST, FOUR)
    joints = [joint for one in after for joint in second(one.some, one.particles)]
    return further_minutes(after, joints, PLAN, minutes=np.array([minutes]))


def test_second_reading_spares_half_a_repair() -> None:
    # Two causes left, 20 min each: 20 + 10 min without the second reading, 20 min with
    # it. It saves 10 min and costs 4.
    assert further(4.0) == pytest.approx(6.0)


def test_second_reading_that_costs_more_is_not_taken() -> None:
    assert further(11.0) == 0.0


def test_particles_given_up_leave_a_whole_behind() -> None:
    # Cause 3 is a two-thousandth as likely as cause 2 and left out after the second
    # outcome: what is left are the others, with shares that sum to one.
    chances = np.array([0.5, 0.2, 0.2999, 0.0001])
    some = replace(FOUR, share=chances)

    first, then = after_outcomes(FIRST, some)

    # By hand: .5 and .2 of .7; .2999 alone.
    assert (first.some.tolist(), then.some.tolist()) == ([0, 1], [2])
    assert first.particles.share == pytest.approx([5 / 7, 2 / 7], abs=1e-12)
    assert then.particles.share == pytest.approx([1.0], abs=1e-12)


# By hand: an outcome as rare as three in a hundred is looked at, a rarer one is not.
@pytest.mark.parametrize(("rare", "n_after"), [(0.029, 1), (0.031, 2)])
def test_rare_outcome_is_not_looked_at(rare: float, n_after: int) -> None:
    some = replace(FOUR, share=np.array([0.5, 0.5 - rare, 0.5 * rare, 0.5 * rare]))

    found = after_outcomes(FIRST, some)

    assert len(found) == n_after
    assert found[0].chance == pytest.approx(1.0 - rare)
    # in whichever order they come
    assert len(after_outcomes(FIRST[::-1], some)) == n_after


# By hand: of the likeliest particle's .2999 a thousandth is .0002999.
@pytest.mark.parametrize(("small", "left"), [(0.00029, [2]), (0.00031, [2, 3])])
def test_particle_below_a_thousandth_of_the_likeliest_is_given_up(
    small: float, left: list[int]
) -> None:
    some = replace(FOUR, share=np.array([0.5, 0.2, 0.2999, small]))

    then = after_outcomes(FIRST, some)[1]

    assert then.some.tolist() == left
    assert then.particles.group.tolist() == left
    assert then.particles.row.tolist() == left


def test_unsure_outcome_leaves_each_particle_its_chance() -> None:
    # A lamp that is called lit by half the people under the second cause.
    outcomes = np.array([[1.0, 0.5], [0.0, 0.5]])
    two = Particles(
        row=np.array([7, 8]),
        draw=np.array([3, 4]),
        share=np.array([0.4, 0.6]),
        group=np.array([0, 1]),
    )

    lit, dim = after_outcomes(outcomes, two)

    # By hand: .4 and .3 of .7; .3 alone.
    assert [lit.chance, dim.chance] == pytest.approx([0.7, 0.3])
    assert lit.particles.share == pytest.approx([4 / 7, 3 / 7])
    assert (dim.particles.row.tolist(), dim.particles.draw.tolist()) == ([8], [4])


def test_second_reading_counts_by_the_chance_of_the_outcome() -> None:
    # After the first outcome (.8) two equal causes are left, after the other only one.
    some = replace(FOUR, share=np.array([0.4, 0.4, 0.2, 0.0]))
    after = after_outcomes(FIRST, some)
    joints = [joint for one in after for joint in second(one.some, one.particles)]

    found = further_minutes(after, joints, PLAN, minutes=np.array([4.0]))

    # By hand: .8 of the time it saves 10 min for 4; else there is nothing to tell.
    assert found == pytest.approx(0.8 * 6.0)


def test_best_of_several_second_readings_is_taken() -> None:
    after = after_outcomes(FIRST, FOUR)
    joints = []
    for one in after:
        (telling,) = second(one.some, one.particles)
        silent = telling.sum(axis=1, keepdims=True).repeat(2, axis=1) / 2
        joints += [np.concatenate([silent, telling, telling])]

    found = further_minutes(after, joints, PLAN, minutes=np.array([1.0, 7.0, 5.0]))

    # By hand: the first tells nothing; the others save 10 min for 7 and for 5.
    assert found == pytest.approx(5.0)


def test_without_a_second_reading_nothing_more_is_saved() -> None:
    after = after_outcomes(FIRST, FOUR)

    assert further_minutes(after, [], PLAN, minutes=np.array([1.0])) == 0.0
    assert further_minutes(after, [], PLAN, minutes=np.empty(0)) == 0.0


def test_bins_of_a_first_reading_leave_out_what_nothing_shows() -> None:
    # By hand: leads may be swapped; an edge belongs to the bin above it.
    values = np.array([-0.5, 2.0, 0.1, 9.0])

    found = binned_outcomes(values, np.array([1.0, 2.0, 5.0, 7.0]))

    assert found.tolist() == [
        [1.0, 0.0, 1.0, 0.0],
        [0.0, 1.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 1.0],
    ]
