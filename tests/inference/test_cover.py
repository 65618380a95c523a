"""The shortest list of readings, on covers small enough to see through."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest

from diagnose.arrays import BoolArray, FloatArray
from diagnose.inference.choice.set_cover import short_cover


def alike(n_readings: int) -> FloatArray:
    return np.ones(n_readings)


def cover(shows: BoolArray, weight: FloatArray, *, wanted: float) -> list[int]:
    return short_cover(
        shows, weight, wanted=wanted, minutes=lambda _: alike(len(shows))
    )


def test_reading_that_shows_most_comes_first() -> None:
    shows = np.array([[1, 0, 0], [0, 1, 1]], dtype=np.bool_)

    assert cover(shows, np.array([0.3, 0.3, 0.4]), wanted=1.0) == [1, 0]


def test_light_case_is_left_out_when_the_rest_is_enough() -> None:
    shows = np.array([[1, 0], [0, 1]], dtype=np.bool_)

    assert cover(shows, np.array([0.99, 0.01]), wanted=0.99) == [0]


def test_reading_made_needless_by_later_ones_is_dropped() -> None:
    # The third shows 2 + 2 of weight and comes first; then the other two, each for the
    # 1.5 that it alone shows, show between them all that the third does.
    shows = np.array([[1, 1, 0, 0], [0, 0, 1, 1], [0, 1, 1, 0]], dtype=np.bool_)

    assert cover(shows, np.array([1.5, 2.0, 2.0, 1.5]), wanted=7.0) == [0, 1]


def test_of_readings_nearly_as_good_the_cheapest_is_taken() -> None:
    shows = np.array([[1, 1], [1, 1]], dtype=np.bool_)
    minutes = np.array([8.0, 1.0])

    assert short_cover(shows, np.ones(2), wanted=2.0, minutes=lambda _: minutes) == [1]


def test_of_readings_nearly_as_good_the_cheapest_for_what_it_shows_is_taken() -> None:
    # By hand: 1 min for 1.00, or .97 min for .96, which is 1.01 min for each.
    shows = np.array([[1, 1, 0], [1, 0, 1]], dtype=np.bool_)
    minutes = np.array([1.0, 0.97])
    weight = np.array([0.9, 0.1, 0.06])

    assert short_cover(shows, weight, wanted=0.95, minutes=lambda _: minutes) == [0]


# By hand: a reading that shows 96 of a hundred is nearly as good, one with 94 is not.
@pytest.mark.parametrize(("least", "chosen"), [(0.06, [1]), (0.04, [0])])
def test_nearly_as_good_is_within_a_twentieth(least: float, chosen: list[int]) -> None:
    shows = np.array([[1, 1, 0], [1, 0, 1]], dtype=np.bool_)
    weight = np.array([0.9, 0.1, least])
    minutes = np.array([9.0, 1.0])

    assert short_cover(shows, weight, wanted=0.9, minutes=lambda _: minutes) == chosen


def test_minutes_depend_on_what_was_chosen_before() -> None:
    # Once the first reading is taken, the third costs less than the second.
    shows = np.array([[1, 1, 1, 0], [0, 0, 0, 1], [0, 0, 0, 1]], dtype=np.bool_)

    def minutes(chosen: Sequence[int]) -> FloatArray:
        return np.array([1.0, 2.0, 1.0 if 0 in chosen else 9.0])

    assert short_cover(shows, np.ones(4), wanted=4.0, minutes=minutes) == [0, 2]


def test_more_than_all_readings_show_is_refused() -> None:
    shows = np.array([[1, 0]], dtype=np.bool_)

    with pytest.raises(ValueError, match="together show less"):
        cover(shows, np.ones(2), wanted=2.0)


def test_list_is_hardly_longer_than_the_shortest() -> None:
    # Every list of up to seven readings tried, on twenty random covers of 60 cases.
    random = np.random.default_rng(5)
    extra = 0
    for _ in range(20):
        shows = random.random((12, 60)) < 0.35
        weight = random.dirichlet(np.ones(60))
        wanted = 0.99 * float(weight[shows.any(axis=0)].sum())
        found = len(cover(shows, weight, wanted=wanted))
        extra += found - _shortest(shows, weight, wanted=wanted, most=found)

    assert extra <= 10


def _shortest(shows: BoolArray, weight: FloatArray, *, wanted: float, most: int) -> int:
    for size in range(1, most):
        for chosen in combinations(range(len(shows)), size):
            if float(weight[shows[list(chosen)].any(axis=0)].sum()) >= wanted:
                return size
    return most
