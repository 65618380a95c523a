"""Points on their way: what leaders write down, and where others start."""

from __future__ import annotations

import numpy as np

from diagnose.circuit.solver.moving_points import Guesses, Moving
from diagnose.circuit.solver.network import CURVE_LENGTH
from diagnose.circuit.solver.segments import Curves


def moving_points(*segments: int, stage: int) -> Moving:
    """Return points with one active branch each, on these segments."""
    n_points = len(segments)
    start = Moving.start(
        np.zeros(n_points, dtype=np.int64),
        Curves.of(np.zeros((CURVE_LENGTH, 1, n_points))),
        np.array([segments]),
        np.zeros((1, n_points), dtype=np.bool_),
    )
    start.stage[:] = stage
    return start


# Three stages, two leaders. The first rests on segment 1 before any gate has turned,
# the second on segment 3 after one turn.
def test_those_who_follow_start_where_their_leader_rested_in_that_stage() -> None:
    guesses = Guesses(np.zeros((3, 1, 2), dtype=np.int64), np.array([0, 1]))

    guesses.note(moving_points(1, 2, stage=0), np.array([True, False]))
    guesses.note(moving_points(2, 3, stage=1), np.array([False, True]))

    followers = Guesses(guesses.segment, np.array([1, 0, 1]))
    stage = np.array([0, 0, 1])
    assert followers.of(np.arange(3), stage).tolist() == [[0, 1, 3]]
    assert followers.take(np.array([2])).of(np.arange(1), stage[2:]).tolist() == [[3]]


def test_stages_beyond_the_last_are_as_the_last() -> None:
    guesses = Guesses(np.zeros((3, 1, 1), dtype=np.int64), np.array([0]))

    guesses.note(moving_points(1, stage=1), np.array([True]))
    guesses.note(moving_points(2, stage=7), np.array([True]))

    stages = np.array([0, 1, 2, 7])
    found = Guesses(guesses.segment, np.zeros(4, dtype=np.int64)).of(
        np.arange(4), stages
    )
    assert found.tolist() == [[0, 1, 2, 2]]
