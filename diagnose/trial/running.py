"""Many games on all cores or elsewhere, with the seeds that repeat them.

Leaves one game to `playing` and the figures to `scoring`.

Decision that binds it: games go out in batches that are the same everywhere and come
back in their order, so that their sums are the same on one core, on many and elsewhere.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

from diagnose.session.ready_car import Model
from diagnose.trial.hidden.hidden_car import Errors, HiddenCars
from diagnose.trial.hidden.outside import draw_outside_car
from diagnose.trial.hidden.unlike_stock import UnlikeCars
from diagnose.trial.playing import Game, draw_car, play
from diagnose.trial.policies import PROGRAM

# How many cars there are with tolerances of their own. [1] Own choice: as many as the
# model has draws, and games enough on each.
STOCK_CARS = 64

# How many games are handed out at a time. [1] Own choice: a minute's work, so that no
# worker waits long for the last.
BATCH = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlan:
    """What to play.

    Parameters
    ----------
    n_games : int
        How many each policy plays. [1]
    first_seed : int
        Games are seeded one after another from here.
    policies : tuple[str, ...]
        Each plays all the games, on the same cars.
    stock_seed : int
        Seeds the tolerances of the hidden cars.
    errors : Errors
        How their owners err.
    batch : int
        How many games are handed out at a time. [1]
    is_outside : bool
        What is wrong is no cause of the model.
    is_unlike : bool
        The cars differ from their file in laws, not only in draws.
    """

    n_games: int
    first_seed: int = 0
    policies: tuple[str, ...] = (PROGRAM,)
    stock_seed: int = 1
    errors: Errors = field(default_factory=Errors)
    batch: int = BATCH
    is_outside: bool = False
    is_unlike: bool = False

    def stock(self, model: Model) -> HiddenCars:
        """Return the cars that are played with."""
        make = UnlikeCars if self.is_unlike else HiddenCars
        return make(model, n_cars=STOCK_CARS, seed=self.stock_seed)


def play_seeds(
    model: Model,
    stock: HiddenCars,
    seeds: Sequence[int],
    errors: Errors,
    *,
    policies: Sequence[str] = (PROGRAM,),
    is_outside: bool = False,
) -> list[Game]:
    """Return the games of some seeds, in order, each by every policy."""
    games = []
    for seed in seeds:
        for policy in policies:
            if is_outside:
                car, complaint = draw_outside_car(stock, seed=seed, errors=errors)
            else:
                number = stock.number_of(seed)
                car, complaint = draw_car(
                    model, stock, number=number, seed=seed, errors=errors
                )
            games.append(play(model, car, complaint, seed=seed, policy=policy))
    return games


# How batches of seeds are played, in order: `map` here, or many at a time there.
Spread = Callable[
    [Callable[[Sequence[int]], list[Game]], Sequence[Sequence[int]]],
    Iterable[list[Game]],
]


def run_trial(
    make_model: Callable[[], Model],
    plan: TrialPlan,
    *,
    n_workers: int = 1,
    spread: Spread | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[Game, ...]:
    """Return all games of a plan, in the order of their seeds.

    Parameters
    ----------
    make_model : Callable[[], Model]
        Makes the model inside each worker; must be importable there (a module-level
        function or a partial of one).
    plan : TrialPlan
        What to play.
    n_workers : int
        Processes here; with 1 everything runs in this one. [1]
    spread : Callable or None
        Plays the batches elsewhere instead; the games are the same.
    progress : Callable or None
        Called with the share done, 0 to 1.
    """
    seeds = list(range(plan.first_seed, plan.first_seed + plan.n_games))
    starts = range(0, len(seeds), plan.batch)
    batches = [seeds[start : start + plan.batch] for start in starts]
    batch_player = partial(play_batch, make_model, plan)
    with contextlib.ExitStack() as stack:
        if spread is None and n_workers > 1:
            # not forked: a fork would copy threads of the numerical libraries
            context = multiprocessing.get_context("spawn")
            pool = ProcessPoolExecutor(n_workers, context, end_with_parent)
            spread = stack.enter_context(pool).map
        games: list[Game] = []
        for done, batch in enumerate((spread or map)(batch_player, batches), start=1):
            games += batch
            if progress is not None:
                progress(done / len(batches))
    return tuple(games)


def end_with_parent() -> None:
    """Have this worker end once its parent has, in whatever way that ends.

    A pool whose parent is killed waits for work for ever, with all its memory.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def end_after() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=end_after, daemon=True).start()


class _Held(threading.local):
    """What one thread of a worker holds between batches."""

    key: bytes = b""
    stock: HiddenCars


_held = _Held()


def play_batch(
    make_model: Callable[[], Model], plan: TrialPlan, seeds: Sequence[int]
) -> list[Game]:
    """Return the games of some seeds; the car is made ready once a thread.

    Parameters
    ----------
    make_model : Callable[[], Model]
        As in `run_trial`.
    plan : TrialPlan
        What to play.
    seeds : Sequence[int]
        Those of this batch.
    """
    # a diagnosis writes into its model, so threads can't share one
    key = pickle.dumps((make_model, plan.stock_seed, plan.is_unlike))
    if _held.key != key:
        _held.stock = plan.stock(make_model())
        _held.key = key
    stock = _held.stock
    return play_seeds(
        stock.model,
        stock,
        seeds,
        plan.errors,
        policies=plan.policies,
        is_outside=plan.is_outside,
    )
