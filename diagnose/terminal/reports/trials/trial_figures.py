"""The figures of a trial that both its tables and its JSON hold, from its games.

Leaves how each is worked out to `trial.scoring`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.trial.playing import Game
from diagnose.trial.scoring import Score, WeakSpot, score, weak_spots


def scores(games: Sequence[Game]) -> tuple[Score, ...]:
    """Return the figures of single faults, double faults and all together."""
    groups = {
        "single": [game for game in games if len(game.faults) == 1],
        "double": [game for game in games if len(game.faults) > 1],
        "all": list(games),
    }
    return tuple(score(name, group) for name, group in groups.items() if group)


def claims(games: Sequence[Game]) -> tuple[FloatArray, FloatArray]:
    """Return every chance that was claimed, and 1 where it held, else 0."""
    pairs = [claim for game in games for claim in game.claims]
    return (
        np.array([claimed for claimed, _ in pairs], dtype=np.float64),
        np.array([held for _, held in pairs], dtype=np.float64),
    )


def spots(games: Sequence[Game]) -> Iterator[tuple[str, tuple[WeakSpot, ...]]]:
    """Yield where games fail, seen from the complaint and from the fault."""
    yield "complaint", weak_spots(games, lambda game: (game.complaint,))
    yield (
        "fault",
        weak_spots(games, lambda game: [f.split(":")[1] for f in game.faults]),
    )
