"""Other ways to choose readings, and the table that compares them."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.facts import ComplaintFact
from diagnose.session.ready_car import Model
from diagnose.session.steps.prices import PROBE_MINUTES
from diagnose.terminal.reports.trials.trial_tables import policy_lines
from diagnose.trial.hidden.hidden_car import Errors, HiddenCars
from diagnose.trial.playing import Game
from diagnose.trial.policies import (
    PROGRAM,
    Situation,
    at_random,
    bits_missing,
    fewest_readings,
    goes_on,
    half_split,
    most_informative,
    textbook,
    textbook_order,
)
from diagnose.trial.policy_scores import policy_scores
from diagnose.trial.running import play_seeds

COMPLAINT = "pump-does-not-run"


@pytest.fixture(scope="module")
def situation(model: Model) -> Situation:
    diagnosis = Diagnosis(model)
    answer = diagnosis.tell(ComplaintFact(complaint=COMPLAINT))
    return Situation(
        diagnosis=diagnosis,
        model=model,
        answer=answer,
        complaint=COMPLAINT,
        taken=frozenset(),
        random=np.random.default_rng(1),
    )


def test_textbook_goes_from_the_battery_to_the_load_and_its_ground(
    model: Model,
) -> None:
    # The pump's feed on the hill climber (car file): battery, key, pump fuse, pump.
    order = [r.red for r in textbook_order(model, COMPLAINT)]
    feed = order[: order.index("fuel-pump.minus") + 1]

    assert feed[0] == "battery.plus"
    assert feed.index("fuel-pump-fuse.out") < feed.index("fuel-pump.plus")
    assert feed[-2:] == ["fuel-pump.plus", "fuel-pump.minus"]


def test_textbook_takes_the_first_point_not_yet_taken(situation: Situation) -> None:
    first = next(textbook_order(situation.model, COMPLAINT))

    assert textbook(situation) == first


def test_most_informative_tells_at_least_as_much_as_the_program_s_choice(
    situation: Situation,
) -> None:
    bits = {one.step: one.bits for one in situation.diagnosis.candidates()}
    chosen = most_informative(situation)

    assert chosen is not None
    assert bits[chosen] == max(bits.values())


def test_policy_without_costs_measures_until_it_is_sure(situation: Situation) -> None:
    # The complaint alone leaves every cause below the 97 % that the program calls sure.
    assert situation.answer.causes[0].probability < 0.97
    assert goes_on("information without cost", situation.answer)
    assert not goes_on("information, then cost", situation.answer)


def test_half_split_is_a_point_as_likely_live_as_dead(situation: Situation) -> None:
    chosen = half_split(situation)

    assert isinstance(chosen, Reading)
    assert chosen.kind is ReadingKind.DC_VOLTS


def test_random_choice_tells_something(situation: Situation) -> None:
    chosen = at_random(situation)

    bits = {one.step: one.bits for one in situation.diagnosis.candidates()}
    assert chosen is not None
    assert bits[chosen] > 0.0


def test_entropy_counts_what_the_ranking_leaves_over() -> None:
    # Four equal quarters, one of them not listed: two bits.
    assert bits_missing([0.25, 0.25, 0.25]) == pytest.approx(2.0)


def test_no_reading_tells_more_than_its_outcomes() -> None:
    # Thirty outcomes tell at most log2(30) = 4.907 bits.
    assert fewest_readings(4.907) == pytest.approx(1.0, abs=1e-3)


def test_every_policy_plays_the_same_cars(model: Model) -> None:
    stock = HiddenCars(model, n_cars=4, seed=1)
    policies = (PROGRAM, "information without cost")

    games = play_seeds(model, stock, [3], Errors(), policies=policies)
    assert tuple(game.policy for game in games) == policies
    assert len({(game.complaint, game.faults) for game in games}) == 1


def game(policy: str, *, minutes: float, is_fixed: bool = True) -> Game:
    return Game(
        seed=0,
        complaint=COMPLAINT,
        faults=("a",),
        first_rank=1,
        last_rank=1,
        claims=(),
        readings=3,
        wrong_repairs=0,
        minutes=minutes,
        is_fixed=is_fixed,
        facts=(),
        best_minutes=20.0,
        missing_bits=4.907,
        policy=policy,
    )


def test_complaint_not_mended_counts_what_giving_up_costs() -> None:
    games = [game(PROGRAM, minutes=30.0), game("random", minutes=30.0, is_fixed=False)]

    # 30 min and 480 more: the program takes a seventeenth of that.
    random = policy_scores(games)[1]
    assert random.minutes == 510.0
    assert random.of_this == pytest.approx(1.0 / 17.0)


def test_bounds_close_the_table() -> None:
    *_, entropy, known = policy_scores([game(PROGRAM, minutes=30.0)])

    # One who knows mends and tests in 20 min; one who does not takes a reading more.
    assert known.minutes == 20.0
    assert entropy.minutes == pytest.approx(20.0 + PROBE_MINUTES, abs=1e-3)


def test_table_has_a_line_for_each() -> None:
    lines = list(policy_lines(policy_scores([game(PROGRAM, minutes=30.0)])))

    assert lines[3] == (
        "the program                     30     100%       3.0           0.00  100.0%"
    )
    assert lines[-1].endswith("(bound)")
