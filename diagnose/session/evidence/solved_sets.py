"""The rows that fault sets lie in, and solving those that are not there yet.

Sets beyond single causes are solved when facts ask for them. What was solved is kept
for the next fact, also when its row in the bank is given away. Leaves which sets are
wanted to `several_faults`.

Decisions that bind it:

- All pairs ahead of any fact would take a quarter of an hour and 40 GB; those that
  weigh are solved within an answer.
- They are kept with only the draws that were solved. So four times as many fit, and
  what was solved ahead for ten possible readings is there when one of them comes.
- Sets with a fault that comes and goes are not solved: their rows stand behind all
  others and name the rows that show them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.arrays import IntArray
from diagnose.faults.causes import FaultSet
from diagnose.inference.compiled.compiled_car import Compiled
from diagnose.inference.compiled.hypotheses import Hypotheses, joined
from diagnose.session.evidence.several_faults.pair_search import MOST_FLEETING_PAIRS
from diagnose.session.evidence.several_faults.severity_ladders import Ladders

# Of how many draws one is solved for a set beyond single causes. [1] Own choice: every
# fourth stands for four. Such sets need order, not the last decimal, and those that
# lead get severities of their own.
PAIR_STRIDE = 4

# How many solved sets are kept. [1] Derived: those of an evening, solved ahead or not;
# 100 kB each.
KEPT_SETS = 800


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Which row holds which fault set.

    Parameters
    ----------
    of : Mapping[FaultSet, int]
        The row of each set.
    n_rows : int
        Those not in use included. [1]
    singles : IntArray
        The rows of the sound car and every lasting cause.
    solved : IntArray
        The rows that were solved beyond these, shape (n_solved,).
    fleeting : IntArray
        The rows of every cause that comes and goes.
    shown_by, away, comes_and_goes : IntArray
        As in `Conclusion`.
    """

    of: Mapping[FaultSet, int]
    n_rows: int
    singles: IntArray
    solved: IntArray
    fleeting: IntArray
    shown_by: IntArray
    away: IntArray
    comes_and_goes: IntArray

    @property
    def alone(self) -> IntArray:
        """The rows of the sound car and every single cause, shape (1 + n_causes,)."""
        return np.concatenate([self.singles, self.fleeting])

    @property
    def fleeting_pairs(self) -> IntArray:
        """The rows of sets of a cause that comes and goes and one that lasts."""
        first = self.n_rows - MOST_FLEETING_PAIRS
        return first + np.flatnonzero(self.comes_and_goes[first:] >= 0)


class SolvedSets:
    """The fault sets of one car, solved when they are asked for.

    Parameters
    ----------
    compiled : Compiled
        The car, and the bank that its fault sets lie in.
    ladders : Ladders
        Knows which causes act alike, so that one set is solved for all of them.
    """

    def __init__(self, compiled: Compiled, ladders: Ladders) -> None:
        self._compiled, self._ladders = compiled, ladders
        self._kept: dict[FaultSet, Hypotheses] = {}
        singles, first = compiled.singles.sets, compiled.n_lasting
        n_bank = len(compiled.bank.all.sets)
        fleeting = range(len(compiled.presence.acts_as))
        self._alone_rows: dict[FaultSet, int] = {
            **{one: row for row, one in enumerate(singles)},
            **{(first + number,): n_bank + number for number in fleeting},
        }

    def is_solved(self, fault_set: FaultSet) -> bool:
        """Return whether what a set of several faults shows was solved before."""
        first, acts_as = self._compiled.n_lasting, self._compiled.presence.acts_as
        shown = (
            int(acts_as[one - first]) if one >= first else one for one in fault_set
        )
        return self._ladders.standing_in(tuple(sorted(shown))) in self._kept

    def rows(self, sets: Sequence[FaultSet]) -> Rows:
        """Return the rows of single causes and some sets of several, solved if missing.

        Parameters
        ----------
        sets : Sequence[FaultSet]
            Sets of several causes, of which at most the last one comes and goes.
        """
        compiled, bank = self._compiled, self._compiled.bank
        first = compiled.n_lasting
        acts_as = dict(enumerate(compiled.presence.acts_as.tolist(), start=first))
        lasting = [s for s in sets if s[-1] < first]
        fleeting = [s for s in sets if s[-1] >= first]
        shown = {s: tuple(sorted((*s[:-1], acts_as[s[-1]]))) for s in fleeting}
        solved = tuple(dict.fromkeys([*lasting, *shown.values()]))
        missing = bank.missing(solved)
        if missing:
            bank.keep_pairs(self._solved(missing), solved)
        n_bank, n_fleeting = len(bank.all.sets), len(acts_as)
        rows = self._alone_rows.copy()
        rows.update((s, bank.pair_rows[s]) for s in lasting)
        n_rows = n_bank + n_fleeting + MOST_FLEETING_PAIRS
        shown_by, away = np.arange(n_rows), np.arange(n_rows)
        comes_and_goes = np.full(n_rows, -1)
        shown_by[n_bank:] = away[n_bank:] = 0
        alone = n_bank + np.arange(n_fleeting)
        shown_by[alone] = 1 + compiled.presence.acts_as
        comes_and_goes[alone] = np.arange(n_fleeting)
        for row, s in enumerate(fleeting, start=n_bank + n_fleeting):
            rows[s], shown_by[row] = row, bank.pair_rows[shown[s]]
            away[row], comes_and_goes[row] = rows[s[:-1]], s[-1] - first
        return Rows(
            of=rows,
            n_rows=n_rows,
            singles=np.arange(bank.n_singles),
            solved=np.array([bank.pair_rows[s] for s in solved], dtype=np.int64),
            fleeting=alone,
            shown_by=shown_by,
            away=away,
            comes_and_goes=comes_and_goes,
        )

    def _solved(self, sets: Sequence[FaultSet]) -> Hypotheses:
        """Return fault sets with what they show; those that act alike solved once."""
        alike = [self._ladders.standing_in(one) for one in sets]
        missing = [one for one in dict.fromkeys(alike) if one not in self._kept]
        if missing:
            if len(self._kept) + len(missing) > KEPT_SETS:
                self._kept = {
                    one: self._kept[one] for one in alike if one in self._kept
                }
            solved = self._compiled.hypotheses(
                missing, every=PAIR_STRIDE, is_compact=True
            )
            for number, one in enumerate(missing):
                self._kept[one] = solved.kept(np.array([number]))
        found = joined([self._kept[one] for one in alike])
        return replace(found.stretched(PAIR_STRIDE), sets=tuple(sets))
