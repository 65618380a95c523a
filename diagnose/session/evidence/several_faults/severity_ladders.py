"""Fault sets solved on a grid over the severity of one of their causes, and kept.

The severity of a fault (how bad a joint is, how worn a battery) is an unknown of its
own. The draws sample it a few dozen times, which is too coarse for a precise reading.
Here it is a grid, a ladder of severities evenly spaced in probability: the posterior of
the severity is then the likelihood on each step, and its mean is the evidence of the
cause with its severity summed out. Leaves which sets need a ladder to `pair_search` and
`fitted_severities`, and the steps between solved severities to
`inference.belief.severity_steps`.

Causes that act alike share a ladder: what they show is the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import LADDER_LEVELS, FaultSet, Severity
from diagnose.faults.signatures import effect_signature
from diagnose.inference.belief.severity_steps import (
    STEPS_BETWEEN,
    choose_severities,
    n_steps,
    step_shares,
)
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.weighing.likelihoods import Weigher

# How many ladders are kept. [1] Derived: those that a dozen facts which may be told
# next need, some 3 MB each.
KEPT_LADDERS = 120

# Of how many tolerance draws one is solved on a ladder. [1] Own choice: every fourth
# stands for four; a ladder is about the severity.
LADDER_STRIDE = 4

# How much of a severity's probability each step of a ladder stands for. [1] Derived.
LADDER_SHARES = step_shares(LADDER_LEVELS)

# How many severities are solved between two of a ladder where facts pin it down. [1]
# Own choice: what a joint shows in two states is then on the curve of one resistance,
# and a relay that chatters in a narrow range of it is not stepped over.
CLOSER_LEVELS = 5

# How far apart the solved severities may be between which facts pin one down. [1] Own
# choice: further apart it is not pinned down.
MOST_GAPS = 2

# The share of the posterior that has to lie there. [1] Own choice.
PINNED_SHARE = 0.9


class VariedSet(NamedTuple):
    """A fault set, and which of its causes has its severity varied.

    Parameters
    ----------
    fault_set : FaultSet
        The causes that are there together.
    varied : int
        The cause that goes up the ladder.
    others : tuple[Severity, ...]
        How severe others of its causes are, draw by draw; those not named are as drawn.
    levels : tuple[float, ...]
        Of the severity, at which it is solved, rising. [1]
    """

    fault_set: FaultSet
    varied: int
    others: tuple[Severity, ...] = ()
    levels: tuple[float, ...] = LADDER_LEVELS

    @classmethod
    def alone(cls, cause: int) -> VariedSet:
        """Return a single cause with its severity varied."""
        return cls((cause,), cause)

    @property
    def shares(self) -> FloatArray:
        """What each step stands for, shape (n_steps,); sums to 1. [1]."""
        return step_shares(self.levels)

    def closer(self, likelihood: FloatArray) -> VariedSet | None:
        """Return the same with more severities where facts pin it down.

        Parameters
        ----------
        likelihood : FloatArray
            Of all facts together on every step, shape (n_steps, n_draws).

        Returns
        -------
        VariedSet or None
            None where they don't.
        """
        found = pinned_between(likelihood, self.shares)
        if found is None:
            return None
        low, high = found
        between = np.linspace(self.levels[low], self.levels[high], CLOSER_LEVELS + 2)
        levels = (*self.levels[: low + 1], *between[1:-1].tolist(), *self.levels[high:])
        return self._replace(levels=levels)


def pinned_between(
    likelihood: FloatArray, shares: FloatArray
) -> tuple[int, int] | None:
    """Return between which solved severities facts pin one down; None if nowhere.

    Parameters
    ----------
    likelihood : FloatArray
        Of all facts together on every step of a ladder, shape (n_steps, n_draws).
    shares : FloatArray
        What each step stands for, shape (n_steps,). [1]
    """
    weight = shares * likelihood.sum(axis=1)
    if not weight.sum() > 0.0:
        return None
    reached = np.concatenate([[0.0], np.cumsum(weight) / weight.sum()])
    left = 0.5 * (1.0 - PINNED_SHARE)
    first = int(np.searchsorted(reached, left, side="right")) - 1
    last = int(np.searchsorted(reached, 1.0 - left)) - 1
    low, high = first // STEPS_BETWEEN, -(-last // STEPS_BETWEEN)
    high = max(high, low + 1)
    n_levels = (len(shares) - 1) // STEPS_BETWEEN + 1
    if high > n_levels - 1:
        low, high = low - 1, high - 1
    return (low, high) if high - low <= MOST_GAPS else None


@dataclass(frozen=True, slots=True)
class SolvedLadder:
    """A fault set under each severity of one cause, and what facts say of each.

    Parameters
    ----------
    grid : Hypotheses
        One row per solved severity, the mildest first; the steps between are
        interpolated.
    likelihoods : dict[Noted, FloatArray]
        Of each fact looked at so far, shape (n_steps, n_draws).
    """

    grid: Hypotheses
    likelihoods: dict[Noted, FloatArray]


class FittedSeverity(NamedTuple):
    """How severe a cause is in each draw, chosen by facts.

    Parameters
    ----------
    severity : Severity
        As the solver takes it.
    steps : IntArray
        The step of its ladder in each draw, shape (n_draws,).
    correction : FloatArray
        Factor on the prior of each draw that makes up for the choice, see
        `Redrawn.correction`; shape (n_draws,). [1]
    """

    severity: Severity
    steps: IntArray
    correction: FloatArray


class Ladders:
    """The ladders of severities of one car.

    Parameters
    ----------
    compiled : Compiled
        The car with its causes.
    weigher : Weigher
        Gives the likelihood of a fact on each step.
    """

    def __init__(self, compiled: Compiled, weigher: Weigher) -> None:
        self._compiled, self._weigher = compiled, weigher
        self._kept: dict[VariedSet, SolvedLadder] = {}
        first: dict[tuple[object, ...], int] = {}
        self._stands_for: Mapping[int, int] = {
            number: first.setdefault(effect_signature(cause), number)
            for number, cause in enumerate(compiled.causes)
        }

    def standing_in(self, fault_set: FaultSet) -> FaultSet:
        """Return the fault set that stands for all that show the same as this one."""
        return tuple(sorted(self._stands_for[cause] for cause in fault_set))

    def _standing(self, wanted: VariedSet) -> VariedSet:
        others = tuple(
            one._replace(cause=self._stands_for[one.cause]) for one in wanted.others
        )
        return wanted._replace(
            fault_set=self.standing_in(wanted.fault_set),
            varied=self._stands_for[wanted.varied],
            others=others,
        )

    def solve(self, wanted: Sequence[VariedSet]) -> None:
        """Solve the ladders that are missing, all together.

        All that are wanted are there then, until `solve` is called again.
        """
        alike = list(dict.fromkeys(self._standing(one) for one in wanted))
        missing = [one for one in alike if one not in self._kept]
        # those asked for last are dropped last
        self._kept.update(
            {one: self._kept.pop(one) for one in alike if one in self._kept}
        )
        if not missing:
            return
        self._make_room(len(missing), frozenset(alike))
        solved = self._compiled.hypotheses(
            [one.fault_set for one in missing for _ in one.levels],
            severities=[
                (Severity(one.varied, level), *one.others)
                for one in missing
                for level in one.levels
            ],
            every=LADDER_STRIDE,
        )
        first = 0
        for one in missing:
            rows = np.arange(first, first + len(one.levels))
            grid = self._compiled.switching(solved.kept(rows))
            self._kept[one] = SolvedLadder(grid, {})
            first += len(one.levels)

    def _make_room(self, n_more: int, needed: frozenset[VariedSet]) -> None:
        """Forget ladders that were not asked for lately, so that more can be kept."""
        for one in list(self._kept):
            if len(self._kept) + n_more <= KEPT_LADDERS:
                break
            if one not in needed:
                del self._kept[one]

    def fitted(self, cause: int, observations: Sequence[Noted]) -> FittedSeverity:
        """Return how severe a single cause is in each draw, chosen by some facts.

        Parameters
        ----------
        cause : int
            One that can be more or less severe; its ladder is solved if it is missing.
        observations : Sequence[Noted]
            The facts that it is chosen by.
        """
        alone = VariedSet.alone(cause)
        self.solve([alone])
        weights = np.ones((n_steps(len(LADDER_LEVELS)), self._compiled.n_draws))
        for noted in observations:
            weights = weights * self.likelihood(alone, noted)
        # draws that are solved as one are as severe
        redrawn = choose_severities(weights[:, ::LADDER_STRIDE], LADDER_SHARES)
        steps = redrawn.choice.repeat(LADDER_STRIDE)
        levels = np.interp(
            steps / STEPS_BETWEEN, np.arange(len(LADDER_LEVELS)), LADDER_LEVELS
        )
        return FittedSeverity(
            severity=Severity(cause, tuple(levels.tolist())),
            steps=steps,
            correction=redrawn.correction.repeat(LADDER_STRIDE),
        )

    def has(self, wanted: VariedSet) -> bool:
        """Return whether a ladder was solved and is not forgotten."""
        return self._standing(wanted) in self._kept

    def has_alone(self, cause: int) -> bool:
        """Return whether the ladder of a single cause was solved and is kept."""
        return self.has(VariedSet.alone(cause))

    def weighing(
        self, cause: int, facts: Sequence[Noted]
    ) -> Callable[[int], FloatArray]:
        """Return what each of some facts says on the ladder of a single cause.

        The ladder is held: others may be solved before the facts are looked at again.
        """
        ladder = self.of(VariedSet.alone(cause))
        return lambda number: self.weighed(ladder, facts[number])

    def of(self, wanted: VariedSet) -> SolvedLadder:
        """Return a ladder that was solved."""
        return self._kept[self._standing(wanted)]

    def likelihood(self, wanted: VariedSet, noted: Noted) -> FloatArray:
        """Return the likelihood of a fact on every step of a solved ladder.

        Returns
        -------
        FloatArray
            Shape (n_steps, n_draws), the mildest first.
            [1 over the unit of the reading, or 1]
        """
        return self.weighed(self.of(wanted), noted)

    def weighed(self, ladder: SolvedLadder, noted: Noted) -> FloatArray:
        """Return the likelihood of a fact on every step of a ladder held elsewhere.

        Returns
        -------
        FloatArray
            Shape (n_steps, n_draws), worked out once for each fact.
            [1 over the unit of the reading, or 1]
        """
        key = noted._replace(epoch=0)
        if key not in ladder.likelihoods:
            ladder.likelihoods[key] = self._weigher.likelihood(
                ladder.grid, noted, is_ladder=True, stands_for=LADDER_STRIDE
            )
        return ladder.likelihoods[key]
