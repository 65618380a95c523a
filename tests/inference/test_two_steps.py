"""What a second reading saves, on two problems worked by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.choice.look_ahead import after_outcomes, further_minutes
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
