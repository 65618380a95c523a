"""Sets solved in a few draws, carried over to all of them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnose.session.evidence.weighing.all_draws import on_all_draws

# Two of four draws are solved, and stand for one more each.
SOUND = np.array([12.0, 12.4, 11.8, 12.2])
SUPPLY = np.array([12.5, 12.9, 12.3, 12.7])


def carried(*solved: float, supply: bool = False) -> list[float]:
    predicted = np.repeat(np.array([solved]), 2, axis=1)
    shown, _ = on_all_draws(predicted, SOUND, 2, supply=SUPPLY if supply else None)
    found: list[float] = shown[0].tolist()
    return found


def test_what_no_fault_moves_is_as_on_the_sound_car() -> None:
    assert carried(12.0, 11.8) == pytest.approx(SOUND.tolist())


def test_nothing_stays_nothing() -> None:
    assert carried(0.0, 0.0) == [0.0, 0.0, 0.0, 0.0]


def test_half_is_half_in_every_draw() -> None:
    assert carried(6.0, 5.9) == pytest.approx([6.0, 6.2, 5.9, 6.1])


def test_lifted_to_the_supply_is_the_supply_of_each_draw() -> None:
    # sound 12.0, supply 12.5: all of the .5 V left; so in the draw it stands for
    ground = np.array([0.01, 0.02, 0.01, 0.02])
    predicted = np.array([[12.5, 12.5, 12.3, 12.3]])

    shown, _ = on_all_draws(predicted, ground, 2, supply=SUPPLY)

    assert shown[0] == pytest.approx(SUPPLY)


def test_half_way_to_the_supply_is_half_way_in_every_draw() -> None:
    predicted = np.array([[6.25, 6.25, 6.15, 6.15]])

    shown, _ = on_all_draws(predicted, np.zeros(4), 2, supply=SUPPLY)

    assert shown[0] == pytest.approx(0.5 * SUPPLY)


def test_over_range_stays_over_range() -> None:
    predicted = np.array([[math.inf, math.inf, 5.0, 5.0]])

    shown, hardly = on_all_draws(predicted, np.array([5.0, 6.0, 5.0, 7.0]), 2)

    assert shown[0].tolist() == [math.inf, math.inf, 5.0, 7.0]
    assert hardly.tolist() == [False]


def test_rows_that_hardly_move_are_told() -> None:
    # .05 V and 2 % of 12 V, .29 V, are hardly anything; .4 V is something
    predicted = np.array([[12.2, 12.2, 12.0, 12.0], [12.4, 12.4, 11.8, 11.8]])

    assert on_all_draws(predicted, SOUND, 2)[1].tolist() == [True, False]
