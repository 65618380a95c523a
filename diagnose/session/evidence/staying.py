"""Facts seen in one state hang together where a fault comes and goes.

As the car is left, so the fault stays: a wire found dead at the pump is as a rule still
dead when the meter is moved to its other end. Likelihoods of single facts take it that
the fault is there or away at each look by itself; this mends their product, and says
how likely a look to come finds it there. Leaves the single facts to `row_likelihoods`.

Decision that binds it: looks hang together by their state, however many other states
lie between them, and not by the order they were told in: the same facts in any order
between repairs give the same beliefs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.compiled.intermittent import Presence
from diagnose.session.evidence.seen import Noted
from diagnose.session.evidence.solved_sets import Rows
from diagnose.session.evidence.weighing.likelihoods import Weigher
from diagnose.session.facts import SubstitutionFact

# The least likelihood that is divided by. [1 over the unit of the readings] Derived:
# far below that of a slip.
LEAST_DIVISOR = 1e-280


@dataclass(frozen=True, slots=True)
class Staying:
    """What facts amount to where faults that come and go stay as they are in a state.

    Parameters
    ----------
    together : Mapping[int, FloatArray]
        Number of the last observation of a state to what those of that state say
        beyond what they say one by one, as a factor, shape (n_rows, n_draws). [1]
    there_now : Mapping[str, FloatArray]
        State to the chance that the next look in it finds the fault there, 0 in rows
        without one, shape (n_rows, n_draws); states in which nothing was seen since the
        latest repair are missing. [1]
    """

    together: Mapping[int, FloatArray]
    there_now: Mapping[str, FloatArray]


def staying(
    observations: Sequence[Noted],
    likelihoods: Sequence[FloatArray],
    rows: Rows,
    *,
    epoch: int,
    presence: Presence,
    weigher: Weigher,
) -> Staying:
    """Return what facts amount to, those seen in one state taken together.

    Parameters
    ----------
    observations : Sequence[Noted]
        What was seen.
    likelihoods : Sequence[FloatArray]
        Of each by itself, shape (n_rows, n_draws); not changed.
    rows : Rows
        The rows in use.
    epoch : int
        How many repairs were done by now. [1]
    presence : Presence
        The causes that come and go.
    weigher : Weigher
        Knows the state that something was seen in.

    Notes
    -----
    With chance s that all looks find it as the first did, chance p that a look finds
    it there, and likelihoods t of the facts while it is there and a while it is away,
    the facts of one state are worth
    s (p prod t + (1 - p) prod a) + (1 - s) prod (p t + (1 - p) a).
    """
    some = np.flatnonzero(rows.comes_and_goes >= 0)
    if not len(some):
        return Staying({}, {})
    factors: dict[int, FloatArray] = {}
    there_now: dict[str, FloatArray] = {}
    for (repairs_before, state), places in _by_state(observations, weigher).items():
        group = _Group.of([likelihoods[place] for place in places], some, rows)
        stays = presence.stays[rows.comes_and_goes[some]]
        chance = presence.chance(state)[rows.comes_and_goes[some]]
        together = group.together(chance, stays)
        if len(places) > 1:
            factor = np.ones(likelihoods[0].shape)
            factor[some] = together / np.maximum(group.each, LEAST_DIVISOR)
            factors[places[-1]] = factor
        if repairs_before == epoch:
            now = np.zeros(likelihoods[0].shape)
            now[some] = group.next_there(chance, stays, together)
            there_now[state] = now
    return Staying(factors, there_now)


@dataclass(frozen=True, slots=True)
class _Group:
    """Likelihoods of the facts of one state, shape (n_some, n_draws) each.

    All of them while the fault is there, all while it is away, and the product of each
    by itself.
    """

    there: FloatArray
    away: FloatArray
    each: FloatArray

    @classmethod
    def of(
        cls, likelihoods: Sequence[FloatArray], some: IntArray, rows: Rows
    ) -> _Group:
        shown_by, away = rows.shown_by[some], rows.away[some]
        return cls(
            np.prod([one[shown_by] for one in likelihoods], axis=0),
            np.prod([one[away] for one in likelihoods], axis=0),
            np.prod([one[some] for one in likelihoods], axis=0),
        )

    def together(self, chance: FloatArray, stays: FloatArray) -> FloatArray:
        """Return what the facts are worth together."""
        as_first = chance * self.there + (1.0 - chance) * self.away
        return np.asarray(stays * as_first + (1.0 - stays) * self.each)

    def next_there(
        self, chance: FloatArray, stays: FloatArray, together: FloatArray
    ) -> FloatArray:
        """Return the chance that the next look finds the fault there. [1]."""
        there = chance * (stays * self.there + (1.0 - stays) * self.each)
        return np.asarray(there / np.maximum(together, LEAST_DIVISOR))


def _by_state(
    observations: Sequence[Noted], weigher: Weigher
) -> Mapping[tuple[int, str], list[int]]:
    """Return the places of facts about the car as it stood, by repairs and state."""
    found: dict[tuple[int, str], list[int]] = {}
    for place, noted in enumerate(observations):
        seen = noted.observation
        is_of_state = not noted.is_complaint and not isinstance(seen, SubstitutionFact)
        if is_of_state and weigher.provocation(seen) is None:
            key = noted.epoch, weigher.state_of(seen)
            found.setdefault(key, []).append(place)
    return found
