"""How far a right reading of each kind may lie from its prediction, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.inference.belief.reading_spread import (
    Spread,
    closed_deviation,
    spread_of,
)
from diagnose.measurement.meters import MeterRange
from diagnose.measurement.readings import ReadingKind
from tests.lamp_car import METER


# By hand: half of what the meter may be off, and how far a sound car strays from its
# file, added by their squares. The model's shares are from memory, see `evidence`.
@pytest.mark.parametrize(
    ("kind", "predicted", "expected"),
    [
        # meter (1 % of .2 + 5 x .001)/2 = .0035; model .005 and 35 % of .2
        (ReadingKind.AC_VOLTS, 0.2, 0.0702655),
        # meter 5 x .001/2 = .0025; model .005
        (ReadingKind.AC_VOLTS, 0.0, 0.0055902),
        # meter (3 % of 10 + 5 x .1)/2 = .4; model 7 % of 10
        (ReadingKind.AMPS, 10.0, 0.8062258),
        # meter 5 x .1/2 = .25, no model
        (ReadingKind.AMPS, 0.0, 0.25),
        # meter (1 % of 5 + 3 x .1)/2 = .175; model .05 and 10 % of 5
        (ReadingKind.OHMS, 5.0, 0.5320949),
        # meter 3 x .1/2 = .15; model .05
        (ReadingKind.OHMS, 0.0, 0.1581139),
        # meter (.5 % of 6 + 2 x .01)/2 = .025; model .03 and 1 % of 6
        (ReadingKind.DC_VOLTS, 6.0, 0.0715891),
        # meter 2 x .01/2 = .01; model .03
        (ReadingKind.DC_VOLTS, 0.0, 0.0316228),
    ],
    ids=lambda value: getattr(value, "value", value),
)
def test_deviation_of_each_kind_of_reading(
    kind: ReadingKind, predicted: float, expected: float
) -> None:
    spread = spread_of(kind, METER, system_volts=12.0)

    assert float(spread.deviation(np.array(predicted))) == pytest.approx(
        expected, rel=1e-5
    )


def test_deviation_does_not_depend_on_the_sign() -> None:
    spread = spread_of(ReadingKind.DC_VOLTS, METER, system_volts=12.0)

    # By hand, as above for 6 V.
    assert float(spread.deviation(np.array(-6.0))) == pytest.approx(0.0715891, rel=1e-5)


def test_volts_along_a_fuse_stray_with_its_resistance_and_the_loads() -> None:
    spread = spread_of(ReadingKind.FUSE, METER, system_volts=12.0, fuse_tolerance=0.15)

    # By hand at 10 mV: meter (.5 % of .01 + 3 x .0001)/2 = .000175; model 15 % and 7 %
    # of .01, which is .0016553.
    assert float(spread.deviation(np.array(0.01))) == pytest.approx(0.0016645, rel=1e-4)


def test_a_fuse_of_known_ohms_strays_with_the_loads_alone() -> None:
    spread = spread_of(ReadingKind.FUSE, METER, system_volts=12.0)

    # By hand at 30 mV: meter (.5 % of .03 + 3 x .0001)/2 = .000225; model 7 % of .03.
    assert float(spread.deviation(np.array(0.03))) == pytest.approx(0.002112, rel=1e-3)


# By hand: 1.25 and a tenth of the system's volts; a meter's amps and ohms within 100;
# .1 V along a fuse, a third more than at its rating.
@pytest.mark.parametrize(
    ("kind", "span"),
    [
        (ReadingKind.DC_VOLTS, 30.0),
        (ReadingKind.AC_VOLTS, 2.4),
        (ReadingKind.AMPS, 100.0),
        (ReadingKind.OHMS, 100.0),
        (ReadingKind.FUSE, 0.1),
    ],
    ids=lambda value: getattr(value, "value", None),
)
def test_a_slip_lands_within_a_span_of_its_kind(kind: ReadingKind, span: float) -> None:
    assert spread_of(kind, METER, system_volts=24.0).span == pytest.approx(span)


# A reading that strays by .03 V, whatever it is.
PLAIN = Spread(
    range_=MeterRange(percent=0.0, counts=0, resolution=0.0),
    fixed=0.03,
    fraction=0.0,
    span=15.0,
)

# By hand, for eight draws in rising order: a gap is the distance from the second draw
# below to the second above, over the steps between them, times 3 / 3.4641; at most
# three standard deviations of all draws over their number. The highest draw stands for
# what lies beyond as well: three times its distance to the fourth below, over four.
GAPS = [
    # Six alike and two far off: mean 2.625, standard deviation 4.5535, at most 1.70755
    # V. The first four have nothing but their like around them; at the end 3 x 11 / 4.
    ([0.0] * 6 + [10.0, 11.0], [0.0] * 4 + [1.70755] * 3 + [8.25]),
    # Six of them a tenth apart: .1 V x .8660 around the first four. Mean 2.8125,
    # standard deviation 4.44788, at most 1.66795 V. The lowest has 3 x .4 / 4 below it,
    # the highest 3 x 10.7 / 4 above.
    (
        [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 10.0, 11.0],
        [0.3] + [0.0866025] * 3 + [1.66795] * 3 + [8.025],
    ),
    # A hundredth of the first: .0170755 V, which is over a fifth of .03 V.
    ([0.0] * 6 + [0.10, 0.11], [0.0] * 4 + [0.0170755] * 3 + [0.0825]),
    # A thousandth of it: .00170755 V, under a fifth, counts for all draws alike.
    ([0.0] * 6 + [0.010, 0.011], [0.00170755] * 8),
]


@pytest.mark.parametrize(("predicted", "gaps"), GAPS)
def test_gaps_between_draws_are_closed_where_they_are(
    predicted: list[float], gaps: list[float]
) -> None:
    order = np.array([3, 0, 7, 1, 6, 2, 5, 4])  # draws come in any order
    shuffled = np.array([predicted])[:, order]

    found = closed_deviation(shuffled, PLAIN)

    expected = np.hypot(0.03, np.array([gaps]))[:, order]
    assert found == pytest.approx(expected, rel=1e-5)


def test_gaps_are_those_between_the_draws_that_were_solved() -> None:
    predicted, gaps = GAPS[1]

    found = closed_deviation(np.repeat([predicted], 2, axis=1), PLAIN, stands_for=2)

    assert found == pytest.approx(
        np.hypot(0.03, np.repeat([gaps], 2, axis=1)), rel=1e-5
    )


def test_gaps_of_one_fault_set_are_its_own() -> None:
    wide, narrow = GAPS[0], ([5.0] * 8, [0.0] * 8)

    found = closed_deviation(np.array([wide[0], narrow[0]]), PLAIN)

    expected = np.hypot(0.03, np.array([wide[1], narrow[1]]))
    assert found == pytest.approx(expected, rel=1e-5)


def test_ladder_of_severities_needs_no_open_end() -> None:
    predicted, gaps = GAPS[0]

    found = closed_deviation(np.array([predicted]), PLAIN, is_ladder=True)

    expected = np.hypot(0.03, np.array([[*gaps[:-1], 1.70755]]))
    assert found == pytest.approx(expected, rel=1e-5)
