"""A trial for a reader, or as JSON for another program.

Leaves the playing to `trial.running` and the figures to `trial.scoring`.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import TextIO

import numpy as np

from diagnose.circuit.car import FloatArray
from diagnose.files.car_file import load_car
from diagnose.files.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.model import Model
from diagnose.terminal.car_names import car_file
from diagnose.terminal.evening import Options, prepared_model
from diagnose.trial.playing import Game
from diagnose.trial.running import TrialPlan, run_trial
from diagnose.trial.scoring import (
    Bucket,
    Score,
    brier_score,
    calibration,
    expected_calibration_error,
    log_loss,
    score,
)

BAR = 40
SHOWN_FAILURES = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialOptions:
    """What the command line asked for.

    Parameters
    ----------
    car : str
        A path or a shipped car's name.
    n_workers : int
        Processes.
    is_json : bool
        One JSON object instead of tables.
    """

    car: str
    n_games: int
    first_seed: int
    n_workers: int
    is_json: bool
    data_folder: Path | None


def model_of(car: str, data_folder: Path | None) -> Model:
    """Return a car ready for diagnosis; each worker of a trial calls it.

    Raises
    ------
    DiagnoseError
        If there is no such car, or with everything that is wrong with its file.
    """
    knowledge = load_knowledge(knowledge_folder())
    with car_file(car) as path:
        loaded = load_car(path, knowledge)
    return prepared_model(loaded, knowledge, Options(data_folder=data_folder))


def run(options: TrialOptions, *, sink: TextIO, notice: TextIO) -> None:
    """Play a trial and print what it amounts to.

    Parameters
    ----------
    notice : TextIO
        Where progress goes.

    Raises
    ------
    DiagnoseError
        As `model_of`.
    """
    make = partial(model_of, options.car, options.data_folder)
    make()  # fills the cache once, before the workers ask for it
    plan = TrialPlan(n_games=options.n_games, first_seed=options.first_seed)

    def show(share: float) -> None:
        if notice.isatty():
            notice.write(f"\rplayed {share:4.0%}")
            notice.flush()

    games = run_trial(make, plan, n_workers=options.n_workers, progress=show)
    if notice.isatty():
        notice.write("\r" + " " * 12 + "\r")
    if options.is_json:
        sink.write(json.dumps(report(games), indent=2) + "\n")
        return
    sink.writelines(line + "\n" for line in lines(games, plan))


def scores(games: Sequence[Game]) -> tuple[Score, ...]:
    """Return the figures of single faults, double faults and all together."""
    groups = {
        "single": [game for game in games if len(game.faults) == 1],
        "double": [game for game in games if len(game.faults) > 1],
        "all": list(games),
    }
    return tuple(score(name, group) for name, group in groups.items() if group)


def report(games: Sequence[Game]) -> dict[str, object]:
    """Return a trial as plain data."""
    claims, held = _claims(games)
    buckets = calibration(claims, held)
    return {
        "scores": [asdict(one) for one in scores(games)],
        "calibration": [asdict(bucket) for bucket in buckets],
        "expected_calibration_error": expected_calibration_error(buckets),
        "brier": brier_score(claims, held),
        "log_loss_nats": log_loss(claims, held),
        "games": [
            {
                "seed": game.seed,
                "complaint": game.complaint,
                "faults": list(game.faults),
                "first_rank": game.first_rank,
                "readings": game.readings,
                "wrong_repairs": game.wrong_repairs,
                "minutes": game.minutes,
                "is_fixed": game.is_fixed,
            }
            for game in games
        ],
    }


def _claims(games: Sequence[Game]) -> tuple[FloatArray, FloatArray]:
    pairs = [claim for game in games for claim in game.claims]
    return (
        np.array([claimed for claimed, _ in pairs], dtype=np.float64),
        np.array([held for _, held in pairs], dtype=np.float64),
    )


def lines(games: Sequence[Game], plan: TrialPlan) -> Iterator[str]:
    """Yield the trial as text."""
    last = plan.first_seed + plan.n_games - 1
    yield f"{len(games)} diagnoses, seeds {plan.first_seed} to {last}"
    yield ""
    yield (
        "faults   games   first  in three  all in three  readings  minutes  "
        "wrong repairs  fixed"
    )
    for one in scores(games):
        yield (
            f"{one.name:7}  {one.games:5}  {one.first_right:6.1%}  "
            f"{one.first_three:8.1%}  {one.all_in_three:12.1%}  {one.readings:8.1f}  "
            f"{one.minutes:7.0f}  {one.wrong_repairs:13.2f}  {one.fixed:5.1%}"
        )
    claims, held = _claims(games)
    buckets = calibration(claims, held)
    yield ""
    yield "what was claimed against what held, over every line shown before a repair"
    yield from map(_bucket_line, buckets)
    yield (
        f"expected calibration error {expected_calibration_error(buckets):.3f}, "
        f"Brier score {brier_score(claims, held):.3f}, "
        f"log loss {log_loss(claims, held):.3f} nat"
    )
    failures = [g for g in games if g.first_rank != 1 or not g.is_fixed]
    if failures:
        yield ""
        yield "not named first, or not mended"
    for game in failures[:SHOWN_FAILURES]:
        state = "mended" if game.is_fixed else "not mended"
        yield (
            f"seed {game.seed}: {game.complaint}: {', '.join(game.faults)}: rank "
            f"{game.first_rank or 'none'}, {state}"
        )
    if len(failures) > SHOWN_FAILURES:
        yield f"and {len(failures) - SHOWN_FAILURES} more; --json lists all"


def _bucket_line(bucket: Bucket) -> str:
    """Return a bucket as a bar of what held, with a mark where the claim lies."""
    bar = ["#" if place < round(bucket.held * BAR) else "." for place in range(BAR)]
    bar[min(round(bucket.claimed * BAR), BAR - 1)] = "|"
    return (
        f"{bucket.low:4.0%} to {bucket.high:4.0%}  {bucket.count:6}  "
        f"claimed {bucket.claimed:6.1%}  held {bucket.held:6.1%}  {''.join(bar)}"
    )
