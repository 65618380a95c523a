"""Plays a trial as the command line asked, and writes what it amounts to.

Leaves the playing to `trial.running` and the figures to `trial.scoring`.
"""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import TextIO

from diagnose.files.car.car_file import WANTED, load_car
from diagnose.files.file_text import read_text
from diagnose.terminal.preparation.car_files import car_file, published_knowledge
from diagnose.terminal.progress import Progress
from diagnose.terminal.reports.trials import trial_tables
from diagnose.terminal.reports.trials.trial_cars import (
    model_of,
    model_of_text,
    version_of,
)
from diagnose.terminal.reports.trials.trial_data import (
    outside_report,
    report,
    unlike_report,
)
from diagnose.trial.cluster import connected
from diagnose.trial.hidden.hidden_car import Errors
from diagnose.trial.hidden.unlike_stock import UNLIKE_ERRORS, InBands, sound_readings
from diagnose.trial.playing import Game
from diagnose.trial.policies import POLICIES, PROGRAM
from diagnose.trial.policy_scores import PolicyScore, policy_scores
from diagnose.trial.running import TrialPlan, run_trial
from diagnose.trial.scoring import is_failed
from diagnose.trial.telling import Telling, tellings

# Length of the bar that shows how far it is. Own choice: with the words beside it it
# fits into `progress.MOST_CHARACTERS`. [characters]
SHORT_BAR = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialOptions:
    """What the command line asked for.

    Parameters
    ----------
    car : str
        A path or a shipped car's name.
    n_games, first_seed : int
        How many are played; the first one's seed, the others' follow it.
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
    is_unlike : bool
        The cars differ from their file in laws, not only in draws.
    """

    car: str
    n_games: int
    first_seed: int
    n_workers: int
    is_json: bool
    cluster: str = ""
    has_policies: bool = False
    is_outside: bool = False
    is_unlike: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """What a trial amounts to.

    Parameters
    ----------
    own : Sequence[Game]
        The games in which the program itself chose the readings.
    apart : tuple[Telling, ...]
        What would have told the cause named wrongly from the one that was there.
    compared : tuple[PolicyScore, ...]
        How others would have chosen; empty where nobody else played.
    in_bands : tuple[InBands, ...]
        How many readings of sound cars the sheet foretells; empty where the cars are
        those of the model.
    """

    own: Sequence[Game]
    apart: tuple[Telling, ...]
    compared: tuple[PolicyScore, ...]
    in_bands: tuple[InBands, ...]


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
        is_unlike=options.is_unlike,
        errors=UNLIKE_ERRORS if options.is_unlike else Errors(),
    )
    if options.cluster:
        games = _played_there(options, plan, notice)
    else:
        make = partial(model_of, options.car)
        make()  # fills the cache once, before the workers ask for it
        with _progress(notice) as show:
            games = run_trial(make, plan, n_workers=options.n_workers, progress=show)
    own = [game for game in games if game.policy == PROGRAM]
    shown = _Shown(
        own=own,
        apart=() if options.is_outside else _tellings(options, own),
        compared=policy_scores(games) if options.has_policies else (),
        in_bands=_in_bands(options, plan) if options.is_unlike else (),
    )
    if options.is_json:
        sink.write(json.dumps(_data(shown, options), indent=2) + "\n")
    else:
        sink.writelines(line + "\n" for line in _lines(shown, options, plan))


def _data(shown: _Shown, options: TrialOptions) -> dict[str, object]:
    """Return a trial as plain data."""
    content = outside_report(shown.own) if options.is_outside else report(shown.own)
    if shown.apart:
        content["told_apart"] = [asdict(one) for one in shown.apart]
    if options.is_unlike:
        content["unlike"] = unlike_report(shown.own, shown.in_bands)
    if shown.compared:
        content["policies"] = [asdict(one) for one in shown.compared]
    return content


def _lines(shown: _Shown, options: TrialOptions, plan: TrialPlan) -> Iterator[str]:
    """Yield a trial as text."""
    of_games = trial_tables.outside_lines if options.is_outside else trial_tables.lines
    yield from of_games(shown.own, plan)
    if options.is_unlike:
        yield from trial_tables.unlike_lines(
            shown.own, shown.in_bands, is_outside=options.is_outside
        )
    yield from trial_tables.telling_lines(shown.apart)
    yield from trial_tables.policy_lines(shown.compared)


def _tellings(options: TrialOptions, games: Sequence[Game]) -> tuple[Telling, ...]:
    """Return what would have told apart what was named from what was there."""
    if not any(map(is_failed, games)):
        return ()
    return tellings(games, model_of(options.car))


def _in_bands(options: TrialOptions, plan: TrialPlan) -> tuple[InBands, ...]:
    """Return how many readings of the trial's cars, sound, the sheet foretells."""
    model = model_of(options.car)
    return sound_readings(model, plan.stock(model))


def _played_there(
    options: TrialOptions, plan: TrialPlan, notice: TextIO
) -> tuple[Game, ...]:
    """Play a trial on a cluster; the car goes there as text."""
    knowledge = published_knowledge()
    with car_file(options.car) as path:
        name, text = path.name, read_text(path, wanted=WANTED)
        load_car(path, knowledge, text=text)  # a mistake in it is told here
    make = partial(model_of_text, name, text, version_of(knowledge))
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
