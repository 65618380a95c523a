"""A trial as text and as JSON, from invented games; and a trial on a cluster."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from diagnose.faults.knowledge import Knowledge
from diagnose.session.answer import Verdict
from diagnose.session.ready_car import Model
from diagnose.terminal.reports.trials.trial_cars import model_of_text, version_of
from diagnose.terminal.reports.trials.trial_data import report, unlike_report
from diagnose.terminal.reports.trials.trial_listing import progress_words
from diagnose.terminal.reports.trials.trial_tables import (
    lines,
    outside_lines,
    unlike_lines,
)
from diagnose.trial.cluster import ClusterError
from diagnose.trial.hidden.unlike_stock import InBands
from diagnose.trial.playing import Game
from diagnose.trial.running import TrialPlan
from tests.terminal.conftest import CAR

GAMES = (
    Game(
        seed=4,
        complaint="no-crank",
        faults=("starter:worn",),
        first_rank=1,
        last_rank=1,
        named_rank=1,
        claims=((0.9, True), (0.05, False)),
        readings=3,
        wrong_repairs=0,
        minutes=60.0,
        is_fixed=True,
        facts=(),
    ),
    Game(
        seed=5,
        complaint="no-crank",
        faults=("battery:worn_out", "starter:worn"),
        first_rank=2,
        last_rank=3,
        named_rank=2,
        claims=((0.6, False), (0.2, True)),
        readings=5,
        wrong_repairs=1,
        minutes=90.0,
        is_fixed=True,
        facts=(),
    ),
)


def test_trial_as_text() -> None:
    # By hand: buckets .05, .2, .6, .9 are off by .05, .8, .6, .1; the mean of the
    # squares is .25 x (.0025 + .64 + .36 + .01), of the logs .25 x (.0513 + 1.6094 +
    # .9163 + .1054).
    assert "\n".join(lines(GAMES, TrialPlan(first_seed=4, n_games=2))) == (
        """\
2 diagnoses, seeds 4 to 5

faults   games   first  in three  all so  in turn  readings  minutes  wrong  fixed
single       1  100.0%    100.0%  100.0%   100.0%       3.0       60   0.00  100.0%
double       1    0.0%    100.0%  100.0%   100.0%       5.0       90   1.00  100.0%
all          2   50.0%    100.0%  100.0%   100.0%       4.0       75   0.50  100.0%

what was claimed against what held, over every line shown before a repair
  0% to  10%       1  claimed   5.0%  held   0.0%  ..|.................................
 10% to  30%       1  claimed  20.0%  held 100.0%  #######|############################
 50% to  70%       1  claimed  60.0%  held   0.0%  ......................|.............
 85% to  95%       1  claimed  90.0%  held 100.0%  ################################|###
expected calibration error 0.388, Brier score 0.253, log loss 0.671 nat
said that nothing fits, though a cause was there: 0.0%; told to stop: 0.0%

where it fails most, by complaint: failed of played
    1 of    2  no-crank

where it fails most, by fault: failed of played
    1 of    1  worn_out
    1 of    2  worn

not named first, or not mended
seed 5: no-crank: battery:worn_out, starter:worn: rank 2, mended"""
    )


def test_trial_as_json_has_what_the_text_has() -> None:
    found = json.loads(json.dumps(report(GAMES)))

    assert found["brier"] == pytest.approx(0.253125, abs=1e-9)
    assert found["weak_spots"]["complaint"] == [
        {"name": "no-crank", "games": 2, "failed": 1}
    ]
    assert [game["seed"] for game in found["games"]] == [4, 5]


def test_trial_outside_the_model_as_text() -> None:
    games = (
        replace(
            GAMES[0],
            outside="a touches b",
            wrong_repairs=1,
            verdicts=(Verdict.REPAIR, Verdict.STOP),
        ),
        replace(GAMES[1], outside="c touches d", verdicts=(Verdict.FIXED,)),
    )

    assert "\n".join(outside_lines(games, TrialPlan(first_seed=4, n_games=2))) == (
        """\
2 diagnoses of what is no cause of the model, seeds 4 to 5

recognised, nothing fits           50.0%
  of these before any repair        0.0% of all
  and told to stop                 50.0% of all
wrong repairs where recognised      1.00

not recognised
seed 5: no-crank: c touches d: 1 wrong repairs, said to be mended"""
    )


IN_BANDS = (InBands(name="all", readings=1200, share=0.75),)


def test_trial_on_unlike_cars_as_text() -> None:
    # Of the two games the second is a double, not named first, and mended; no claim
    # reaches 99 %.
    assert "\n".join(unlike_lines(GAMES, IN_BANDS, is_outside=False)) == (
        """\

cars that differ from their file in laws, not only in draws
claims of 99% and more, held           100.0% of 0
nothing fits, though a cause was there   0.0%
wrong repairs a game                     0.50
doubles, first repair right              0.0% of 1
doubles, both mended                   100.0%
readings of such cars, sound, in the bands of the sheet
  all                                   75.0% of 1,200"""
    )


def test_unlike_cars_outside_the_model_show_only_the_sheet() -> None:
    shown = list(unlike_lines(GAMES, IN_BANDS, is_outside=True))

    assert shown[2:] == list(unlike_lines(GAMES, IN_BANDS, is_outside=False))[-2:]


def test_trial_on_unlike_cars_as_json() -> None:
    found = json.loads(json.dumps(unlike_report(GAMES, IN_BANDS)))

    assert found["doubles_mended"] == 1.0
    assert found["sound_readings_in_bands"] == [
        {"name": "all", "readings": 1200, "share": 0.75}
    ]


def test_progress_shows_a_bar_and_the_time_left() -> None:
    # By hand: a tenth in 30 s leaves nine times as long.
    assert progress_words(0.1, seconds=30.0) == "[##..................] 4.5 min left"


def test_worker_makes_the_car_from_its_text(model: Model, knowledge: Knowledge) -> None:
    text = CAR.read_text(encoding="utf-8")

    made = model_of_text(CAR.name, text, version_of(knowledge))

    assert made.car.parts == model.car.parts


def test_worker_of_another_version_refuses() -> None:
    with pytest.raises(ClusterError, match="another version of this program"):
        model_of_text(CAR.name, "", "another")
