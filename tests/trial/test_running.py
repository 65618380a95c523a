"""The same seeds give the same games, here and on a cluster."""

from __future__ import annotations

import subprocess
import sys
import time
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from diagnose.trial.cluster import connected
from diagnose.trial.playing import Game
from diagnose.trial.running import play_batch, run_trial
from tests.trial.lamp_trial import PLAN, lamp_model

ROOT = Path(__file__).resolve().parents[2]

# How long a process may take to end, on a machine with much else to do. [s] Own choice.
PATIENCE_SECONDS = 60.0


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


# A parent with one worker that has much to do, and says which process that is.
WORKING = """
import multiprocessing, os, time
from concurrent.futures import ProcessPoolExecutor
from diagnose.trial.running import end_with_parent

if __name__ == "__main__":
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(1, context, end_with_parent)
    print(pool.submit(os.getpid).result(), flush=True)
    time.sleep(600)
"""


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no /proc to look in")
def test_a_worker_ends_with_a_trial_that_is_killed(tmp_path: Path) -> None:
    script = tmp_path / "parent.py"
    script.write_text(WORKING)
    parent = subprocess.Popen(
        [sys.executable, str(script)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert parent.stdout is not None
    worker = Path("/proc") / parent.stdout.readline().strip() / "stat"
    was_running = is_running(worker)
    parent.kill()
    parent.communicate()

    deadline = time.monotonic() + PATIENCE_SECONDS
    while is_running(worker) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert was_running
    assert not is_running(worker)


def is_running(worker: Path) -> bool:
    try:
        state = worker.read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"
