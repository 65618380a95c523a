"""The same seeds give the same games, here and on a cluster."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diagnose.trial.cluster import connected
from diagnose.trial.playing import Game
from diagnose.trial.running import run_trial
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
    plan = replace(PLAN, first_seed=9, n_games=1)

    assert run_trial(lamp_model, plan) == games[2:]


def test_progress_ends_at_all(games: tuple[Game, ...]) -> None:
    shares: list[float] = []
    run_trial(lamp_model, replace(PLAN, n_games=2), progress=shares.append)

    assert shares == [0.5, 1.0]
    assert len(games) == PLAN.n_games
