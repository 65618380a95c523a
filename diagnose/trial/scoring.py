"""What a batch of games amounts to: how often right, how fast, how honest.

Leaves the playing to `playing` and the printing to the command line.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.session.answer import Verdict
from diagnose.trial.playing import Game

# The rank down to which a cause counts as found. [1] Own choice: what a person
# looks at.
FIRST_LINES = 3

# What the program says when nothing it knows fits.
DOUBTS = (Verdict.NOTHING_FITS, Verdict.STOP)
# Claims from here on are called sure. [1] Own choice: whoever reads 99 % looks no
# further.
SURE = 0.99


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How one group of games went.

    Parameters
    ----------
    name : str
        What they have in common.
    games : int
        How many there are. [1]
    first_right, first_three, all_in_three : float
        Share of games in which, when the first repair is advised, a hidden cause is
        named first, one is in the first three lines, all are in the first three lines.
    each_in_three : float
        Share of games in which each hidden cause was in the first three lines by the
        time one of those still there was to be mended.
    readings, minutes : float
        Means to the end of the diagnosis; minutes include repairs. [1], [min]
    wrong_repairs : float
        Mean number of repairs of sound parts. [1]
    fixed : float
        Share of games that ended with the complaint gone. [1]
    """

    name: str
    games: int
    first_right: float
    first_three: float
    all_in_three: float
    each_in_three: float
    readings: float
    minutes: float
    wrong_repairs: float
    fixed: float


def score(name: str, games: Sequence[Game]) -> Score:
    """Return how a group of games went.

    Parameters
    ----------
    name : str
        What they have in common.
    games : Sequence[Game]
        At least one.

    Raises
    ------
    ValueError
        If there are none.
    """
    if not games:
        raise ValueError(f"no games in {name}")
    return Score(
        name=name,
        games=len(games),
        first_right=float(np.mean([game.first_rank == 1 for game in games])),
        first_three=float(
            np.mean([0 < game.first_rank <= FIRST_LINES for game in games])
        ),
        all_in_three=float(
            np.mean([0 < game.last_rank <= FIRST_LINES for game in games])
        ),
        each_in_three=float(
            np.mean([0 < game.named_rank <= FIRST_LINES for game in games])
        ),
        readings=float(np.mean([game.readings for game in games])),
        minutes=float(np.mean([game.minutes for game in games])),
        wrong_repairs=float(np.mean([game.wrong_repairs for game in games])),
        fixed=float(np.mean([game.is_fixed for game in games])),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakSpot:
    """Games that have something in common, and how many of them went wrong.

    Parameters
    ----------
    name : str
        What they have in common.
    games : int
        How many there are. [1]
    failed : int
        How many of them went wrong, see `is_failed`. [1]
    """

    name: str
    games: int
    failed: int


def is_failed(game: Game) -> bool:
    """Return whether no hidden cause was named first, or the car was not mended."""
    return game.first_rank != 1 or not game.is_fixed


def weak_spots(
    games: Sequence[Game], names: Callable[[Game], Collection[str]]
) -> tuple[WeakSpot, ...]:
    """Return where games fail, most failures first.

    Parameters
    ----------
    games : Sequence[Game]
        All that were played.
    names : Callable
        What a game is counted under; it may be several names.
    """
    played: Counter[str] = Counter()
    failed: Counter[str] = Counter()
    for game in games:
        found = set(names(game))
        played.update(found)
        if is_failed(game):
            failed.update(found)
    spots = [
        WeakSpot(name=name, games=played[name], failed=count)
        for name, count in failed.items()
    ]
    return tuple(sorted(spots, key=lambda s: (-s.failed, -s.failed / s.games, s.name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """How often the program said that nothing it knows fits.

    Parameters
    ----------
    games : int
        How many there are. [1]
    said : float
        Share of games in which it said so, be it only to have a reading repeated. [1]
    stopped : float
        Share of games in which it went on to say that one should stop.
    before_repair : float
        Share of games in which it said so before any repair.
    wrong_repairs : float
        Mean number of wrong repairs in the games in which it said so.
    """

    games: int
    said: float
    stopped: float
    before_repair: float
    wrong_repairs: float


def doubt(games: Sequence[Game]) -> Doubt:
    """Return how often the program said that nothing fits, rightly or wrongly.

    Parameters
    ----------
    games : Sequence[Game]
        All with a fault the model knows, or all with one it does not.

    Raises
    ------
    ValueError
        If there are no games.
    """
    if not games:
        raise ValueError("no games to doubt in")
    said = [any(v in DOUBTS for v in game.verdicts) for game in games]
    wrong = [game.wrong_repairs for game in games if set(DOUBTS) & set(game.verdicts)]
    return Doubt(
        games=len(games),
        said=float(np.mean(said)),
        stopped=float(np.mean([Verdict.STOP in game.verdicts for game in games])),
        before_repair=float(np.mean([_is_early(game.verdicts) for game in games])),
        wrong_repairs=float(np.mean(wrong)) if wrong else 0.0,
    )


def _is_early(verdicts: Sequence[Verdict]) -> bool:
    """Return whether a doubt came before any repair."""
    for verdict in verdicts:
        if verdict in (*DOUBTS, Verdict.REPAIR):
            return verdict in DOUBTS
    return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Robustness:
    """What tells whether a diagnosis can bear cars that differ from their file.

    Parameters
    ----------
    sure_claims : int
        Claims of `SURE` and more, over every line shown before a repair. [1]
    sure_held : float
        Share of them that held; 1 when there are none. [1]
    nothing_fits : float
        Share of games in which nothing was said to fit. [1]
    wrong_repairs : float
        Mean number of repairs of sound parts in a game. [1]
    doubles : int
        Games with two hidden causes. [1]
    doubles_first_right, doubles_mended : float
        Share of them in which the first repair was for a cause that was there, and in
        which both causes are gone in the end; 0 when there are none. [1]
    """

    sure_claims: int
    sure_held: float
    nothing_fits: float
    wrong_repairs: float
    doubles: int
    doubles_first_right: float
    doubles_mended: float


def robustness(games: Sequence[Game]) -> Robustness:
    """Return what tells whether a diagnosis can bear cars unlike their file.

    Raises
    ------
    ValueError
        If there are no games.
    """
    if not games:
        raise ValueError("no games to judge by")
    sure = [held for game in games for claim, held in game.claims if claim >= SURE]
    doubles = [game for game in games if len(game.faults) > 1]
    return Robustness(
        sure_claims=len(sure),
        sure_held=_share(sure, empty=1.0),
        nothing_fits=doubt(games).said,
        wrong_repairs=float(np.mean([game.wrong_repairs for game in games])),
        doubles=len(doubles),
        doubles_first_right=_share([game.first_rank == 1 for game in doubles]),
        doubles_mended=_share([not game.left for game in doubles]),
    )


def _share(claims: Sequence[bool], *, empty: float = 0.0) -> float:
    return float(np.mean(claims)) if claims else empty
