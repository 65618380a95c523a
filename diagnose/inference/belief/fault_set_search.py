"""Combinations: which fault sets beyond single causes are worth solving.

Only what single causes show is at hand for all of them. Faults in different circuits
hardly interact, so a combination shows in each fact what the one of its causes shows
that moves it further, and how severe one is says nothing of the other. Only the search
rests on this: the sets found are solved exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from diagnose.arrays import BoolArray, CountArray, FloatArray, IntArray, StoredArray
from diagnose.faults.causes import FaultSet

LEAST_EXCESS = 1e-3
# Derived: a set that adds less than this share of the evidence can't change a ranking.
LEAST_COMPANION = 5e-3
# Derived: half a hundredth of the belief; below, a second fault is left to the priors.
MOST_WEIGHED = 400
# Derived: many times as many as are solved.
LEAST_THIRD = 3e-3
LEAST_BETTER = 3.0
MOST_THIRDS = 24
# Derived: a third cause as likely as most (one in a hundred) counts once it makes the
# facts a third of a hundred times likelier; what it hardly changes is left to priors.
LEAST_DEVIATION = 0.02
# Derived: below the error of a report and the spread of a reading.
LEAST_LIKELIHOOD = 1e-30
NATS_PER_STEP = 1e-4
# Derived: logs are summed as whole numbers of so many nats, so that a sum is the same
# in any order of the facts; a search needs no more digits.
ANYTHING_SHARE = 0.1
# Own choice: how often, for the order of a search alone, a fact may be due to something
# else than the cause looked at.
Key = TypeVar("Key", bound=Hashable)
Ladder = Callable[[int], FloatArray]
"""The number of a fact to its likelihood on the steps of a ladder of severities, shape
(n_steps, n_draws)."""


@dataclass(frozen=True, kw_only=True)  # no slots: what doesn't change is kept
class Seen:
    """What one fact says of the sound car and of every single cause.

    Parameters
    ----------
    likelihood : FloatArray
        Of the sound car (row 0) and of each cause, shape (1 + n_causes, n_draws).
    moved : FloatArray
        How far each cause moves what the fact looks at, in any unit that compares
        causes within the fact, shape (n_causes,).
    """

    likelihood: FloatArray
    moved: FloatArray

    @cached_property
    def log(self) -> FloatArray:
        """Log likelihood, shape (1 + n_causes, n_draws)."""
        return np.asarray(np.log(np.maximum(self.likelihood, LEAST_LIKELIHOOD)))

    @cached_property
    def log_tempered(self) -> FloatArray:
        """Return the log likelihood if the fact may be due to something else."""
        anything = ANYTHING_SHARE * self.likelihood[0].mean()
        anything = max(anything, 0.5 * ANYTHING_SHARE * float(self._mean.max()))
        kept = (1.0 - ANYTHING_SHARE) * self.likelihood
        return np.asarray(np.log(kept + anything))

    @cached_property
    def _mean(self) -> FloatArray:
        return np.asarray(self.likelihood.mean(axis=1))

    @cached_property
    def log_mean(self) -> FloatArray:
        """Log of the likelihood averaged over the draws, shape (1 + n_causes,)."""
        return np.asarray(np.log(np.maximum(self._mean, LEAST_LIKELIHOOD)))

    @cached_property
    def steps(self) -> CountArray:
        """`log_mean` of the causes as whole numbers of `NATS_PER_STEP`."""
        return np.round(self.log_mean[1:] / NATS_PER_STEP).astype(np.int32)

    @cached_property
    def is_moved(self) -> BoolArray:
        """Causes that move what the fact looks at, shape (n_causes,)."""
        return np.asarray(self.moved > LEAST_DEVIATION)

    def further(self) -> CountArray:
        """Return the steps of that cause of each pair which moves the fact further.

        Shape (n_causes, n_causes); the row's cause where both move it alike.
        """
        moved = self.moved.astype(np.float32)
        is_first = moved[:, None] >= moved[None, :]
        return np.where(is_first, self.steps[:, None], self.steps[None, :])


class PairSums:
    """Sums of `Seen.further` over facts, kept from one set of facts to the next.

    Parameters
    ----------
    n_causes : int
    """

    KEPT = 3

    def __init__(self, n_causes: int) -> None:
        self._n_causes = n_causes
        self._held: list[tuple[frozenset[Hashable], CountArray]] = []

    def of(self, facts: Mapping[Key, Seen]) -> CountArray:
        """Return the sum over some facts, shape (n_causes, n_causes)."""
        wanted = frozenset(facts)
        fitting = [one for one in self._held if one[0] <= wanted]
        best = max(fitting, key=lambda one: len(one[0]), default=None)
        if best is not None and best[0] == wanted:
            return best[1]
        if best is None:
            total = np.zeros((self._n_causes, self._n_causes), dtype=np.int32)
        else:
            total = best[1].copy()
        for key, one in facts.items():
            if best is None or key not in best[0]:
                total += one.further()
        self._held = [*self._held[1 - self.KEPT :], (wanted, total)]
        return total


@dataclass(frozen=True, kw_only=True)  # no slots: what doesn't change is kept
class Told:
    """What all facts together say of single causes.

    Parameters
    ----------
    seen : Sequence[Seen]
        One for each fact.
    odds : FloatArray
        Of each cause alone against the sound car, shape (n_causes,).
    is_severe : BoolArray
        Causes that can be more or less severe, shape (n_causes,).
    ladders : Mapping[int, Ladder]
        Of causes that the facts pin down to a narrow range of severities.
    """

    seen: Sequence[Seen]
    odds: FloatArray
    is_severe: BoolArray
    ladders: Mapping[int, Ladder] = field(default_factory=dict)

    @cached_property
    def alone(self) -> FloatArray:
        """Log evidence of the sound car and each single cause, (1 + n_causes,)."""
        total = np.sum([one.log for one in self.seen], axis=0)
        result = log_mean_exp(total)
        for cause in self.ladders:
            result[1 + cause] = self.evidence(cause, tuple(range(len(self.seen))))
        return result

    @cached_property
    def log_evidence(self) -> float:
        """Log evidence of the sound car and all single causes together."""
        terms = self.alone + np.log(np.concatenate([[1.0], self.odds]))
        return float(terms.max() + np.log(np.exp(terms - terms.max()).sum()))

    @cached_property
    def _of_moved(self) -> FloatArray:
        """Log likelihood of the facts each cause moves, shape (n_causes, n_draws)."""
        total = np.zeros_like(self.seen[0].log[1:])
        for one in self.seen:
            total += np.where(one.is_moved[:, None], one.log[1:], 0.0)
        return total

    @cached_property
    def bonus(self) -> FloatArray:
        """Return how much more the facts a cause moves say together than one by one.

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
        tempered = np.sum([one.log_tempered for one in self.seen], axis=0)
        score = log_mean_exp(tempered)[1:] + np.log(self.odds)
        share = np.exp(score - score.max())
        return np.asarray(share / share.sum())

    def sharp(self, *, most: int, least: float, few_draws: float) -> list[int]:
        """Return causes that explain some facts, by few of the severities drawn.

        Parameters
        ----------
        most : int
            How many at most.
        least : float
            Least share of the belief, if each fact may be due to something else.
        few_draws : float
            Share of the draws that counts as few.

        Returns
        -------
        list[int]
            The likeliest first.
        """
        share = self._tempered_shares
        order = np.argsort(-share, kind="stable")
        likely = order[(share[order] >= least) & self.is_severe[order]]
        carried = _carrying(self._of_moved[likely])
        return list(likely[carried < few_draws].tolist()[:most])

    def contested(self, *, most: int, least: float, ratio: float) -> list[int]:
        """Return causes that most facts speak for, and a few against.

        Parameters
        ----------
        most : int
            How many at most.
        least : float
            Least share of the belief, if each fact may be due to something else.
        ratio : float
            As it is, the share is less than so much of that.
        """
        share = self._tempered_shares
        now = np.exp(self.alone[1:] + np.log(self.odds) - self.log_evidence)
        order = np.argsort(-share, kind="stable")
        is_contested = (share[order] >= least) & (now[order] < ratio * share[order])
        return list(order[is_contested].tolist()[:most])

    def at_odds(self, cause: int, *, ratio: float) -> list[int]:
        """Return the facts that hardly anything speaks against but a cause.

        Parameters
        ----------
        ratio : float
            It explains them less than so well as the best cause does.
        """
        return [
            number
            for number, one in enumerate(self.seen)
            if one.log_mean[1 + cause] < one.log_mean.max() + np.log(ratio)
        ]

    def log_evidence_apart(
        self, cause: int, others: IntArray, *, without: Sequence[int]
    ) -> FloatArray:
        """Return how well a cause and each of others explain some facts, as a log.

        Parameters
        ----------
        without : Sequence[int]
            Numbers of the facts left out.

        Returns
        -------
        FloatArray
            Each fact by the one that moves it further, shape (n_others,).
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
        facts : tuple[int, ...]
            Numbers of the facts, rising.
        """
        key = cause, facts
        if key not in self._evidence:
            ladder = self.ladders.get(cause)
            total: FloatArray = np.zeros(1)
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """Fault sets worth solving.

    Parameters
    ----------
    sets : tuple[FaultSet, ...]
        The most promising first.
    shares : tuple[float, ...]
        The belief that each is estimated to hold.
    narrow : tuple[FaultSet, ...]
        The causes of each that the facts pin down to few of the severities drawn, the
        one pinned down most first.
    left_out_probability : float
        Share of the evidence that those left out could add, by the same estimate.
    """

    sets: tuple[FaultSet, ...] = ()
    shares: tuple[float, ...] = ()
    narrow: tuple[FaultSet, ...] = ()
    left_out_probability: float = 0.0

    def with_most(self, most: int, of: Callable[[FaultSet], bool]) -> Combined:
        """Return these with no more than so many of one kind of set, the first ones."""
        is_of = [of(one) for one in self.sets]
        left = [one and sum(is_of[:n]) >= most for n, one in enumerate(is_of)]
        return self.only(
            [one for one, out in zip(self.sets, left, strict=True) if not out]
        )

    def only(self, sets: Collection[FaultSet]) -> Combined:
        """Return some of these, what the others hold left out."""
        kept = [n for n, one in enumerate(self.sets) if one in sets]
        dropped = sum(self.shares) - sum(self.shares[n] for n in kept)
        return Combined(
            sets=tuple(self.sets[n] for n in kept),
            shares=tuple(self.shares[n] for n in kept),
            narrow=tuple(self.narrow[n] for n in kept),
            left_out_probability=min(self.left_out_probability + dropped, 1.0),
        )

    def and_also(self, sets: Sequence[FaultSet]) -> Combined:
        """Return these and others, of which nothing was estimated."""
        added = [one for one in dict.fromkeys(sets) if one not in set(self.sets)]
        return replace(
            self,
            sets=(*self.sets, *added),
            shares=(*self.shares, *[0.0] * len(added)),
            narrow=(*self.narrow, *[()] * len(added)),
        )


def promising_pairs(
    told: Told,
    sums: CountArray,
    *,
    most: int,
    log_lift: StoredArray,
    few_draws: float = 0.0,
) -> Combined:
    """Return the double faults that explain the facts better than either cause alone.

    Parameters
    ----------
    told : Told
    sums : CountArray
        `PairSums.of` the facts told.
    most : int
        How many pairs to return at most.
    log_lift : StoredArray
        Log of how much likelier pairs are than by the odds of each, -inf for those that
        can't be, such as two causes of one part; shape (n_causes, n_causes).
    few_draws : float
        Share of the draws that counts as few.

    Notes
    -----
    The excess of a pair is the evidence it adds beyond the better of its causes alone;
    a pair without excess (a cause and an unrelated one) shifts all causes alike and is
    left to the priors. Facts are first taken one by one, then those of the best pairs
    by the draws and severities of each cause.
    """
    n_causes, odds = len(told.odds), told.odds
    gain = told.bonus + np.log(odds)
    score = sums * np.float32(NATS_PER_STEP)
    score += (gain - told.log_evidence).astype(np.float32)[:, None]
    score += gain.astype(np.float32)
    score += log_lift
    flat = np.flatnonzero(score.ravel() > np.log(LEAST_EXCESS))
    first, second = np.divmod(flat, n_causes)
    is_upper = first < second
    first, second, flat = first[is_upper], second[is_upper], flat[is_upper]
    rough = _above_better(told, score.ravel()[flat], first, second, log_lift)
    order = np.argsort(-rough, kind="stable")
    shortlist = order[:MOST_WEIGHED]
    shortlist = shortlist[rough[shortlist] > LEAST_EXCESS]
    first, second = first[shortlist], second[shortlist]
    log_shares, narrow = _by_draw(told, first, second, few_draws=few_draws)
    log_shares += log_lift[first, second]
    adds = _above_better(told, log_shares, first, second, log_lift)
    best = np.argsort(-adds, kind="stable")[:most]
    best = best[adds[best] > LEAST_EXCESS]
    added = float(rough.sum() - rough[shortlist].sum() + adds.sum())
    left_out = (added - float(adds[best].sum())) / (1.0 + added)
    shares = np.exp(np.minimum(log_shares[best], 700.0)) / (1.0 + added)
    return Combined(
        sets=tuple(zip(first[best].tolist(), second[best].tolist(), strict=True)),
        shares=tuple(np.minimum(shares, 1.0).tolist()),
        narrow=tuple(narrow[place] for place in best.tolist()),
        left_out_probability=max(left_out, 0.0),
    )


def _above_better(
    told: Told,
    log_shares: FloatArray | StoredArray,
    first: IntArray,
    second: IntArray,
    log_lift: StoredArray,
) -> FloatArray:
    """Return what pairs add beyond the better of their causes, as share of evidence."""
    log_odds = np.log(told.odds)
    better = np.maximum(told.alone[1 + first], told.alone[1 + second])
    better = better + log_odds[first] + log_odds[second] - told.log_evidence
    better = better + log_lift[first, second]
    both = np.exp(np.minimum(log_shares, 700.0)) - np.exp(np.minimum(better, 700.0))
    return np.maximum(np.asarray(both, dtype=np.float64), 0.0)


def _by_draw(
    told: Told, first: IntArray, second: IntArray, *, few_draws: float
) -> tuple[FloatArray, list[FaultSet]]:
    """Return log shares of the evidence, each cause's facts taken draw by draw.

    Shape (n_pairs,); with them the causes of each pair that their facts pin down to few
    draws, the fewest first.
    """
    log_odds = np.log(told.odds)
    is_first = np.stack([one.moved[first] >= one.moved[second] for one in told.seen])
    result = log_odds[first] + log_odds[second] - told.log_evidence
    narrow: list[list[tuple[float, int]]] = [[] for _ in first]
    for causes, mask in ((first, is_first), (second, ~is_first)):
        total = np.zeros((len(causes), told.seen[0].log.shape[1]))
        for one, is_own in zip(told.seen, mask, strict=True):
            total += np.where(is_own[:, None], one.log[1 + causes], 0.0)
        own, carried = log_mean_exp(total), _carrying(total)
        for place in np.flatnonzero(np.isin(causes, list(told.ladders))).tolist():
            facts = tuple(np.flatnonzero(mask[:, place]).tolist())
            own[place] = told.evidence(int(causes[place]), facts)
        result = result + own
        is_narrow = told.is_severe[causes] & (carried < few_draws)
        for place in np.flatnonzero(is_narrow).tolist():
            narrow[place].append((float(carried[place]), int(causes[place])))
    return np.asarray(result), [tuple(c for _, c in sorted(one)) for one in narrow]


def promising_thirds(
    told: Told,
    fault_set: FaultSet,
    likelihoods: Sequence[FloatArray],
    *,
    share: float,
    log_lift: StoredArray,
) -> Mapping[FaultSet, float]:
    """Return what a set and one more cause would hold of the belief.

    Parameters
    ----------
    told : Told
    fault_set : FaultSet
        A set that was solved.
    likelihoods : Sequence[FloatArray]
        Of each fact under it, shape (n_draws,) each.
    share : float
        What it holds of the belief.
    log_lift : StoredArray
        As in `promising_pairs`.

    Returns
    -------
    Mapping[FaultSet, float]
        Sets that explain the facts clearly better, with their estimated share.

    Notes
    -----
    As for pairs: each fact shows what moves it further, the set or the third cause.
    """
    members = list(fault_set)
    logs = [np.log(np.maximum(one, LEAST_LIKELIHOOD)) for one in likelihoods]
    moved = [one.moved[members].max() for one in told.seen]
    gain = told.bonus + np.log(told.odds) + log_lift[members].sum(axis=0)
    for one, log, own in zip(told.seen, logs, moved, strict=True):
        mean = float(log_mean_exp(log))
        gain += np.where(one.moved > own, one.log_mean[1:] - mean, 0.0)
    is_better = gain - np.log(told.odds) > np.log(LEAST_BETTER)
    likely = np.flatnonzero(is_better & (gain + np.log(share) > np.log(LEAST_THIRD)))
    alone = float(log_mean_exp(np.sum(logs, axis=0)))
    found: dict[FaultSet, float] = {}
    for cause in likely[np.argsort(-gain[likely])][:MOST_THIRDS].tolist():
        is_own = [
            one.moved[cause] > own for one, own in zip(told.seen, moved, strict=True)
        ]
        left = [log for log, mine in zip(logs, is_own, strict=True) if not mine]
        facts = tuple(np.flatnonzero(is_own).tolist())
        better = told.evidence(cause, facts) - alone
        better += float(log_mean_exp(np.sum([np.zeros_like(logs[0]), *left], axis=0)))
        lift = float(log_lift[members, cause].sum())
        if better > np.log(LEAST_BETTER):
            log_share = np.log(share * told.odds[cause]) + better + lift
            found[tuple(sorted((*fault_set, cause)))] = float(np.exp(log_share))
    return {one: part for one, part in found.items() if part > LEAST_THIRD}


def promising_companions(
    score: FloatArray,
    part_of: IntArray,
    *,
    sound: float,
    mended: Sequence[int],
    most: int,
) -> tuple[FaultSet, ...]:
    """Return pairs of a mended cause and what may have been there beside it.

    Parameters
    ----------
    score : FloatArray
        Prior odds of each cause times its likelihood of the facts after the repair,
        shape (n_causes,).
    sound : float
        Likelihood of these facts when the repair was all that was needed.
    mended : Sequence[int]
        Causes that were repaired.
    """
    share = score / max(sound + float(score.sum()), 1e-300)
    order = np.argsort(-share, kind="stable")[:most]
    pairs = {
        (min(first, second), max(first, second))
        for first in mended
        for second in order[share[order] > LEAST_COMPANION].tolist()
        if part_of[first] != part_of[second]
    }
    ranked = sorted(pairs, key=lambda pair: (-max(share[list(pair)]), pair))
    return tuple(ranked[:most])


def log_mean_exp(values: FloatArray) -> FloatArray:
    """Return the log of the mean of exponentials along the last axis."""
    top = _highest(values)
    mean = np.exp(values - top).mean(axis=-1)
    return np.asarray(np.log(mean) + top[..., 0])


def _carrying(log_weights: FloatArray) -> FloatArray:
    """Return the share of the draws that carry the weight of each row, (n_rows,)."""
    weights = np.exp(log_weights - _highest(log_weights))
    carrying = weights.sum(axis=1) ** 2 / (weights**2).sum(axis=1)
    return np.asarray(carrying / weights.shape[1])


def _highest(values: FloatArray) -> FloatArray:
    return np.asarray(values.max(axis=-1, keepdims=True))
