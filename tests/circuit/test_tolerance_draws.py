"""Draws of what is not known exactly: one in each share, and by name alone.

A Latin hypercube: the span of a quantity is cut into as many equal shares as there are
draws, and one falls into each (McKay, Beckman and Conover, 1979, from memory).
"""

from __future__ import annotations

from math import e

import numpy as np
import pytest

from diagnose.circuit.tolerance_draws import Middle, Sample
from diagnose.circuit.values import Distribution, Shape, fixed

N_DRAWS = 64
# The quantile of a normal distribution one standard deviation above its mean: any
# table. [1]
ONE_DEVIATION = 0.8413447460685429


@pytest.mark.parametrize("key", ["pump-wire/joint_a_ohms", "battery/full_volts"])
def test_one_draw_falls_into_each_share_and_none_on_an_edge(key: str) -> None:
    places = Sample(n_draws=N_DRAWS).probabilities(key) * N_DRAWS

    assert sorted(np.floor(places).tolist()) == list(range(N_DRAWS))
    within = places - np.floor(places)
    assert within.min() >= 0.05 - 1e-9
    assert within.max() <= 0.95 + 1e-9


def test_the_name_of_a_quantity_says_in_which_order_its_shares_come() -> None:
    sample = Sample(n_draws=N_DRAWS)
    one, same, other = (
        sample.probabilities(key) for key in ("wire/ohms", "wire/ohms", "lamp/ohms")
    )

    assert (one == same).all()
    # two orders of 64 shares at random are far from alike: 1 / sqrt(63) is .13
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.5


def test_another_seed_gives_another_set() -> None:
    one, other = (
        Sample(n_draws=N_DRAWS, seed=seed).probabilities("wire/ohms") for seed in (0, 1)
    )

    assert (Sample(n_draws=N_DRAWS).probabilities("wire/ohms") == one).all()
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.5


def test_the_middle_car_is_the_median_of_everything() -> None:
    assert Middle(n_draws=3).probabilities("wire/ohms").tolist() == [0.5, 0.5, 0.5]


# By hand: the median, and the value that a quantity exceeds one time in six: a
# deviation above the middle of a normal one, e times the median where ln varies by 1;
# .84 of the way from 2 to 4, and 2 to the power 1.84 where the logarithm is even.
@pytest.mark.parametrize(
    ("shape", "first", "second", "median", "high"),
    [
        (Shape.NORMAL, 12.6, 0.2, 12.6, 12.8),
        (Shape.LOGNORMAL, 3.0, 1.0, 3.0, 3.0 * e),
        (Shape.UNIFORM, 2.0, 4.0, 3.0, 3.68269),
        (Shape.LOGUNIFORM, 2.0, 4.0, 2.828427, 3.58344),
    ],
)
def test_values_lie_where_their_family_puts_them(
    shape: Shape, first: float, second: float, median: float, high: float
) -> None:
    quantity = Distribution(shape=shape, first=first, second=second)

    found = quantity.quantile(np.array([0.5, ONE_DEVIATION]))
    assert found.tolist() == pytest.approx([median, high], rel=1e-5)
    assert quantity.nominal == pytest.approx(median, rel=1e-6)


def test_a_value_known_for_certain_is_that_in_every_draw() -> None:
    assert fixed(0.3).quantile(np.array([0.1, 0.9])).tolist() == [0.3, 0.3]
    assert fixed(0.3).nominal == 0.3
