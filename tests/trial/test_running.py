"""The same seeds give the same games, here and on a cluster."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pytest

from diagnose.trial.cluster import connected
from diagnose.trial.playing import Game
from diagnose.trial.running import play_batch, run_trial
from tests.trial.lamp_trial import PLAN, lamp_model


@pytest.fixture(scope="module")
def games() -> tuple[Game, ...]:
    return run_trial(lamp_model, PLAN)


def test_games_come_in_the_order_of_their_seeds(games: tuple[Game, ...]) -> None:
    assert [game.seed for game in games] == [7, 8, 9]


def test_cluster_of_two_plays_the_same_games(
    games: tuple[Game, ...], cluster_address: str
) -> None:
    with connected(cluster_address) as cluster:
        found = run_trial(lamp_model, PLAN, spread=cluster.map)

    assert found == games


def test_game_does_not_depend_on_those_before_it(games: tuple[Game, ...]) -> None:
    alone = replace(PLAN, first_seed=9, n_games=1)
    # another callable, so that the car is made ready anew
    on_a_fresh_model = play_batch(partial(lamp_model), alone, [9])

    assert tuple(on_a_fresh_model) == games[2:]
    assert run_trial(lamp_model, alone) == games[2:]


def test_progress_ends_at_all(games: tuple[Game, ...]) -> None:
    shares: list[float] = []
    run_trial(lamp_model, replace(PLAN, n_games=2), progress=shares.append)

    assert shares == [0.5, 1.0]
    assert len(games) == PLAN.n_games
