"""Likelihoods of readings, looks and reports, worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.inference.belief.evidence import (
    lamp_likelihood,
    look_likelihood,
    reading_likelihood,
    symptom_likelihood,
    tail_of,
)
from diagnose.inference.belief.reading_spread import Spread, spread_of
from diagnose.inference.belief.slips import Slips, slip_density
from diagnose.measurement.readings import ReadingKind
from tests.lamp_car import METER, SYMPTOMS

SLIP = METER.slip_probability
VOLTS = spread_of(ReadingKind.DC_VOLTS, METER, system_volts=12.0)
OHMS = spread_of(ReadingKind.OHMS, METER, system_volts=12.0)
SYMPTOM = SYMPTOMS["lamp-shines"]


def at(*values: float) -> FloatArray:
    """Return one fault set with these predicted draws."""
    return np.array([values])


def likelihood(value: float, predicted: FloatArray, spread: Spread = VOLTS) -> float:
    found = reading_likelihood(
        value, predicted, spread=spread, slips=Slips(probability=SLIP)
    )
    return float(found.mean())


def test_deviation_is_half_the_accuracy_and_the_model_together() -> None:
    # By hand at 12 V: meter (.5 % of 12 + .02)/2 = .04; model .03 and .12.
    expected = math.sqrt(0.04**2 + 0.03**2 + 0.12**2)

    assert float(VOLTS.deviation(np.array(12.0))) == pytest.approx(expected, rel=1e-12)


def test_likelihood_is_a_normal_density_beside_a_slip() -> None:
    # By hand one standard deviation off; a slip lands anywhere in 15 V.
    sigma = math.sqrt(0.04**2 + 0.03**2 + 0.12**2)
    density = math.exp(-0.5) / (sigma * math.sqrt(2 * math.pi))

    found = likelihood(12.0 + sigma, at(12.0))

    assert found == pytest.approx(0.98 * density + 0.02 / 15.0, rel=1e-9)


def test_likelihood_of_all_values_sums_to_one() -> None:
    values = np.linspace(0.0, 15.0, 3001)
    density = [likelihood(float(value), at(7.0)) for value in values]

    # 1e-6: step of the trapezoidal rule
    assert float(np.trapezoid(density, values)) == pytest.approx(1.0, abs=1e-6)


def test_far_value_is_a_slip_and_not_impossible() -> None:
    assert likelihood(0.0, at(12.0)) == pytest.approx(SLIP / 15.0, rel=1e-9)


def test_slip_lands_within_the_span_of_a_system() -> None:
    # A 6 V car charges to half as much: 1.25 x 6.
    spread = spread_of(ReadingKind.DC_VOLTS, METER, system_volts=6.0)

    assert spread.span == pytest.approx(7.5)


def test_value_between_the_draws_is_not_ruled_out() -> None:
    # 64 draws over 0 to 12 V lie 0.19 V apart, twice the spread of a reading near 1 V:
    # a value half way between two of them must fit almost as well as one on a draw.
    draws = np.linspace(0.0, 12.0, 64)[None]
    on_a_draw, between = float(draws[0, 5]), float(draws[0, 5:7].mean())

    ratio = likelihood(between, draws) / likelihood(on_a_draw, draws)

    assert ratio == pytest.approx(1.0, abs=0.05)


def test_draws_that_show_the_same_are_as_sure_as_one() -> None:
    # A short circuit that has blown its fuse in 48 draws and not in 16. By hand, of the
    # middle of the 48: a normal at its top, (.02^2 / 4 + .03^2)^-1/2 / sqrt(2 pi).
    predicted = np.concatenate([np.zeros(48), np.linspace(10.0, 11.0, 16)])
    sigma = math.hypot(0.01, 0.03)
    top = 1.0 / (sigma * math.sqrt(2 * math.pi))

    found = reading_likelihood(
        0.0, predicted[None], spread=VOLTS, slips=Slips(probability=SLIP)
    )

    assert found[0, 24] == pytest.approx(0.98 * top + 0.02 / 15.0, rel=1e-9)


def fit_at(place: int, predicted: FloatArray) -> float:
    """Return how well volts fit a draw that shows just these, slips left out."""
    found = reading_likelihood(
        float(predicted[place]),
        predicted[None],
        spread=VOLTS,
        slips=Slips(probability=0.0),
    )
    return float(found[0, place])


def test_kernel_closes_the_gap_to_the_next_draw() -> None:
    # Eight draws .1 V apart and eight ten volts above. Evenly spread draws lie sqrt(12)
    # of their standard deviations over their number apart, and 3 of these are closed:
    # 3/sqrt(12) x .1 = .0866 V around each. By hand at .3 V: meter (.5 % of .3 + .02)/2
    # = .01075, model .03 and .003.
    predicted = np.array(
        [*(0.1 * n for n in range(8)), *(10 + 0.1 * n for n in range(8))]
    )

    sigma = math.sqrt(0.01075**2 + 0.03**2 + 0.003**2 + 0.0866025**2)
    expected = 1.0 / (sigma * math.sqrt(2 * math.pi))
    assert fit_at(3, predicted) == pytest.approx(expected, rel=1e-5)


def test_kernel_is_no_wider_than_that_of_all_draws() -> None:
    # Sixteen draws .5 V apart: their standard deviation is .5 sqrt(255/12) = 2.3049, so
    # 3 x 2.3049 / 16 = .43216, a little less than 3/sqrt(12) x .5 = .43301. By hand at
    # 4 V: meter (.5 % of 4 + .02)/2 = .02, model .03 and .04.
    predicted = np.array([0.5 * n for n in range(16)])

    sigma = math.sqrt(0.02**2 + 0.03**2 + 0.04**2 + 0.432164**2)
    expected = 1.0 / (sigma * math.sqrt(2 * math.pi))
    assert fit_at(8, predicted) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("last", "closed"),
    [
        # Fifteen draws at 12 V and one above them by d: their standard deviation is
        # d sqrt(15)/16, three sixteenths of it the gap. Of .42 V .0191, less than a
        # fifth of the .1304 that a reading strays there: all draws share it.
        (12.42, 0.019063),
        # Of .85 V .0386, more than that fifth: the draws that show the same have none.
        (12.85, 0.0),
    ],
)
def test_gap_below_a_fifth_of_the_spread_is_left(last: float, closed: float) -> None:
    predicted = np.array([12.0] * 15 + [last])

    sigma = math.sqrt(0.04**2 + 0.03**2 + 0.12**2 + closed**2)
    expected = 1.0 / (sigma * math.sqrt(2 * math.pi))
    assert fit_at(7, predicted) == pytest.approx(expected, rel=1e-5)


def test_spacing_does_not_depend_on_how_often_a_draw_stands() -> None:
    predicted = np.linspace(0.0, 12.0, 16)[None]

    once, four_times = (
        reading_likelihood(
            5.0,
            predicted.repeat(times, axis=1),
            spread=VOLTS,
            slips=Slips(probability=SLIP),
            stands_for=times,
        )
        for times in (1, 4)
    )

    assert four_times[:, ::4] == pytest.approx(once, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "predicted", "expected"),
    [
        # By hand: right .99 of the time it was no slip, a slip is OL half the time.
        (math.inf, math.inf, 0.98 * 0.99 + 0.01),
        (math.inf, 5.0, 0.98 * 0.01 + 0.01),
        # Misread once in a hundred, or a slip, both anywhere in 100 ohm.
        (5.0, math.inf, 0.98 * 0.01 / 100.0 + 0.02 / 100.0),
    ],
    ids=["over and over", "over but finite", "finite but over"],
)
def test_over_range_is_an_outcome_of_its_own(
    value: float, predicted: float, expected: float
) -> None:
    assert likelihood(value, at(predicted), OHMS) == pytest.approx(expected, rel=1e-9)


def test_over_range_speaks_for_an_open_circuit() -> None:
    is_open, is_whole = at(math.inf), at(0.4)

    ratio = likelihood(math.inf, is_open, OHMS) / likelihood(math.inf, is_whole, OHMS)

    # By hand: .9802/.0198.
    assert ratio == pytest.approx(49.5, abs=0.1)


@pytest.mark.parametrize(
    ("kind", "value", "expected"),
    [
        # By hand, meter and model: volts (.05 + .02)/2, .03 and 1 %; amps (.3 + .5)/2
        # and 7 %; ohms (.1 + .3)/2, .05 and 10 %; volts AC (.002 + .005)/2, .005, 35 %.
        (ReadingKind.DC_VOLTS, 10.0, math.hypot(0.035, 0.03, 0.1)),
        (ReadingKind.AMPS, 10.0, math.hypot(0.4, 0.7)),
        (ReadingKind.OHMS, 10.0, math.hypot(0.2, 0.05, 1.0)),
        (ReadingKind.AC_VOLTS, 0.2, math.hypot(0.0035, 0.005, 0.07)),
        # What is fixed stays where the value is nothing.
        (ReadingKind.DC_VOLTS, 0.0, math.hypot(0.01, 0.03)),
        (ReadingKind.AMPS, 0.0, 0.25),
        (ReadingKind.OHMS, 0.0, math.hypot(0.15, 0.05)),
    ],
)
def test_spread_is_of_meter_and_model(
    kind: ReadingKind, value: float, expected: float
) -> None:
    spread = spread_of(kind, METER, system_volts=12.0)

    assert float(spread.deviation(np.array(value))) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("is_blown", [True, False])
def test_look_is_believed(is_blown: bool) -> None:
    found = look_likelihood(is_blown, np.array([[1.0, 0.0]])).tolist()

    # By hand: one blown in a hundred is missed, one sound in a thousand called blown.
    assert found[0] == pytest.approx([0.99, 0.001] if is_blown else [0.01, 0.999])


@pytest.mark.parametrize(
    ("is_present", "chance", "expected"),
    [
        (True, 1.0, 0.98),
        (False, 1.0, 0.02),
        (True, 0.0, 0.01),
        (False, 0.0, 0.99),
        (True, 0.5, 0.495),
    ],
)
def test_report_errs_by_missing_and_by_imagining(
    is_present: bool, chance: float, expected: float
) -> None:
    # One there in fifty is missed, one not there in a hundred imagined.
    found = symptom_likelihood(SYMPTOM, is_present, np.array([[chance]]))

    assert found.tolist() == [[pytest.approx(expected)]]


def test_tail_is_the_two_sided_chance() -> None:
    # Two standard deviations: .0455 (normal table).
    sigma = float(VOLTS.deviation(np.array(12.0)))

    found = tail_of(12.0 + 2 * sigma, np.array([12.0]), np.array([1.0]), spread=VOLTS)

    assert found == pytest.approx(0.0455, abs=5e-5)


def test_tail_weighs_the_draws_by_their_share() -> None:
    # At half of the draws 1, hopeless from the others.
    predicted = np.repeat([12.0, 2.0], 200)
    share = np.repeat([0.25, 0.75], 200) / 200

    assert tail_of(12.0, predicted, share, spread=VOLTS) == pytest.approx(0.25)


def test_tail_of_over_range_is_the_share_that_shows_it() -> None:
    predicted, share = np.array([math.inf, 3.0]), np.array([0.3, 0.7])

    assert tail_of(math.inf, predicted, share, spread=OHMS) == pytest.approx(0.3)


def test_stray_leakage_widens_what_fits() -> None:
    # 4 V where 6 V are predicted, give or take 3 V: two thirds of a deviation, which a
    # normal value is beyond 50 times in 100.
    found = tail_of(4.0, np.array([6.0]), np.array([1.0]), spread=VOLTS, stray=3.0)

    assert found == pytest.approx(0.505, abs=0.01)


def test_amps_by_a_fuse_are_as_unsure_as_load_and_fuse_together() -> None:
    spread = spread_of(ReadingKind.FUSE, METER, system_volts=12.0, fuse_tolerance=0.15)

    # Derived: (.07^2 + .15^2)^.5 = .1655 of 30 mV is 4.97 mV; the meter's own half of
    # (.15 + .3) mV adds nothing to speak of.
    assert float(spread.deviation(np.array(0.030))) == pytest.approx(0.00497, abs=5e-5)


# By hand: a slip gives any of three answers. A lamp at a grade of .75 is called lit by
# half the people and dim by the others; at 0 it is dark.
@pytest.mark.parametrize(
    ("answer", "grade", "expected"),
    [
        (0.0, 0.0, 0.98 + 0.02 / 3),
        (0.5, 0.0, 0.02 / 3),
        (1.0, 0.75, 0.98 * 0.5 + 0.02 / 3),
        (0.5, 0.75, 0.98 * 0.5 + 0.02 / 3),
        (0.0, 0.75, 0.02 / 3),
    ],
)
def test_what_is_said_of_a_lamp_is_a_slip_once_in_fifty(
    answer: float, grade: float, expected: float
) -> None:
    found = lamp_likelihood(answer, at(grade), slips=Slips(probability=SLIP))

    assert found.tolist() == [[pytest.approx(expected)]]


def test_stray_leakage_widens_the_density() -> None:
    # By hand: .3 V at 0 V predicted, meter and model .0316 V, stray .4 V: a deviation
    # of .40125 V.
    sigma = math.sqrt(0.01**2 + 0.03**2 + 0.4**2)
    density = math.exp(-0.5 * (0.3 / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))

    found = reading_likelihood(
        0.3, at(0.0), spread=VOLTS, slips=Slips(probability=SLIP), stray=0.4
    )

    assert float(found[0, 0]) == pytest.approx(0.98 * density + 0.02 / 15, rel=1e-9)


def test_slip_has_the_density_that_is_given() -> None:
    # Hopeless but for a slip, which shows 12 V with .5 a volt in the first draw.
    found = reading_likelihood(
        12.0,
        at(0.0, 0.0),
        spread=VOLTS,
        slips=Slips(probability=SLIP),
        slip_density=at(0.5, 0.1),
    )

    assert found.tolist() == [pytest.approx([0.01, 0.002], rel=1e-9)]


# By hand: even over 100 ohm, and beyond it as one over the ohms.
@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.0, 0.01), (100.0, 0.01), (-400.0, 0.0025), (5000.0, 0.0002)],
)
def test_slip_beyond_its_span_falls_with_the_value(
    value: float, expected: float
) -> None:
    assert OHMS.slip_density(value) == pytest.approx(expected)


def test_slip_shows_a_level_or_anything() -> None:
    # By hand at 12.1 V: half of the points are at 0 V, three tenths at 12 V give or
    # take .2 V, half a deviation off; the last fifth is anywhere in 15 V.
    levels = [at(0.0), at(12.0)]

    found = slip_density(12.1, levels, [0.5, 0.3], deviation=0.2, span=15.0)

    normal = math.exp(-0.5 * 0.5**2) / (0.2 * math.sqrt(2 * math.pi))
    assert found.tolist() == [[pytest.approx(0.3 * normal + 0.2 / 15, rel=1e-9)]]


def test_three_readings_that_agree_stray_once() -> None:
    # By hand, one in ten a slip that shows this with .2, right ones .5, taken again 4:
    # all slips .02^3; one, two or all three right count .5 once and 4 for each further.
    slips = Slips(probability=0.1, times=3, again=4.0)
    one = 3 * 0.9 * 0.5 * 0.02**2
    two = 3 * 0.9**2 * 0.5 * 4 * 0.02
    every = 0.9**3 * 0.5 * 4**2

    found = slips.mixed(np.array(0.5), 0.2)

    assert float(found) == pytest.approx(0.02**3 + one + two + every, rel=1e-12)


def test_tail_of_a_draw_that_would_be_over_range_is_nothing() -> None:
    # By hand: one deviation off .3173 in the draw that shows ohms.
    sigma = float(OHMS.deviation(np.array(5.0)))
    share = np.array([0.75, 0.25])

    found = tail_of(5.0 - sigma, np.array([5.0, math.inf]), share, spread=OHMS)

    # the gap that the draws leave to each other, an OL counting as nothing, widens it
    alone = tail_of(5.0 - sigma, np.array([5.0]), np.array([1.0]), spread=OHMS)
    assert alone == pytest.approx(0.3173, abs=1e-4)
    assert 0.75 * alone < found < 0.75


def test_answer_that_comes_again_counts_again() -> None:
    # By hand, no twice: .4 there and missed twice, .6 away and not imagined twice.
    found = symptom_likelihood(SYMPTOM, False, at(0.4), times=2)

    assert found.tolist() == [[pytest.approx(0.4 * 0.02**2 + 0.6 * 0.99**2)]]


# By hand: half a chance of being blown, .5 x .99 + .5 x .001 that it is seen.
@pytest.mark.parametrize(("is_blown", "expected"), [(True, 0.4955), (False, 0.5045)])
def test_look_at_a_fuse_that_may_be_blown(is_blown: bool, expected: float) -> None:
    found = look_likelihood(is_blown, at(0.5))

    assert found.tolist() == [[pytest.approx(expected)]]
