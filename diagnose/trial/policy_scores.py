"""How ways to choose the next reading compare, over the same hidden cars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.session.steps.particles import GIVE_UP_MINUTES
from diagnose.session.steps.prices import PROBE_MINUTES
from diagnose.trial.playing import Game
from diagnose.trial.policies import PROGRAM, fewest_readings


@dataclass(frozen=True, slots=True, kw_only=True)
class PolicyScore:
    """One way to choose the readings, over all its games.

    Parameters
    ----------
    name : str
        The policy, or the bound.
    minutes : float
        Mean to the proven repair; a complaint that is not mended in the end counts the
        minutes of giving up on top. [min]
    of_this : float
        The program's minutes as a share of these. [1]
    readings, wrong_repairs, fixed : float
        As in `Score`.
    is_bound : bool
        Not played: nothing can take less.
    """

    name: str
    minutes: float
    of_this: float
    readings: float
    wrong_repairs: float
    fixed: float
    is_bound: bool = False


def policy_scores(games: Sequence[Game]) -> tuple[PolicyScore, ...]:
    """Return how each policy did, and two bounds that no policy can beat.

    Parameters
    ----------
    games : Sequence[Game]
        Of all policies, on the same cars.

    Notes
    -----
    One who knows the fault mends it and tests the complaint. One who does not must
    learn what the ranking leaves unsure, and no reading tells more than the logarithm
    of its outcomes, nor takes less than the time to place the leads.

    Raises
    ------
    ValueError
        If the program itself has played no game.
    """
    names = list(dict.fromkeys(game.policy for game in games))
    if PROGRAM not in names:
        raise ValueError("the program has played no game to compare with")
    own = _mean_minutes([game for game in games if game.policy == PROGRAM])
    played = [_policy_score(n, [g for g in games if g.policy == n], own) for n in names]
    best = float(np.mean([game.best_minutes for game in games]))
    readings = fewest_readings(float(np.mean([game.missing_bits for game in games])))
    for name, fewest in (("entropy bound", readings), ("knowing the fault", 0.0)):
        minutes = best + fewest * PROBE_MINUTES
        played.append(
            PolicyScore(
                name=name,
                minutes=minutes,
                of_this=own / minutes,
                readings=fewest,
                wrong_repairs=0.0,
                fixed=1.0,
                is_bound=True,
            )
        )
    return tuple(played)


def _policy_score(name: str, games: Sequence[Game], own: float) -> PolicyScore:
    minutes = _mean_minutes(games)
    return PolicyScore(
        name=name,
        minutes=minutes,
        of_this=own / minutes,
        readings=float(np.mean([game.readings for game in games])),
        wrong_repairs=float(np.mean([game.wrong_repairs for game in games])),
        fixed=float(np.mean([game.is_fixed for game in games])),
    )


def _mean_minutes(games: Sequence[Game]) -> float:
    given_up = [0.0 if game.is_fixed else GIVE_UP_MINUTES for game in games]
    return float(np.mean([game.minutes for game in games]) + np.mean(given_up))
