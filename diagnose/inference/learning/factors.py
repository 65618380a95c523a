"""How far closed cases move the published fault rates, as a factor for each mode.

Leaves counting cases to `counting`, Dirichlet's arithmetic to `prior.network`, and
keeping what was learned to `store`.

Decisions that bind it:

- The most probable factors on the published rates are looked for, each with a prior
  worth its published share of 200 cases. For cars all alike that is Dirichlet's
  posterior mean (a + c) / (a + e); for cars that differ, cases seen over cases expected
  would give 1.86 where the truth is 3.
- No published share counts for less than one case. Else one case of a mode expected
  once in a million lifts it a thousandfold, and one that nobody could have met yet is
  ruled out.
- What was learned is not used beside other published rates than it was learned with: a
  rate corrected in knowledge/ would be moved twice for one reason.
"""

from __future__ import annotations

import hashlib
import math
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import IO

import numpy as np

from diagnose.arrays import FloatArray
from diagnose.faults.knowledge import Knowledge
from diagnose.inference.learning.counting import BATCH, Counter, Tally

# How many cases the published shares count for. [cases] Own choice: ten cases then move
# at most 10 of 210, a twentieth of all the probability, and two hundred cases weigh as
# much as what was published.
PUBLISHED_CASES = 200.0

# The least that the published share of one category counts for. [cases] Derived: the
# share of a rare mode is known no better than by one case of it.
LEAST_PUBLISHED_CASES = 1.0

# How much of the cases' shares is kept in memory; the rest goes to the disk. [bytes]
# Own choice: what any computer can spare.
KEPT_BYTES = 50_000_000

# The iteration ends when no factor changes by more than this share of itself. [1]
# Derived: the factors are printed with two decimals.
SETTLED = 1e-6

# The iteration ends after this many rounds in any case. [1] Own choice: a stop for one
# that does not settle.
MOST_ROUNDS = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedShare:
    """What cases say about modes of one kind that no reading tells apart.

    Parameters
    ----------
    kind : str
        Kind of part.
    modes : tuple[str, ...]
        Names of its fault modes.
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
        From how many cases. [1]
    published_cases : float
        What the published shares counted for. [cases]
    rates_digest : str
        Which published rates the factors belong to, see `rates_digest`.
    shares : tuple[LearnedShare, ...]
        One for each category of modes.
    """

    n_cases: int
    published_cases: float
    rates_digest: str
    shares: tuple[LearnedShare, ...]


def learned_by(tallies: Iterable[Tally], knowledge: Knowledge) -> Learned:
    """Return what tallies of closed cases say about the published rates.

    Parameters
    ----------
    tallies : Iterable[Tally]
        Of batches of the cases, in their order.
    knowledge : Knowledge
        With the published rates, those of the tallies.

    Returns
    -------
    Learned
        With the factor of every mode. [1]

    Notes
    -----
    Each case says which category k it was out of the shares x of its car, with factors
    f on the rates: f_k x_k / sum_j f_j x_j. The factors have a Gamma prior of mean 1
    worth a cases: the published share times `PUBLISHED_CASES`, at least
    `LEAST_PUBLISHED_CASES`. Their most probable values satisfy

        f_k (a_k + sum over cases of x_k / sum_j f_j x_j) = a_k + c_k

    with c cases seen; the right side is Dirichlet's posterior, and the equation is
    iterated to its fixed point. Summed over k it keeps the mean of f, weighted by a, at
    1: cases say which fault it was, not how often cars fail.

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
    """Return a hash of the published rates and of how the histories shift them.

    Parameters
    ----------
    knowledge : Knowledge
        With the rates.

    Returns
    -------
    str
        Hexadecimal digits, the same for the same rates.
    """
    digest = hashlib.sha256()
    for mode in knowledge.modes:
        factors = sorted((c, sorted(f.items())) for c, f in mode.factors.items())
        digest.update(f"{mode.kind} {mode.name} {mode.rate!r} {factors}\n".encode())
    for context in knowledge.contexts:
        digest.update(f"{context.name} {sorted(context.states.items())}\n".encode())
    return digest.hexdigest()


def with_learned(knowledge: Knowledge, learned: Learned) -> Knowledge:
    """Return the knowledge with its rates moved by what was learned.

    Parameters
    ----------
    knowledge : Knowledge
        With the published rates.
    learned : Learned
        From cases counted against the same rates.

    Returns
    -------
    Knowledge
        It carries a digest of the factors, so that priors kept with other rates are not
        taken for its own.

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
