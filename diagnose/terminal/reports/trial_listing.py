"""A trial for a reader, or as JSON for another program.

Leaves the playing to `trial.running` and the figures to `trial.scoring`.
"""

from __future__ import annotations

import contextlib
import json
import platform
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import TextIO

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.knowledge.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.ready_car import COMPILED_LAYERS, Model, program_digest
from diagnose.terminal.car_names import car_file
from diagnose.terminal.dialogue.evening import Options, prepared_model
from diagnose.terminal.progress import Progress
from diagnose.trial.cluster import ClusterError, connected
from diagnose.trial.playing import Game
from diagnose.trial.policies import POLICIES, PROGRAM
from diagnose.trial.running import TrialPlan, run_trial
from diagnose.trial.scoring import (
    DOUBTS,
    Bucket,
    PolicyScore,
    Score,
    WeakSpot,
    brier_score,
    calibration,
    doubt,
    expected_calibration_error,
    is_failed,
    log_loss,
    policy_scores,
    score,
    weak_spots,
)
from diagnose.trial.telling import Telling, tellings

BAR = 36
SHORT_BAR = 20
SHOWN_FAILURES = 12
SHOWN_SPOTS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialOptions:
    """What the command line asked for.

    Parameters
    ----------
    car : str
        A path or a shipped car's name.
    n_workers : int
        Processes here.
    cluster : str
        Address of a Dask scheduler; empty: all is played here.
    is_json : bool
        One JSON object instead of tables.
    has_policies : bool
        Other ways to choose the readings play the same cars.
    is_outside : bool
        What is wrong is no cause of the model; is that recognised?
    """

    car: str
    n_games: int
    first_seed: int
    n_workers: int
    is_json: bool
    data_folder: Path | None
    cluster: str = ""
    has_policies: bool = False
    is_outside: bool = False


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


def model_of_text(
    name: str, text: str, version: str, data_folder: Path | None
) -> Model:
    """Return a car ready for diagnosis from its file's text, where there is no file.

    Parameters
    ----------
    name : str
        Name of the file.
    version : str
        `version_of` where the work comes from.

    Raises
    ------
    ClusterError
        If this program is another version.
    """
    knowledge = load_knowledge(knowledge_folder())
    if version_of(knowledge) != version:
        raise ClusterError(
            f"the worker on {platform.node()} has another version of this program or "
            "of its knowledge; install the same one on every machine"
        )
    with tempfile.TemporaryDirectory(prefix="diagnose-") as folder:
        path = Path(folder) / name
        path.write_text(text, encoding="utf-8")
        car = load_car(path, knowledge)
    return prepared_model(car, knowledge, Options(data_folder=data_folder))


def version_of(knowledge: Knowledge) -> str:
    """Return what has to be the same wherever the same figures are to come out."""
    layers = (*COMPILED_LAYERS, "session", "trial")
    return f"{knowledge.digest} {program_digest(layers)}"


def run(options: TrialOptions, *, sink: TextIO, notice: TextIO) -> None:
    """Play a trial and print what it amounts to.

    Parameters
    ----------
    notice : TextIO
        Where progress goes.

    Raises
    ------
    DiagnoseError
        As `model_of`; or if the cluster can't be reached.
    """
    plan = TrialPlan(
        n_games=options.n_games,
        first_seed=options.first_seed,
        policies=tuple(POLICIES) if options.has_policies else (PROGRAM,),
        is_outside=options.is_outside,
    )
    if options.cluster:
        games = _played_there(options, plan, notice)
    else:
        make = partial(model_of, options.car, options.data_folder)
        make()  # fills the cache once, before the workers ask for it
        with _progress(notice) as show:
            games = run_trial(make, plan, n_workers=options.n_workers, progress=show)
    own = [game for game in games if game.policy == PROGRAM]
    apart = () if options.is_outside else _tellings(options, own)
    compared = policy_scores(games) if options.has_policies else ()
    if options.is_json:
        content = outside_report(own) if options.is_outside else report(own)
        if apart:
            content["told_apart"] = [asdict(one) for one in apart]
        if compared:
            content["policies"] = [asdict(one) for one in compared]
        sink.write(json.dumps(content, indent=2) + "\n")
        return
    shown = outside_lines(own, plan) if options.is_outside else lines(own, plan)
    sink.writelines(line + "\n" for line in shown)
    sink.writelines(line + "\n" for line in telling_lines(apart))
    sink.writelines(line + "\n" for line in policy_lines(compared))


def _tellings(options: TrialOptions, games: Sequence[Game]) -> tuple[Telling, ...]:
    """Return what would have told apart what was named from what was there."""
    if not any(map(is_failed, games)):
        return ()
    return tellings(games, model_of(options.car, options.data_folder))


def telling_lines(apart: Sequence[Telling]) -> Iterator[str]:
    """Yield what would have told apart what was named from what was there."""
    if not apart:
        return
    yield ""
    yield "what tells the named cause from the one that was there, and how often"
    for one in apart[:SHOWN_FAILURES]:
        how = (
            f"{one.share:.0%} by {one.step} ({one.minutes:.0f} min)"
            if one.step
            else "no reading and no symptom"
        )
        yield f"seed {one.seed}: {one.was_named} for {one.was_there}: {how}"


def _played_there(
    options: TrialOptions, plan: TrialPlan, notice: TextIO
) -> tuple[Game, ...]:
    """Play a trial on a cluster; the car goes there as text."""
    knowledge = load_knowledge(knowledge_folder())
    with car_file(options.car) as path:
        load_car(path, knowledge)  # a mistake in it is told here
        name, text = path.name, path.read_text(encoding="utf-8")
    make = partial(
        model_of_text, name, text, version_of(knowledge), options.data_folder
    )
    with (
        connected(options.cluster) as cluster,
        _progress(notice) as show,
    ):
        return run_trial(make, plan, spread=cluster.map, progress=show)


@contextlib.contextmanager
def _progress(notice: TextIO) -> Iterator[Callable[[float], None]]:
    """Give what shows progress: a bar on a terminal, else nothing."""
    if not notice.isatty():
        yield lambda _share: None
        return
    began = time.monotonic()
    with Progress(notice, about="played") as progress:
        yield lambda share: progress.show(
            share, progress_words(share, seconds=time.monotonic() - began)
        )


def progress_words(share: float, *, seconds: float) -> str:
    """Return a bar, and how long it may still take.

    Parameters
    ----------
    share : float
        Done so far, above 0 to 1.
    seconds : float
        Taken so far. [s]

    Examples
    --------
    >>> progress_words(0.25, seconds=60.0)
    '[#####...............] 3.0 min left'
    """
    done = round(share * SHORT_BAR)
    bar = "#" * done + "." * (SHORT_BAR - done)
    left = seconds * (1.0 - share) / share / 60.0
    return f"[{bar}] {left:.1f} min left"


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
        "false_alarms": asdict(doubt(games)),
        "brier": brier_score(claims, held),
        "log_loss_nats": log_loss(claims, held),
        "weak_spots": {
            name: [asdict(spot) for spot in spots] for name, spots in _spots(games)
        },
        "games": [
            {
                "seed": game.seed,
                "complaint": game.complaint,
                "faults": list(game.faults),
                "first_rank": game.first_rank,
                "last_rank": game.last_rank,
                "named_rank": game.named_rank,
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
        "faults   games   first  in three  all so  in turn  "
        "readings  minutes  wrong  fixed"
    )
    for one in scores(games):
        yield (
            f"{one.name:7}  {one.games:5}  {one.first_right:6.1%}  "
            f"{one.first_three:8.1%}  {one.all_in_three:6.1%}  "
            f"{one.each_in_three:7.1%}  {one.readings:8.1f}  {one.minutes:7.0f}  "
            f"{one.wrong_repairs:5.2f}  {one.fixed:5.1%}"
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
    alarms = doubt(games)
    yield (
        f"said that nothing fits, though a cause was there: {alarms.said:.1%}; "
        f"told to stop: {alarms.stopped:.1%}"
    )
    yield from _spot_lines(games)
    failures = [game for game in games if is_failed(game)]
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


def outside_report(games: Sequence[Game]) -> dict[str, object]:
    """Return a trial with faults outside the model as plain data."""
    return {
        "recognised": asdict(doubt(games)),
        "games": [
            {
                "seed": game.seed,
                "complaint": game.complaint,
                "outside": game.outside,
                "wrong_repairs": game.wrong_repairs,
                "verdicts": [verdict.value for verdict in game.verdicts],
            }
            for game in games
        ],
    }


def outside_lines(games: Sequence[Game], plan: TrialPlan) -> Iterator[str]:
    """Yield a trial with faults outside the model as text."""
    found = doubt(games)
    last = plan.first_seed + plan.n_games - 1
    yield (
        f"{found.games} diagnoses of what is no cause of the model, seeds "
        f"{plan.first_seed} to {last}"
    )
    yield ""
    yield f"recognised, nothing fits          {found.said:6.1%}"
    yield f"  of these before any repair      {found.before_repair:6.1%} of all"
    yield f"  and told to stop                {found.stopped:6.1%} of all"
    yield f"wrong repairs where recognised    {found.wrong_repairs:6.2f}"
    missed = [game for game in games if not set(DOUBTS) & set(game.verdicts)]
    if missed:
        yield ""
        yield "not recognised"
    for game in missed[:SHOWN_FAILURES]:
        yield (
            f"seed {game.seed}: {game.complaint}: {game.outside}: "
            f"{game.wrong_repairs} wrong repairs, "
            f"{'said to be mended' if game.is_fixed else 'not mended'}"
        )


def _spots(games: Sequence[Game]) -> Iterator[tuple[str, tuple[WeakSpot, ...]]]:
    """Yield where games fail, seen from the complaint and from the fault."""
    yield "complaint", weak_spots(games, lambda game: (game.complaint,))
    yield (
        "fault",
        weak_spots(games, lambda game: [f.split(":")[1] for f in game.faults]),
    )


def _spot_lines(games: Sequence[Game]) -> Iterator[str]:
    for name, spots in _spots(games):
        if spots:
            yield ""
            yield f"where it fails most, by {name}: failed of played"
        for spot in spots[:SHOWN_SPOTS]:
            yield f"{spot.failed:5} of {spot.games:4}  {spot.name}"


def policy_lines(compared: Sequence[PolicyScore]) -> Iterator[str]:
    """Yield how others would have chosen the readings, as a table; nothing for none."""
    if not compared:
        return
    yield ""
    yield "who chooses the readings, on the same cars; the program's minutes as a share"
    yield (
        "choice                     minutes  program  readings  wrong repairs   fixed"
    )
    for one in compared:
        played = "  (bound)" if one.is_bound else ""
        yield (
            f"{one.name:25}  {one.minutes:7.0f}  {one.of_this:7.0%}  "
            f"{one.readings:8.1f}  {one.wrong_repairs:13.2f}  {one.fixed:6.1%}{played}"
        )


def _bucket_line(bucket: Bucket) -> str:
    """Return a bucket as a bar of what held, with a mark where the claim lies."""
    bar = ["#" if place < round(bucket.held * BAR) else "." for place in range(BAR)]
    bar[min(round(bucket.claimed * BAR), BAR - 1)] = "|"
    return (
        f"{bucket.low:4.0%} to {bucket.high:4.0%}  {bucket.count:6}  "
        f"claimed {bucket.claimed:6.1%}  held {bucket.held:6.1%}  {''.join(bar)}"
    )
