"""Learning from closed cases: how far the published fault rates move.

A closed case says which fault, out of all that its car could have had, was the one. The
cases are counted by kind of part and mode, beside how many the published rates would
have given on the same cars; the two together move each rate. Leaves reading and keeping
cases to `files` and `store`, and Dirichlet's arithmetic to `network`.
"""

from __future__ import annotations

import hashlib
import math
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import IO, TypeVar

import numpy as np
import numpy.typing as npt

from diagnose.arrays import FloatArray, IntArray
from diagnose.faults.causes import mode_signature
from diagnose.faults.knowledge import Knowledge
from diagnose.faults.modes import FaultMode
from diagnose.measurement.symptoms import Context

PUBLISHED_CASES = 200.0
"""What the published shares count for: as many cases as this, seen before any other.

Own choice: ten cases then move at most 10 of 210, a twentieth of all the probability,
and two hundred cases weigh as much as what was published.
"""

LEAST_PUBLISHED_CASES = 1.0
"""No published share counts for less than one case of its own kind and mode.

Derived: the share of a rare mode is known no better than that. Without it, one case of
a mode expected once in a million would lift it a thousandfold, and a mode that nobody
could have met yet would be ruled out by all the others.
"""

BATCH = 2000
"""Cases counted together; the same everywhere, so that sums are the same everywhere."""

KEPT_BYTES = 50_000_000
"""Shares of cases beyond this many bytes go to the disk. Own choice."""

SETTLED = 1e-6
MOST_ROUNDS = 500
# Derived: the factors are printed with two decimals.

_REMEMBERED_CARS = 2000

Item = TypeVar("Item")

Single = npt.NDArray[np.float32]

PartGroup = tuple[str, str]
"""Kind and role of parts; the role is empty for parts without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedCase:
    """One repaired and proven case, without anything that names a person or a car.

    Parameters
    ----------
    case_id : str
        The same for the same case wherever it is pooled.
    complaint : str
    history : Mapping[str, str]
        Context to its answer; those not answered are not there.
    parts : Mapping[PartGroup, int]
        How many parts of each kind and role the car has.
    group : PartGroup
        Kind and role of the part that was mended.
    mode : str
        The fault mode that was mended.
    """

    case_id: str
    complaint: str
    history: Mapping[str, str]
    parts: Mapping[PartGroup, int]
    group: PartGroup
    mode: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedShare:
    """What cases say about modes of one kind that no reading tells apart.

    Parameters
    ----------
    kind : str
    modes : tuple[str, ...]
    seen : float
        Cases with one of them. [1]
    expected : float
        Cases that the published rates would have given on the same cars. [1]
    factor : float
        What the published rates are multiplied by. [1]
    """

    kind: str
    modes: tuple[str, ...]
    seen: float
    expected: float
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """All that was learned at one time.

    Parameters
    ----------
    n_cases : int
    published_cases : float
        What the published shares counted for. [cases]
    rates_digest : str
        Which published rates the factors belong to.
    """

    n_cases: int
    published_cases: float
    rates_digest: str
    shares: tuple[LearnedShare, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """A batch of cases, counted.

    Parameters
    ----------
    seen : FloatArray
        Cases by category, shape (n_categories,).
    shares : Single
        How likely the published rates make each category on each case's car, shape
        (n_cases, n_categories).
    """

    seen: FloatArray
    shares: Single


def can_have(group: PartGroup, mode: FaultMode) -> bool:
    """Return whether parts of a kind and role can have a mode."""
    kind, role = group
    if mode.kind != kind or role in mode.except_roles:
        return False
    return not mode.roles or role in mode.roles


class Counter:
    """Counts closed cases against what the published rates expect.

    Parameters
    ----------
    modes : Sequence[FaultMode]
        With their published rates.
    contexts : Sequence[Context]

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
        """Each category's kind and the modes in it."""
        members: dict[int, list[FaultMode]] = {}
        for mode, category in zip(self.modes, self._category.tolist(), strict=True):
            members.setdefault(category, []).append(mode)
        return tuple(
            (members[i][0].kind, tuple(mode.name for mode in members[i]))
            for i in range(len(members))
        )

    @property
    def n_categories(self) -> int:
        """Number of categories."""
        return int(self._category.max()) + 1

    def expected_shares(
        self, parts: Mapping[PartGroup, int], history: Mapping[str, str]
    ) -> FloatArray:
        """Return how likely each category is on one car, shape (n_categories,).

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


def learned_from(cases: Iterable[ClosedCase], knowledge: Knowledge) -> Learned:
    """Return what closed cases say about the published rates.

    Parameters
    ----------
    knowledge : Knowledge
        With the published rates.

    Raises
    ------
    ValueError
        If a case does not belong to this knowledge.
    """
    counter = Counter(knowledge.modes, knowledge.contexts)
    return learned_by(map(counter.tally, batched(cases)), knowledge)


def batched(items: Iterable[Item]) -> Iterator[list[Item]]:
    """Yield items in lists of `BATCH`, the last one shorter."""
    batch: list[Item] = []
    for item in items:
        batch.append(item)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def learned_by(tallies: Iterable[Tally], knowledge: Knowledge) -> Learned:
    """Return what tallies of closed cases say about the published rates.

    Parameters
    ----------
    tallies : Iterable[Tally]
        Of batches of the cases.
    knowledge : Knowledge
        With the published rates, those of the tallies.

    Returns
    -------
    Learned
        With the factor of every mode.

    Notes
    -----
    Each case says which category k it was out of the shares x of its car, with factors
    f on the rates: f_k x_k / sum_j f_j x_j. The factors have a Gamma prior of mean 1
    worth a cases: the published share times `PUBLISHED_CASES`, at least
    `LEAST_PUBLISHED_CASES`. Their most probable values satisfy

        f_k (a_k + sum over cases of x_k / sum_j f_j x_j) = a_k + c_k

    with c cases seen; the right side is Dirichlet's posterior, and the equation is
    iterated to its fixed point. For cars all alike it gives Dirichlet's posterior mean.
    Summed over k it keeps the mean of f, weighted by a, at 1: cases say which fault it
    was, not how often cars fail.

    References
    ----------
    D. R. Hunter, MM algorithms for generalized Bradley-Terry models, Annals of
    Statistics 32, 2004, for the iteration.
    """
    counter = Counter(knowledge.modes, knowledge.contexts)
    seen, expected = np.zeros((2, counter.n_categories))
    with tempfile.SpooledTemporaryFile(max_size=KEPT_BYTES) as scratch:
        for part in tallies:
            seen += part.seen
            expected += part.shares.sum(axis=0, dtype=np.float64)
            scratch.write(part.shares.tobytes())
        n_cases = round(float(seen.sum()))
        factors = (
            _factors_for(seen, expected, scratch) if n_cases else np.ones_like(seen)
        )
    shares = tuple(
        LearnedShare(
            kind=kind, modes=modes, seen=count, expected=published, factor=factor
        )
        for (kind, modes), count, published, factor in zip(
            counter.categories,
            seen.tolist(),
            expected.tolist(),
            factors.tolist(),
            strict=True,
        )
    )
    return Learned(
        n_cases=n_cases,
        published_cases=PUBLISHED_CASES,
        rates_digest=rates_digest(knowledge),
        shares=shares,
    )


def _factors_for(
    seen: FloatArray, expected: FloatArray, scratch: IO[bytes]
) -> FloatArray:
    """Return the factor of each category from the shares of every case."""
    # only here, so that counting needs no pgmpy
    from diagnose.inference.prior.network import dirichlet_shares

    published = expected / seen.sum()
    pseudo = np.maximum(PUBLISHED_CASES * published, LEAST_PUBLISHED_CASES)
    wanted = dirichlet_shares(seen, pseudo) * (pseudo.sum() + seen.sum())
    factors = np.ones_like(seen)
    for _ in range(MOST_ROUNDS):
        before = factors
        factors = wanted / (pseudo + _exposure(factors, scratch))
        if np.abs(np.log(factors / before)).max() < SETTLED:
            break
    # of parts that no car of a case has, the cases say nothing
    return np.where(published > 0.0, factors, 1.0)


def _exposure(factors: FloatArray, scratch: IO[bytes]) -> FloatArray:
    """Return the sum over cases of x_k / sum_j f_j x_j, a batch at a time."""
    total = np.zeros_like(factors)
    row_bytes = len(factors) * np.dtype(np.float32).itemsize
    scratch.seek(0)
    while block := scratch.read(BATCH * row_bytes):
        rows = np.frombuffer(block, dtype=np.float32).reshape(-1, len(factors))
        total += (1.0 / (rows @ factors)) @ rows
    return total


def rates_digest(knowledge: Knowledge) -> str:
    """Return a hash of the published rates and of how the histories shift them."""
    digest = hashlib.sha256()
    for mode in knowledge.modes:
        factors = sorted((c, sorted(f.items())) for c, f in mode.factors.items())
        digest.update(f"{mode.kind} {mode.name} {mode.rate!r} {factors}\n".encode())
    for context in knowledge.contexts:
        digest.update(f"{context.name} {sorted(context.states.items())}\n".encode())
    return digest.hexdigest()


def with_learned(knowledge: Knowledge, learned: Learned) -> Knowledge:
    """Return the knowledge with its rates moved by what was learned.

    It carries a digest of them, so that priors kept with other rates are not taken for
    its own.

    Raises
    ------
    ValueError
        If the factors belong to other published rates, or one of them can't be.
    """
    if learned.rates_digest != rates_digest(knowledge):
        raise ValueError("learned with other published rates")
    factors = {
        (share.kind, mode): share.factor
        for share in learned.shares
        for mode in share.modes
    }
    if not all(math.isfinite(f) and f > 0.0 for f in factors.values()):
        raise ValueError("a learned factor is not a positive number")
    modes = tuple(
        replace(mode, rate=mode.rate * factors.get((mode.kind, mode.name), 1.0))
        for mode in knowledge.modes
    )
    moved = hashlib.sha256(repr(sorted(factors.items())).encode()).hexdigest()
    return replace(knowledge, modes=modes, learned_digest=moved)
