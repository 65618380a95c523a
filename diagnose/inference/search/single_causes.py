"""What each fact says of single causes, kept so that pairs can be summed from it.

Only what single causes show is at hand for all of them. Faults in different circuits
hardly interact, so a combination shows in each fact what the one of its causes shows
that moves it further. Leaves all facts together to `told_together`.

Sums of log likelihoods over pairs are whole numbers of ten-thousandths: they are kept
from fact to fact, and have to be the same in any order.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np

from diagnose.arrays import BoolArray, CountArray, FloatArray

# The least likelihood that a logarithm is taken of. [unit of the likelihood] Derived:
# far below what a slip or a report error leaves of any fact.
LEAST_LIKELIHOOD = 1e-30

# A cause that moves a fact by no more than this leaves it as it is. [unit of
# `Seen.moved`] Derived: below the error of a report and the spread of a reading.
LEAST_DEVIATION = 0.02

# What one step of a summed log likelihood stands for. [nat] Derived: the search looks
# at shares of a thousandth, ten times as much.
NATS_PER_STEP = 1e-4

# How often, for the order of a search alone, a fact may be due to something else than
# the cause looked at. [1] Own choice.
ANYTHING_SHARE = 0.1

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, kw_only=True)  # no slots: what doesn't change is kept
class Seen:
    """What one fact says of the sound car and of every single cause.

    Parameters
    ----------
    likelihood : FloatArray
        Of the sound car (row 0) and of each cause, shape (1 + n_causes, n_draws).
        [1 over the fact's unit, or 1]
    moved : FloatArray
        How far each cause moves what the fact looks at, in any unit that compares
        causes within the fact, shape (n_causes,).
    """

    likelihood: FloatArray
    moved: FloatArray

    @property
    def n_bytes(self) -> int:
        """What is kept of it, with its logarithms. [B]."""
        return 3 * self.likelihood.nbytes

    @cached_property
    def log(self) -> FloatArray:
        """Log likelihood, shape (1 + n_causes, n_draws). [nat]."""
        return np.asarray(np.log(np.maximum(self.likelihood, LEAST_LIKELIHOOD)))

    @cached_property
    def log_tempered(self) -> FloatArray:
        """Log likelihood if the fact may be due to something else. [nat].

        Shape (1 + n_causes, n_draws).
        """
        anything = ANYTHING_SHARE * float(self._mean[0])
        anything = max(anything, 0.5 * ANYTHING_SHARE * float(self._mean.max()))
        kept = (1.0 - ANYTHING_SHARE) * self.likelihood
        kept += anything
        return np.asarray(np.log(kept, out=kept))

    @cached_property
    def _mean(self) -> FloatArray:
        return np.asarray(self.likelihood.mean(axis=1, dtype=np.float64))

    @cached_property
    def log_mean(self) -> FloatArray:
        """Log of the likelihood averaged over draws, shape (1 + n_causes,). [nat]."""
        return np.asarray(np.log(np.maximum(self._mean, LEAST_LIKELIHOOD)))

    @cached_property
    def steps(self) -> CountArray:
        """`log_mean` of the causes as whole numbers of `NATS_PER_STEP`, (n_causes,)."""
        return np.round(self.log_mean[1:] / NATS_PER_STEP).astype(np.int32)

    @cached_property
    def is_moved(self) -> BoolArray:
        """Causes that move what the fact looks at, shape (n_causes,)."""
        return np.asarray(self.moved > LEAST_DEVIATION)


def further(moved: FloatArray, steps: CountArray) -> CountArray:
    """Return, for each pair, the log likelihood of the cause that moves a fact further.

    Parameters
    ----------
    moved : FloatArray
        As in `Seen`, shape (n_causes,).
    steps : CountArray
        Log likelihoods of the causes, or sums and differences of those of facts that
        they move alike, shape (n_causes,). [`NATS_PER_STEP`]

    Returns
    -------
    CountArray
        Shape (n_causes, n_causes); the row's cause where both move the fact alike.
        [`NATS_PER_STEP`]
    """
    single = moved.astype(np.float32)
    some = np.flatnonzero(single > single.min())
    if 3 * len(some) > len(steps):
        is_first = single[:, None] >= single[None, :]
        return np.where(is_first, steps[:, None], steps[None, :])
    # where most causes don't move a fact, none of them moves it further than another
    result = np.repeat(steps[:, None], len(steps), axis=1)
    is_first = single[:, None] >= single[some]
    result[:, some] = np.where(is_first, steps[:, None], steps[some])
    return result


class PairSums:
    """Sums of `further` over facts, kept from one set of facts to the next.

    Parameters
    ----------
    n_causes : int
        How many causes there are. [1]
    """

    # How many sums are kept. [1] Own choice: a fact told or taken back then finds the
    # sum that it builds on.
    KEPT = 3

    def __init__(self, n_causes: int) -> None:
        self._n_causes = n_causes
        self._held: list[tuple[Mapping[Hashable, Seen], CountArray]] = []

    def of(self, facts: Mapping[Key, Seen]) -> CountArray:
        """Return the sum over some facts.

        Parameters
        ----------
        facts : Mapping[Hashable, Seen]
            Each by a key that stays its own.

        Returns
        -------
        CountArray
            In steps of `NATS_PER_STEP`, shape (n_causes, n_causes), the same in any
            order of the facts.
        """
        base: Mapping[Hashable, Seen] = {}
        total = None
        for held, held_total in self._held:
            if len(held.keys() ^ facts.keys()) < len(base.keys() ^ facts.keys()):
                base, total = held, held_total
        if base.keys() == facts.keys() and total is not None:
            return total
        if total is None:
            total = np.zeros((self._n_causes, self._n_causes), dtype=np.int32)
        total = total.copy()
        for moved, steps in _changes(facts, base):
            if steps.any():
                total += further(moved, steps)
        held_facts: Mapping[Hashable, Seen] = {key: facts[key] for key in facts}
        self._held = [*self._held[1 - self.KEPT :], (held_facts, total)]
        return total


def _changes(
    facts: Mapping[Key, Seen], base: Mapping[Hashable, Seen]
) -> Iterable[tuple[FloatArray, CountArray]]:
    """Return what `further` takes for the facts that come to others, or go.

    A fact that only weighs otherwise than before goes out and comes in at once.
    """
    changes: dict[bytes, tuple[FloatArray, CountArray]] = {}
    come = [(1, one) for key, one in facts.items() if key not in base]
    gone = [(-1, one) for key, one in base.items() if key not in facts]
    for sign, one in (*come, *gone):
        alike, steps = one.moved.tobytes(), sign * one.steps
        if alike in changes:
            steps = steps + changes[alike][1]
        changes[alike] = one.moved, steps
    return changes.values()


def log_mean_exp(values: FloatArray) -> FloatArray:
    """Return the log of the mean of exponentials along the last axis.

    Parameters
    ----------
    values : FloatArray
        Natural logarithms, shape (..., n_draws). [nat]

    Returns
    -------
    FloatArray
        Shape (...). [nat]

    Examples
    --------
    The mean of 2 and 4, however small both are:

    >>> found = log_mean_exp(np.log(np.array([2.0, 4.0])) - 1000.0)
    >>> round(float(np.exp(found + 1000.0)), 9)
    3.0
    """
    top = _highest(values)
    mean = np.exp(values - top).mean(axis=-1)
    return np.asarray(np.log(mean) + top[..., 0])


def carrying_share(log_weights: FloatArray) -> FloatArray:
    """Return the share of the draws that carry the weight of each row.

    Parameters
    ----------
    log_weights : FloatArray
        Natural log of the weight of each draw, shape (n_rows, n_draws). [nat]

    Returns
    -------
    FloatArray
        The effective number of draws over all of them, shape (n_rows,). [1]

    Examples
    --------
    Two of four draws have all the weight:

    >>> carrying_share(np.array([[0.0, 0.0, -100.0, -100.0]]))
    array([0.5])
    """
    weights = np.exp(log_weights - _highest(log_weights))
    carrying = weights.sum(axis=1) ** 2 / (weights**2).sum(axis=1)
    return np.asarray(carrying / weights.shape[1])


def _highest(values: FloatArray) -> FloatArray:
    return np.asarray(values.max(axis=-1, keepdims=True))
