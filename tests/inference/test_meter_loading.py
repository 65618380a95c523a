"""What insulation, dirt and a meter's own load make of a reading, worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnose.inference.compiled.meter_loading import (
    leak_factors,
    leak_volts,
    leaky_ohms,
    loaded_volts,
    over_range,
)
from tests.lamp_car import METER

# The meter has 10 Mohm; insulation begins at 1 Mohm.


@pytest.mark.parametrize(
    ("source_ohms", "factor", "expected"),
    [
        # Half insulation at 1 Mohm: 1 Mohm x (1 + .5 x (10 - 1)), or x (1 - .5 x .9).
        (1e6, 10.0, 5.5e6),
        (1e6, 0.1, 0.55e6),
        # Three quarters at 3 Mohm: 3 Mohm x (1 + .75 x 3).
        (3e6, 4.0, 9.75e6),
        # A joint of ten ohms is copper: a hundred-thousandth of it is insulation.
        (10.0, 10.0, 10.0009),
        # An average car has what the file says.
        (7e6, 1.0, 7e6),
    ],
)
def test_insulation_alone_differs_from_car_to_car(
    source_ohms: float, factor: float, expected: float
) -> None:
    found = leaky_ohms(np.array(source_ohms), np.array(factor))

    assert float(found) == pytest.approx(expected, rel=1e-9)


def test_cars_insulate_from_a_megohm_to_ten_gigohm() -> None:
    # The tables have 20 Mohm; a quarter of the way up is a tenth of the middle.
    found = leak_factors(np.array([0.0, 0.25, 0.5, 0.75, 1.0]))

    assert 2e7 * found == pytest.approx([1e6, 1e7, 1e8, 1e9, 1e10])


@pytest.mark.parametrize(
    ("across", "source_ohms", "factor", "expected"),
    [
        # 12 V behind 1 Mohm show 12 / 1.1 = 10.909 V; half of it is insulation, and
        # half of that may be off.
        (12.0, 1e6, 1.0, 10.909 / 4),
        # Swapped leads stray as much.
        (-12.0, 1e6, 1.0, 10.909 / 4),
        # A car that insulates ten times as well: 12 / 1.55 = 7.742 V.
        (12.0, 1e6, 10.0, 7.742 / 4),
        # Behind 9 Mohm nine tenths are insulation: 12 / 1.9 x .9 / 2.
        (12.0, 9e6, 1.0, 2.8421),
        # Behind copper, a hundred ohms of it: 12 V x 1e-4 / 2.
        (12.0, 100.0, 1.0, 0.0006),
    ],
)
def test_leakage_may_move_half_of_what_insulation_shows(
    across: float, source_ohms: float, factor: float, expected: float
) -> None:
    ohms, leaks = np.array(source_ohms), np.array(factor)
    found = leak_volts(
        loaded_volts(np.array(across), leaky_ohms(ohms, leaks), METER),
        ohms,
        leaks,
        METER,
        system_volts=0.0,
    )

    assert float(found) == pytest.approx(expected, rel=1e-3)


def test_a_live_neighbour_leaks_to_what_nothing_holds() -> None:
    # Nothing across a point behind 1 Gohm; a neighbour at 12 V behind the car's 20 Mohm
    # leaves 12 x 10 / 30 = 4 V on the meter, half of which may be there.
    found = leak_volts(
        np.array(0.0), np.array(1e9), np.array(1.0), METER, system_volts=12.0
    )

    assert float(found) == pytest.approx(2.0, rel=2e-3)


def test_meter_takes_its_share_of_the_volts() -> None:
    # By hand: 10 Mohm of 12.5 Mohm.
    found = loaded_volts(np.array([12.0, -12.0]), np.array([2.5e6, 2.5e6]), METER)

    assert found == pytest.approx([9.6, -9.6])


def test_a_megohm_is_still_shown() -> None:
    found = over_range(np.array([1e6, math.nextafter(1e6, 2e6), math.inf]))

    assert found.tolist() == [1e6, math.inf, math.inf]
