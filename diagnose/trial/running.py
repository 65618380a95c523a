"""Many games on all cores, with the seeds that repeat them.

Leaves the figures to `scoring`.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

from diagnose.session.model import Model
from diagnose.trial.hidden_car import Errors, HiddenCars
from diagnose.trial.playing import Game, draw_car, play

STOCK_CARS = 64
BATCH = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlan:
    """What to play.

    Parameters
    ----------
    first_seed, n_games : int
        Games are seeded one after another from `first_seed`.
    stock_seed : int
        Seeds the tolerances of the hidden cars.
    """

    n_games: int
    first_seed: int = 0
    stock_seed: int = 1
    errors: Errors = field(default_factory=Errors)


def play_seeds(
    model: Model, stock: HiddenCars, seeds: Sequence[int], errors: Errors
) -> list[Game]:
    """Return the games of some seeds, in order."""
    games = []
    for seed in seeds:
        number = seed % STOCK_CARS
        car, complaint = draw_car(model, stock, number=number, seed=seed, errors=errors)
        games.append(play(model, car, complaint, seed=seed))
    return games


def run_trial(
    make_model: Callable[[], Model],
    plan: TrialPlan,
    *,
    n_workers: int,
    progress: Callable[[float], None] | None = None,
) -> tuple[Game, ...]:
    """Play all games of a plan.

    Parameters
    ----------
    make_model : Callable[[], Model]
        Makes the model inside each worker; must be importable there (a module-level
        function or a partial of one).
    n_workers : int
        Processes; with 1 everything runs in this one.
    progress : Callable or None
        Called with the share done, 0 to 1.
    """
    seeds = list(range(plan.first_seed, plan.first_seed + plan.n_games))
    batches = [seeds[start : start + BATCH] for start in range(0, len(seeds), BATCH)]
    games: list[Game] = []
    for done, batch in enumerate(
        _played(make_model, plan, batches, n_workers), start=1
    ):
        games += batch
        if progress is not None:
            progress(done / len(batches))
    return tuple(games)


def _played(
    make_model: Callable[[], Model],
    plan: TrialPlan,
    batches: Sequence[Sequence[int]],
    n_workers: int,
) -> Iterator[list[Game]]:
    if n_workers <= 1:
        model = make_model()
        stock = HiddenCars(model, n_cars=STOCK_CARS, seed=plan.stock_seed)
        for batch in batches:
            yield play_seeds(model, stock, batch, plan.errors)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(
        n_workers, context, initializer=_begin, initargs=(make_model, plan)
    ) as pool:
        yield from pool.map(_play_batch, batches)


class _Worker:
    """What one worker process holds between batches."""

    model: Model
    stock: HiddenCars
    plan: TrialPlan


def _begin(make_model: Callable[[], Model], plan: TrialPlan) -> None:
    _Worker.model = make_model()
    _Worker.stock = HiddenCars(_Worker.model, n_cars=STOCK_CARS, seed=plan.stock_seed)
    _Worker.plan = plan


def _play_batch(seeds: Sequence[int]) -> list[Game]:
    return play_seeds(_Worker.model, _Worker.stock, seeds, _Worker.plan.errors)
