"""Severities chosen by the facts, on a lamp fed through a bad joint."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnose.arrays import FloatArray
from diagnose.faults.causes import LADDER_LEVELS, Severity
from diagnose.inference.belief.evidence import reading_likelihood
from diagnose.inference.belief.reading_spread import spread_of
from diagnose.inference.belief.severity_steps import (
    Redrawn,
    choose_severities,
    chosen_row,
    effective_draws,
    on_steps,
    step_spread,
)
from diagnose.inference.belief.slips import Slips
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.measurement.readings import Reading, ReadingKind
from tests.lamp_car import GROUND, METER, cause_number, compiled_car

N_DRAWS = 16
CAUSE = "feed:high_resistance_a"
LAMP_VOLTS = Reading(
    kind=ReadingKind.DC_VOLTS, state="lit", red="lamp.plus", black=GROUND
)
SPREAD = spread_of(ReadingKind.DC_VOLTS, METER, system_volts=12.0)


@pytest.fixture(scope="module")
def compiled() -> Compiled:
    return compiled_car(N_DRAWS)[1]


@pytest.fixture(scope="module")
def grid(compiled: Compiled) -> Hypotheses:
    """Return the bad joint with every solved severity."""
    number = cause_number(compiled, CAUSE)
    severities = [(Severity(number, level),) for level in LADDER_LEVELS]
    return compiled.hypotheses([(number,)] * len(severities), severities=severities)


@pytest.fixture(scope="module")
def shown(compiled: Compiled, grid: Hypotheses) -> FloatArray:
    """Return the volts at the lamp on every step of the ladder."""
    return on_steps(compiled.readings.predicted(grid, LAMP_VOLTS))


def chosen_evenly(likelihood: FloatArray) -> Redrawn:
    """Choose severities where every step stands for as much."""
    n_steps = len(likelihood)
    return choose_severities(likelihood, np.full(n_steps, 1.0 / n_steps))


def likelihood(value: float, predicted: FloatArray) -> FloatArray:
    return reading_likelihood(
        value, predicted, spread=SPREAD, slips=Slips(probability=0.02)
    )


def test_ladder_steps_from_mild_to_severe(shown: FloatArray) -> None:
    # More ohms in the feed, fewer volts at the lamp, for every draw of the tolerances.
    assert (np.diff(shown, axis=0) < 0).all()


def test_ladder_has_steps_between_the_solved_ones(shown: FloatArray) -> None:
    # By hand: 8 solved, 7 gaps of 4 steps.
    assert len(shown) == 29


def test_solved_severities_are_on_the_ladder(
    compiled: Compiled, shown: FloatArray
) -> None:
    number = cause_number(compiled, CAUSE)
    most = (Severity(number, LADDER_LEVELS[-1]),)
    severe = compiled.hypotheses([(number,)], severities=[most])

    # 1 uV: single precision of the stored volts
    expected = compiled.readings.predicted(severe, LAMP_VOLTS)[0]
    assert shown[-1] == pytest.approx(expected, abs=1e-6)


def test_step_after_the_last_ohms_in_range_shows_over_range() -> None:
    # 5 steps between 1 ohm and OL: the nearer one counts.
    found = on_steps(np.array([[1.0], [np.inf]]))[:, 0]

    assert found.tolist() == [1.0, 1.0, np.inf, np.inf, np.inf]


@pytest.mark.parametrize("shown_volts", [11.9, 9.31, 5.02, 1.7])
def test_corrected_evidence_is_the_mean_over_the_ladder(
    shown_volts: float, shown: FloatArray
) -> None:
    likelihoods = likelihood(shown_volts, shown)

    redrawn = chosen_evenly(likelihoods)

    chosen = likelihoods[redrawn.choice, np.arange(N_DRAWS)]
    assert chosen * redrawn.correction == pytest.approx(
        likelihoods.mean(axis=0), rel=1e-12
    )


def test_chosen_row_shows_what_its_steps_show(
    compiled: Compiled, grid: Hypotheses, shown: FloatArray
) -> None:
    choice = np.arange(N_DRAWS) % len(shown)

    states = [state.name for state in compiled.predictor.states]
    row = chosen_row(grid, choice, states)

    assert row.sets == grid.sets[:1]
    found = compiled.readings.predicted(row, LAMP_VOLTS)[0]
    # .1 mV: the meter's load is interpolated too
    assert found == pytest.approx(shown[choice, np.arange(N_DRAWS)], abs=1e-4)


def test_precise_reading_between_the_draws_does_not_rule_the_truth_out(
    compiled: Compiled, shown: FloatArray
) -> None:
    # The widest gap between the severities drawn: the truth may lie in its middle. A
    # meter without any error of the model would rule it out there.
    number = cause_number(compiled, CAUSE)
    drawn = compiled.readings.predicted(compiled.hypotheses([(number,)]), LAMP_VOLTS)[0]
    ordered = np.sort(drawn)
    widest = int(np.diff(ordered).argmax())
    truth = float(ordered[widest : widest + 2].mean())
    sigma = 0.02

    def exact(predicted: FloatArray) -> FloatArray:
        return np.exp(-0.5 * ((truth - predicted) / sigma) ** 2) / sigma

    redrawn = chosen_evenly(exact(shown))

    chosen = np.maximum(exact(shown), 1e-300)[redrawn.choice, np.arange(N_DRAWS)]
    evidence = float((chosen * redrawn.correction).mean())
    assert float(exact(drawn).mean()) < 1e-3 * evidence


def test_severities_are_chosen_as_often_as_they_weigh() -> None:
    # Three steps weighing 1 : 3 : 6 for a thousand draws.
    likelihoods = np.repeat(np.array([[1.0], [3.0], [6.0]]), 1000, axis=1)

    choice = chosen_evenly(likelihoods).choice

    # .002: the levels are spread by the golden ratio
    assert np.bincount(choice) / 1000 == pytest.approx([0.1, 0.3, 0.6], abs=0.002)


def test_same_facts_choose_the_same_severities(
    shown: FloatArray,
) -> None:
    likelihoods = likelihood(6.0, shown)

    first, second = (chosen_evenly(likelihoods).choice for _ in range(2))

    assert first.tolist() == second.tolist()


def test_one_draw_with_all_the_weight_counts_as_one() -> None:
    weights = np.array([[0.0, 1.0, 0.0, 0.0], [0.25, 0.25, 0.25, 0.25]])

    assert effective_draws(weights).tolist() == [1.0, 4.0]


# By hand: of 10 draws the n-th asks for n x .618 + .5 of the weight, whole ones left
# out: .5, .118, .736, .354, .972, .590, .208, .826, .444 and .062.
def test_levels_of_the_draws_are_turned_by_the_golden_ratio() -> None:
    likelihoods = np.repeat(np.array([[1.0], [2.0], [1.0]]), 10, axis=1)

    choice = chosen_evenly(likelihoods).choice

    # the first quarter is the mildest, the last one the severest
    assert choice.tolist() == [1, 0, 1, 1, 2, 1, 0, 2, 1, 0]


def test_each_draw_chooses_by_its_own_likelihoods() -> None:
    likelihoods = np.array([[0.8, 0.0], [0.2, 0.4]])

    found = chosen_evenly(likelihoods)

    # By hand: the mean .5 over .8, and .2 over .4.
    assert found.choice.tolist() == [0, 1]
    assert found.correction == pytest.approx([0.625, 0.5])


@pytest.mark.parametrize(
    ("solved", "steps"),
    [
        # From OL to a number: the nearer one, the number from half way on.
        ([math.inf, 8.0], [math.inf, math.inf, 8.0, 8.0, 8.0]),
        # Three solved ones: the middle one belongs to both halves.
        ([0.0, 4.0, 2.0], [0.0, 1.0, 2.0, 3.0, 4.0, 3.5, 3.0, 2.5, 2.0]),
        # Nothing but OL.
        ([math.inf, math.inf], [math.inf] * 5),
    ],
)
def test_steps_lie_between_the_solved_severities(
    solved: list[float], steps: list[float]
) -> None:
    assert on_steps(np.array(solved)[:, None])[:, 0].tolist() == steps


@pytest.mark.parametrize(
    ("shown", "spread"),
    [
        # Half the distance to the neighbour, on average of both where there are two,
        # whichever way the steps go.
        ([9.0, 5.0, 4.0], [2.0, 1.25, 0.5]),
        # An OL is no neighbour.
        ([math.inf, 2.0, 5.0, math.inf, 3.0], [0.0, 1.5, 1.5, 0.0, 0.0]),
    ],
)
def test_step_stands_for_half_the_way_to_its_neighbours(
    shown: list[float], spread: list[float]
) -> None:
    assert step_spread(np.array(shown)[:, None])[:, 0].tolist() == spread


def test_draws_count_by_their_weight_and_not_by_its_unit() -> None:
    # By hand: (3 + 1)^2 / (9 + 1).
    weights = np.array([[3.0, 1.0], [0.3, 0.1], [0.0, 0.0]])

    assert effective_draws(weights) == pytest.approx([1.6, 1.6, 0.0])


def test_step_counts_by_what_it_stands_for() -> None:
    # By hand: the second step is three times the first, so that the draws choose it
    # three times as often; evidence .25 x 4 + .75 x 4 in every draw.
    found = choose_severities(np.full((2, 64), 4.0), np.array([0.25, 0.75]))

    assert float(found.choice.mean()) == pytest.approx(0.75, abs=0.02)
    assert found.correction == pytest.approx(np.ones(64))


def test_uneven_steps_give_the_evidence_of_the_whole_ladder() -> None:
    # By hand: .25 x 8 + .75 x 4 = 5, over what was chosen.
    likelihood = np.repeat([[8.0], [4.0]], 64, axis=1)

    found = choose_severities(likelihood, np.array([0.25, 0.75]))

    chosen = likelihood[found.choice, np.arange(64)]
    assert found.correction * chosen == pytest.approx(np.full(64, 5.0))


def test_nothing_lies_between_where_something_switches() -> None:
    # A controller holds an output at .2 V, and lets it go to 6.6 V.
    solved = np.array([[0.2, 0.2], [6.6, 6.6], [6.8, 6.8]])
    switches = np.array([[True, False], [False, False]])

    found = on_steps(solved, switches)
    spread = step_spread(found, switches)

    above = [6.65, 6.7, 6.75, 6.8]
    assert found[:, 0].round(6).tolist() == [0.2, 0.2, 6.6, 6.6, 6.6, *above]
    assert found[:, 1].round(6).tolist() == [0.2, 1.8, 3.4, 5.0, 6.6, *above]
    # nor is a step as uncertain as what lies across
    assert spread[:, 0].max() < 0.05
    assert spread[2, 1] == pytest.approx(0.8)
