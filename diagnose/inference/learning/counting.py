"""Closed cases counted by kind of part and mode, beside what published rates expect.

Leaves what the counts say about the rates to `factors`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from diagnose.arrays import FloatArray, IntArray, StoredArray
from diagnose.faults.modes import FaultMode
from diagnose.faults.signatures import mode_signature
from diagnose.inference.learning.closed_cases import ClosedCase, PartGroup, can_have
from diagnose.measurement.symptoms import Context

# How many cases are counted together. [1] Own choice: some megabytes of shares. It is
# the same everywhere, so that sums of floating-point numbers are the same everywhere.
BATCH = 2000

# Of how many cars the expected shares are remembered. [1] Own choice: ten megabytes.
_REMEMBERED_CARS = 2000

Item = TypeVar("Item")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """A batch of cases, counted.

    Parameters
    ----------
    seen : FloatArray
        Cases by category, shape (n_categories,). [1]
    shares : StoredArray
        How likely the published rates make each category on each case's car, shape
        (n_cases, n_categories). [1]
    """

    seen: FloatArray
    shares: StoredArray


class Counter:
    """Counts closed cases against what the published rates expect.

    Parameters
    ----------
    modes : Sequence[FaultMode]
        With their published rates.
    contexts : Sequence[Context]
        Questions about a car's history, with how likely each answer is.

    Attributes
    ----------
    modes : tuple[FaultMode, ...]
        As given.

    Notes
    -----
    The expected share of a mode on one car is proportional to the number of parts that
    can have it, times its rate, times the factor of each answer of the car's history;
    an open question is averaged over its answers. Faults that nobody would notice are
    expected too, although they never make a case; as only ratios count, that shifts all
    modes alike. Of the two ends of one wire no reading says which it was: modes with
    the same effect are counted as one category.
    """

    def __init__(self, modes: Sequence[FaultMode], contexts: Sequence[Context]) -> None:
        self.modes = tuple(modes)
        self._contexts = tuple(contexts)
        self._places = {(m.kind, m.name): i for i, m in enumerate(self.modes)}
        signatures = [
            (mode.kind, mode.roles, mode.except_roles, *mode_signature(mode))
            for mode in self.modes
        ]
        distinct = list(dict.fromkeys(signatures))
        places = {signature: i for i, signature in enumerate(distinct)}
        self._category: IntArray = np.array(
            [places[signature] for signature in signatures], dtype=np.int64
        )
        self._rows: dict[PartGroup, int] = {}
        self._rates = np.zeros((0, len(self.modes)))
        self._answered = {
            (context.name, answer): _factors(self.modes, context.name, answer)
            for context in self._contexts
            for answer in context.states
        }
        self._open = {
            context.name: np.asarray(
                sum(
                    share * self._answered[context.name, answer]
                    for answer, share in context.states.items()
                ),
                dtype=np.float64,
            )
            for context in self._contexts
        }
        self._remembered: dict[object, FloatArray] = {}

    @property
    def categories(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Each category's kind of part and the modes in it."""
        members: dict[int, list[FaultMode]] = {}
        for mode, category in zip(self.modes, self._category.tolist(), strict=True):
            members.setdefault(category, []).append(mode)
        return tuple(
            (members[i][0].kind, tuple(mode.name for mode in members[i]))
            for i in range(len(members))
        )

    @property
    def n_categories(self) -> int:
        """Number of categories. [1]."""
        return int(self._category.max()) + 1

    def expected_shares(
        self, parts: Mapping[PartGroup, int], history: Mapping[str, str]
    ) -> FloatArray:
        """Return how likely each category is on one car that has a fault.

        Parameters
        ----------
        parts : Mapping[PartGroup, int]
            How many parts of each kind and role the car has. [1]
        history : Mapping[str, str]
            Context to its answer; those not answered are not there.

        Returns
        -------
        FloatArray
            Shape (n_categories,); sums to 1. [1]

        Raises
        ------
        ValueError
            If its parts can't fail in any way known here.
        """
        key = (tuple(parts.items()), tuple(history.items()))
        found = self._remembered.get(key)
        if found is None:
            found = self._shares(parts, history)
            if len(self._remembered) >= _REMEMBERED_CARS:
                self._remembered.clear()
            self._remembered[key] = found
        return found

    def tally(self, cases: Iterable[ClosedCase]) -> Tally:
        """Return cases added up.

        Parameters
        ----------
        cases : Iterable[ClosedCase]
            A batch of them.

        Returns
        -------
        Tally
            Cases seen by category, and the expected shares of each. [1]

        Raises
        ------
        ValueError
            If a case's mode is not one of its kind of part.
        """
        seen = np.zeros(self.n_categories)
        shares = []
        for case in cases:
            place = self._places.get((case.group[0], case.mode))
            if place is None:
                raise ValueError(f"{case.group[0]} can't have the mode {case.mode}")
            seen[self._category[place]] += 1.0
            shares.append(self.expected_shares(case.parts, case.history))
        rows = np.array(shares, dtype=np.float32)
        return Tally(seen=seen, shares=rows.reshape(len(shares), self.n_categories))

    def _shares(
        self, parts: Mapping[PartGroup, int], history: Mapping[str, str]
    ) -> FloatArray:
        """Return the expected shares of one car, worked out now."""
        rows = [self._row(group) for group in parts]
        counts = np.zeros(len(self._rows))
        counts[rows] = list(parts.values())
        weights = counts @ self._rates
        for context in self._contexts:
            answer = history.get(context.name)
            weights *= (
                self._open[context.name]
                if answer is None
                else self._answered[context.name, answer]
            )
        total = weights.sum()
        if not total > 0.0:
            raise ValueError("no part of this car can fail in any way known here")
        shares = np.bincount(self._category, weights=weights / total)
        return np.asarray(shares, dtype=np.float64)

    def _row(self, group: PartGroup) -> int:
        """Return the row of a group in the rates that its parts have, 0 where none."""
        row = self._rows.get(group)
        if row is None:
            row = self._rows[group] = len(self._rows)
            rates = np.array([m.rate * can_have(group, m) for m in self.modes])
            self._rates = np.vstack([self._rates, rates])
        return row


def _factors(modes: Sequence[FaultMode], context: str, answer: str) -> FloatArray:
    return np.array([mode.factors.get(context, {}).get(answer, 1.0) for mode in modes])


def batched(items: Iterable[Item]) -> Iterator[list[Item]]:
    """Yield items in lists of `BATCH`.

    Parameters
    ----------
    items : Iterable
        Read no further ahead than one batch.

    Yields
    ------
    list
        The last one may be shorter, and none is empty.
    """
    # itertools.batched is there from Python 3.12 on
    batch: list[Item] = []
    for item in items:
        batch.append(item)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch
