"""Ladders: fault sets solved with every severity of one of their causes, and kept.

Leaves to `reasoning` which sets need one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import (
    LADDER_LEVELS,
    FaultSet,
    Severity,
    effect_signature,
)
from diagnose.inference.belief.compiled_car import Compiled
from diagnose.inference.belief.hypotheses import Hypotheses
from diagnose.inference.belief.severity_steps import (
    STEPS_BETWEEN,
    choose_severities,
    n_steps,
)
from diagnose.session.evidence.likelihoods import Weigher
from diagnose.session.evidence.observations import Noted

KEPT_LADDERS = 120
# Derived: some 3 MB each; those of a dozen facts that may be told next are among them.
LADDER_STRIDE = 4
# Derived: every fourth tolerance stands for four; a ladder is about the severity.


class Rungs(NamedTuple):
    """A fault set, and which of its causes goes up the ladder.

    Parameters
    ----------
    fault_set : FaultSet
    cause : int
    beside : tuple[Severity, ...]
        How severe others of its causes are, draw by draw; those not named as drawn.
    """

    fault_set: FaultSet
    cause: int
    beside: tuple[Severity, ...] = ()


@dataclass(frozen=True, slots=True)
class Ladder:
    """A fault set on a ladder of severities, and what observations say of its steps.

    `grid` has one row per solved severity; the steps between are interpolated.
    """

    grid: Hypotheses
    likelihoods: dict[Noted, FloatArray]


class Ladders:
    """The ladders of one car.

    Parameters
    ----------
    compiled : Compiled
    weigher : Weigher
    """

    def __init__(self, compiled: Compiled, weigher: Weigher) -> None:
        self._compiled, self._weigher = compiled, weigher
        self._kept: dict[Rungs, Ladder] = {}
        first: dict[tuple[object, ...], int] = {}
        self._stands_for: Mapping[int, int] = {
            number: first.setdefault(effect_signature(cause), number)
            for number, cause in enumerate(compiled.causes)
        }

    def standing_in(self, fault_set: FaultSet) -> FaultSet:
        """Return the fault set that acts like this one and stands for all such."""
        return tuple(sorted(self._stands_for[cause] for cause in fault_set))

    def _standing(self, rungs: Rungs) -> Rungs:
        fault_set = self.standing_in(rungs.fault_set)
        beside = tuple(
            one._replace(cause=self._stands_for[one.cause]) for one in rungs.beside
        )
        return Rungs(fault_set, self._stands_for[rungs.cause], beside)

    def solve(self, wanted: Sequence[Rungs]) -> None:
        """Solve ladders, all that are missing together; those that act alike are one.

        Those wanted are there then, until `solve` is called again.
        """
        alike = list(dict.fromkeys(self._standing(one) for one in wanted))
        missing = [one for one in alike if one not in self._kept]
        # those asked for last are dropped last
        self._kept.update(
            {one: self._kept.pop(one) for one in alike if one in self._kept}
        )
        if not missing:
            return
        for rungs in list(self._kept):
            if len(self._kept) + len(missing) <= KEPT_LADDERS:
                break
            if rungs not in alike:
                del self._kept[rungs]
        n_levels = len(LADDER_LEVELS)
        solved = self._compiled.hypotheses(
            [one.fault_set for one in missing for _ in LADDER_LEVELS],
            severities=[
                (Severity(one.cause, level), *one.beside)
                for one in missing
                for level in LADDER_LEVELS
            ],
            every=LADDER_STRIDE,
        )
        for number, rungs in enumerate(missing):
            rows = np.arange(number * n_levels, (number + 1) * n_levels)
            self._kept[rungs] = Ladder(solved.kept(rows), {})

    def suited(
        self, cause: int, observations: Sequence[Noted]
    ) -> tuple[Severity, IntArray, FloatArray]:
        """Return how severe a cause is in each draw, chosen by some observations.

        Returns
        -------
        tuple
            Its severity; the step of its ladder in each draw, and the factor on the
            prior of each draw that goes with it, see `Redrawn.correction`; shape
            (n_draws,) each.
        """
        rungs = Rungs((cause,), cause)
        self.solve([rungs])
        weights = np.ones((n_steps(len(LADDER_LEVELS)), self._compiled.n_draws))
        for noted in observations:
            weights = weights * self.likelihood(rungs, noted)
        # draws that are solved as one are as severe
        redrawn = choose_severities(weights[:, ::LADDER_STRIDE])
        steps = redrawn.choice.repeat(LADDER_STRIDE)
        levels = np.interp(
            steps / STEPS_BETWEEN, np.arange(len(LADDER_LEVELS)), LADDER_LEVELS
        )
        severity = Severity(cause, tuple(levels.tolist()))
        return severity, steps, redrawn.correction.repeat(LADDER_STRIDE)

    def has(self, rungs: Rungs) -> bool:
        """Return whether a ladder is there."""
        return self._standing(rungs) in self._kept

    def of(self, rungs: Rungs) -> Ladder:
        """Return a ladder that was solved."""
        return self._kept[self._standing(rungs)]

    def likelihood(self, rungs: Rungs, noted: Noted) -> FloatArray:
        """Return the likelihood of an observation on every step of a solved ladder.

        Shape (n_steps, n_draws).
        """
        return self.weighed(self.of(rungs), noted)

    def weighed(self, ladder: Ladder, noted: Noted) -> FloatArray:
        """Return the likelihood of an observation on every step, worked out once.

        Shape (n_steps, n_draws).
        """
        key = noted._replace(epoch=0)
        if key not in ladder.likelihoods:
            ladder.likelihoods[key] = self._weigher.likelihood(
                ladder.grid, noted, is_ladder=True, stands_for=LADDER_STRIDE
            )
        return ladder.likelihoods[key]
