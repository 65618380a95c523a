"""What each observation says of every row of fault sets, kept from fact to fact.

Leaves how likely an observation is under one fault set to `weighing`.

Decisions that bind it:

- What was worked out for a row is kept until the row is written anew, so that an answer
  costs what is new in it.
- A set with a fault that comes and goes is mixed, fact by fact, from what it shows
  while that fault is there and while it is away. Two that come and go are not looked
  at: they are rarer than three that last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import FloatArray, IntArray
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses
from diagnose.session.evidence.seen import Noted, is_yes
from diagnose.session.evidence.solved_sets import PAIR_STRIDE, Rows
from diagnose.session.evidence.weighing.likelihoods import Weigher

# How many observations are kept beyond twice those of a conclusion. [1] Own choice:
# facts that are looked ahead at or taken back; half a megabyte each on the shipped car.
MOST_OTHERS = 64


@dataclass(frozen=True, slots=True)
class _Weighed:
    """What one observation says of every row of the bank.

    Parameters
    ----------
    likelihood : FloatArray
        Shape (n_rows, n_draws). [1 over the unit of the reading, or 1]
    version : IntArray
        Of each row in the bank when it was worked out, -1 where it never was; shape
        (n_rows,).
    """

    likelihood: FloatArray
    version: IntArray


class RowLikelihoods:
    """The likelihoods of what was seen, for all rows of one car.

    Parameters
    ----------
    compiled : Compiled
        The car, and the bank whose rows are weighed.
    weigher : Weigher
        Says how likely an observation is.
    """

    def __init__(self, compiled: Compiled, weigher: Weigher) -> None:
        self._compiled, self._weigher = compiled, weigher
        self._kept: dict[Noted, _Weighed] = {}

    def of(
        self, observations: Sequence[Noted], hypotheses: Hypotheses, rows: Rows
    ) -> tuple[FloatArray, ...]:
        """Return the likelihoods of all rows, those in use brought up to date.

        Parameters
        ----------
        observations : Sequence[Noted]
            What was seen.
        hypotheses : Hypotheses
            All rows of the bank with what they show.
        rows : Rows
            Which of them are in use.

        Returns
        -------
        tuple[FloatArray, ...]
            One for each observation, shape (n_rows, n_draws); written over by the next
            call. [1 over the unit of the reading, or 1]
        """
        bank = self._compiled.bank
        groups = ((rows.singles, 1), (np.unique(rows.solved), PAIR_STRIDE))
        result = []
        for noted in observations:
            weighed = self._weighed(noted, rows)
            for wanted, stands_for in groups:
                is_stale = weighed.version[wanted] != bank.versions[wanted]
                if not is_stale.any():
                    continue
                some = _as_slice(wanted[is_stale])
                if self._weigher.provocation(noted.observation) is not None:
                    hypotheses = self._named(hypotheses)
                weighed.likelihood[some] = self._weigher.likelihood(
                    hypotheses, noted, rows=some, stands_for=stands_for
                )
                weighed.version[some] = bank.versions[some]
            coming = rows.fleeting_pairs
            if len(rows.fleeting) and weighed.version[rows.fleeting[0]] < 0:
                weighed.version[rows.fleeting] = 0
                coming = np.concatenate([rows.fleeting, coming])
            if len(coming):
                weighed.likelihood[coming] = self._while_coming(
                    noted, hypotheses, coming, rows=rows, likelihood=weighed.likelihood
                )
            result.append(weighed.likelihood)
        while len(self._kept) > 2 * len(observations) + MOST_OTHERS:
            del self._kept[next(iter(self._kept))]
        return tuple(result)

    def _named(self, hypotheses: Hypotheses) -> Hypotheses:
        """Return hypotheses with the set of every row, those in no use included."""
        sets = list(hypotheses.sets)
        for fault_set, row in self._compiled.bank.pair_rows.items():
            sets[row] = fault_set
        return replace(hypotheses, sets=tuple(sets))

    def mark_written(self, noted: Noted, row: int) -> None:
        """Note that the likelihood of a row was written elsewhere and is up to date."""
        weighed = self._kept[noted._replace(epoch=0)]
        weighed.version[row] = self._compiled.bank.versions[row]

    def _weighed(self, noted: Noted, rows: Rows) -> _Weighed:
        key = noted._replace(epoch=0)
        weighed = self._kept.pop(key, None)
        if weighed is None:
            weighed = _Weighed(
                np.ones((rows.n_rows, self._compiled.n_draws)),
                np.full(rows.n_rows, -1, dtype=np.int64),
            )
        # those asked for last are dropped last
        self._kept[key] = weighed
        return weighed

    def _while_coming(
        self,
        noted: Noted,
        hypotheses: Hypotheses,
        some: IntArray,
        *,
        rows: Rows,
        likelihood: FloatArray,
    ) -> FloatArray:
        """Return what an observation says of sets with a fault that comes and goes.

        Parameters
        ----------
        some : IntArray
            Their rows, shape (n_some,).
        likelihood : FloatArray
            Of all rows that hold what they show, shape (n_rows, n_draws).
        """
        presence, fault = self._compiled.presence, rows.comes_and_goes[some]
        test = self._weigher.provocation(noted.observation)
        if test is not None:
            reacts = test.reaction(presence)[fault]
            return reacts if is_yes(noted.observation) else 1.0 - reacts
        chance = self._weigher.presence_chance(
            noted.observation, is_complaint=noted.is_complaint
        )
        looks = [
            [*self._fewer_times(noted, hypotheses, seen), likelihood[seen]]
            for seen in (rows.shown_by[some], rows.away[some])
        ]
        return presence.looked_at(looks[0], looks[1], chance[fault])

    def _fewer_times(
        self, noted: Noted, hypotheses: Hypotheses, rows: IntArray
    ) -> list[FloatArray]:
        """Return the likelihoods had a reading been taken no time, once, and so on."""
        shape = len(rows), self._compiled.n_draws
        return [np.ones(shape)] + [
            self._weigher.likelihood(hypotheses, noted._replace(times=times), rows=rows)
            for times in range(1, noted.times)
        ]


def _as_slice(rows: IntArray) -> IntArray | slice:
    """Return rising row numbers as a slice where they have no gaps: it copies less."""
    if rows[-1] - rows[0] == len(rows) - 1:
        return slice(int(rows[0]), int(rows[-1]) + 1)
    return rows
