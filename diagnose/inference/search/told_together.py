"""What all facts together say of single causes.

Knows the evidence of each cause by its draws, or by a ladder of severities where the
facts pin it down. Leaves which combinations are worth solving to `pairs` and
`wider_sets`.

The search takes causes that a reading pins down by their ladders of severities. Solved
with the draws alone, a pair misses a precise reading that its redrawn cause fits, and
was lost for it: of games with two faults both were named in the first three in 82 %,
with this in 91 %.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diagnose.arrays import BoolArray, FloatArray, IntArray
from diagnose.inference.search.single_causes import (
    LEAST_LIKELIHOOD,
    Seen,
    carrying_share,
    log_mean_exp,
)

Ladder = Callable[[int], FloatArray]
"""The number of a fact to its likelihood on the steps of a ladder of severities, shape
(n_steps, n_draws)."""


@dataclass(frozen=True, kw_only=True)  # no slots: what doesn't change is kept
class Told:
    """What all facts together say of single causes.

    Parameters
    ----------
    seen : Sequence[Seen]
        One for each fact.
    odds : FloatArray
        Prior odds of each cause alone against the sound car, shape (n_causes,). [1]
    is_severe : BoolArray
        Causes that can be more or less severe, shape (n_causes,).
    ladders : Mapping[int, Ladder]
        Of causes that the facts pin down to a narrow range of severities.
    step_shares : FloatArray or None
        What each step of a ladder stands for, shape (n_steps,), summing to 1; None
        where all steps stand for as much. [1]
    log_reached : float
        Log evidence of what is explained otherwise already, by causes that were mended
        in between, against the prior of the sound car. [nat]
    """

    seen: Sequence[Seen]
    odds: FloatArray
    is_severe: BoolArray
    ladders: Mapping[int, Ladder] = field(default_factory=dict)
    step_shares: FloatArray | None = None
    log_reached: float = -np.inf

    @cached_property
    def alone(self) -> FloatArray:
        """Log evidence of the sound car and each single cause, (1 + n_causes,). [nat].

        The facts' likelihood, averaged over the draws.
        """
        result = log_mean_exp(_added(one.log for one in self.seen))
        for cause in self.ladders:
            result[1 + cause] = self.evidence(cause, tuple(range(len(self.seen))))
        return result

    @cached_property
    def log_evidence(self) -> float:
        """Log evidence of the sound car and all single causes together. [nat].

        Or of what is explained otherwise, where that is more.
        """
        terms = self.alone + np.log(np.concatenate([[1.0], self.odds]))
        total = float(terms.max() + np.log(np.exp(terms - terms.max()).sum()))
        return max(total, self.log_reached)

    @cached_property
    def _of_moved(self) -> FloatArray:
        """Log likelihood of the facts each cause moves, shape (n_causes, n_draws)."""
        total = np.zeros(self.seen[0].log[1:].shape)
        for one in self.seen:
            moved = np.flatnonzero(one.is_moved)
            total[moved] += one.log[1 + moved]
        return total

    @cached_property
    def bonus(self) -> FloatArray:
        """How much more the facts a cause moves say together than one by one. [nat].

        Log of their joint evidence over the product of their own, or 0 where that is
        less; shape (n_causes,).
        """
        each = np.zeros(len(self.odds))
        for one in self.seen:
            each += np.where(one.is_moved, one.log_mean[1:], 0.0)
        together = log_mean_exp(self._of_moved)
        for cause in self.ladders:
            facts = tuple(n for n, one in enumerate(self.seen) if one.is_moved[cause])
            together[cause] = self.evidence(cause, facts)
        return np.maximum(together - each, 0.0)

    @cached_property
    def _tempered_shares(self) -> FloatArray:
        """Belief in single causes if each fact may be due to something else."""
        tempered = _added(one.log_tempered for one in self.seen)
        score = log_mean_exp(tempered)[1:] + np.log(self.odds)
        share = np.exp(score - score.max())
        return np.asarray(share / share.sum())

    @property
    def likeliest(self) -> int:
        """The single cause that explains the facts best, its prior counted."""
        return int(np.argmax(self.alone[1:] + np.log(self.odds)))

    def sharp_shares(self) -> Mapping[tuple[int, ...], float]:
        """Return the share of the evidence of causes alone that have a ladder.

        Returns
        -------
        Mapping[tuple[int, ...], float]
            Each as a fault set of its own. [1]
        """
        return {
            (cause,): float(
                np.exp(
                    self.alone[1 + cause] + np.log(self.odds[cause]) - self.log_evidence
                )
            )
            for cause in self.ladders
        }

    def sharp(self, *, most: int, least: float, few_draws: float) -> list[int]:
        """Return causes that explain some facts, by few of the severities drawn.

        Parameters
        ----------
        most : int
            How many at most. [1]
        least : float
            Least share of the belief, if each fact may be due to something else. [1]
        few_draws : float
            Share of the draws that counts as few. [1]

        Returns
        -------
        list[int]
            The likeliest first.
        """
        share = self._tempered_shares
        order = np.argsort(-share, kind="stable")
        likely = order[(share[order] >= least) & self.is_severe[order]]
        carried = carrying_share(self._of_moved[likely])
        return list(likely[carried < few_draws].tolist()[:most])

    def contested(self, *, most: int, least: float, ratio: float) -> list[int]:
        """Return causes that most facts speak for, and a few against.

        Parameters
        ----------
        most : int
            How many at most. [1]
        least : float
            Least share of the belief, if each fact may be due to something else. [1]
        ratio : float
            As it is, the share is less than so much of that. [1]

        Returns
        -------
        list[int]
            The one with most of that share first.
        """
        share = self._tempered_shares
        now = np.exp(self.alone[1:] + np.log(self.odds) - self.log_evidence)
        order = np.argsort(-share, kind="stable")
        is_contested = (share[order] >= least) & (now[order] < ratio * share[order])
        return list(order[is_contested].tolist()[:most])

    def at_odds(self, cause: int, *, ratio: float) -> list[int]:
        """Return the facts that a cause explains much worse than the best cause does.

        Parameters
        ----------
        cause : int
            Its number.
        ratio : float
            It explains them less than so well. [1]

        Returns
        -------
        list[int]
            Numbers of the facts, rising.
        """
        return [
            number
            for number, one in enumerate(self.seen)
            if one.log_mean[1 + cause] < one.log_mean.max() + np.log(ratio)
        ]

    def log_evidence_apart(
        self, cause: int, others: IntArray, *, without: Sequence[int]
    ) -> FloatArray:
        """Return how well a cause and each of others explain some facts.

        Each fact is taken to show what the one shows that moves it further.

        Parameters
        ----------
        cause : int
            Its number.
        others : IntArray
            Numbers of the causes beside it, shape (n_others,).
        without : Sequence[int]
            Numbers of the facts left out.

        Returns
        -------
        FloatArray
            Log evidence, shape (n_others,). [nat]
        """
        numbers = [n for n in range(len(self.seen)) if n not in set(without)]
        result = np.zeros(len(others))
        for place, other in enumerate(others.tolist()):
            is_own = [
                bool(self.seen[n].moved[cause] >= self.seen[n].moved[other])
                for n in numbers
            ]
            own = tuple(n for n, mine in zip(numbers, is_own, strict=True) if mine)
            its = tuple(n for n, mine in zip(numbers, is_own, strict=True) if not mine)
            result[place] = self.evidence(cause, own) + self.evidence(other, its)
        return result

    def evidence(self, cause: int, facts: tuple[int, ...]) -> float:
        """Return the log evidence of a cause on some facts, by its ladder if any.

        Parameters
        ----------
        cause : int
            Its number.
        facts : tuple[int, ...]
            Numbers of the facts, rising.

        Returns
        -------
        float
            Log of the facts' likelihood, averaged over draws and severities. [nat]
        """
        key = cause, facts
        if key not in self._evidence:
            ladder = self.ladders.get(cause)
            total: FloatArray = np.zeros(1)
            if ladder is not None and self.step_shares is not None:
                n_steps = len(self.step_shares)
                total = np.log(n_steps * self.step_shares)[:, None]
            for number in facts:
                if ladder is None:
                    total = total + self.seen[number].log[1 + cause]
                else:
                    total = total + np.log(np.maximum(ladder(number), LEAST_LIKELIHOOD))
            self._evidence[key] = float(log_mean_exp(total.reshape(1, -1))[0])
        return self._evidence[key]

    @cached_property
    def _evidence(self) -> dict[tuple[int, tuple[int, ...]], float]:
        return {}


def _added(terms: Iterable[FloatArray]) -> FloatArray:
    """Return the sum of arrays of one shape, in double precision, one by one.

    Hundreds of them are not copied together before.
    """
    each = iter(terms)
    total = next(each).astype(np.float64)
    for one in each:
        total += one
    return total
