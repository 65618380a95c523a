"""The casebook: a diagnosis whose facts are kept, and can be struck out or replaced.

Every face works through it: what follows from a fact is considered, the fact goes to
the journal, and only then does it count and does anyone see what follows. Leaves the
conclusions to `diagnosis`.

Decision that binds this module: whatever interrupts, the diagnosis and the journal hold
the same facts. What was begun is noted first, and `settle` ends it the way the disk has
it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.errors import DiagnoseError, ReadingError
from diagnose.session.answer import Answer
from diagnose.session.diagnosis import Considered, Diagnosis
from diagnose.session.fact_rows import fact_from_row, fact_to_row, standing_rows
from diagnose.session.facts import (
    Fact,
    RepairFact,
    SymptomFact,
    UndoFact,
    standing_facts,
)
from diagnose.store.case_rows import FactRow
from diagnose.store.journal import Journal


class ContradictionError(ReadingError):
    """A symptom told both ways: the person must say which holds.

    Parameters
    ----------
    fact : SymptomFact
        What was just told; it was left out.
    """

    def __init__(self, fact: SymptomFact) -> None:
        self.fact = fact
        now, before = ("yes", "no") if fact.is_present else ("no", "yes")
        super().__init__(
            f'symptom "{fact.symptom}" was told as {before} before, now as {now}; '
            "which holds?"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Begun:
    """Facts that are being kept.

    Parameters
    ----------
    considered : Considered
        Where the diagnosis stands once they are.
    kept_before : int
        How many facts the journal kept before them.
    """

    considered: Considered
    kept_before: int


class Casebook:
    """One diagnosis and its journal.

    Parameters
    ----------
    diagnosis : Diagnosis
        New; the facts of an earlier evening come by `restore`.
    journal : Journal
        Where facts are kept.
    at_once : bool
        Facts are answered at once, as `Diagnosis.tell` has it; someone looks ahead in
        the pauses. What a repair leaves, and where an earlier evening left off, is
        worked out to its end first: nobody stands there with the leads on.
    """

    def __init__(
        self, diagnosis: Diagnosis, journal: Journal, *, at_once: bool = False
    ) -> None:
        self.diagnosis = diagnosis
        self.journal = journal
        self._at_once = at_once
        self._begun: _Begun | None = None

    @property
    def answer(self) -> Answer:
        """Everything known after the latest fact."""
        return self.diagnosis.answer

    @property
    def standing(self) -> tuple[Fact, ...]:
        """The facts that count, oldest first."""
        return standing_facts(self.diagnosis.facts)

    def tell(self, fact: Fact) -> Answer:
        """Tell one fact and keep it.

        Raises
        ------
        ContradictionError
            If the same symptom stands the other way since the latest repair.
        ReadingError, ImpossibleEvidenceError
            If the diagnosis refuses the fact; it then stands as before.
        CaseChangedError
            If another window added facts to the case; nothing is taken in any more.
        """
        self.settle()
        standing = self.standing
        if isinstance(fact, SymptomFact) and _is_contradicted(fact, standing):
            raise ContradictionError(fact)
        if isinstance(fact, UndoFact) and not standing:
            raise ReadingError("there is nothing to take back")
        return self._take([fact])

    def tell_all(self, facts: Sequence[Fact]) -> Answer:
        """Tell several facts and keep them, all or none.

        Raises
        ------
        DiagnoseError
            As `tell` does, for the first that is refused.
        """
        self.settle()
        for fact in facts:
            if isinstance(fact, SymptomFact) and _is_contradicted(fact, self.standing):
                raise ContradictionError(fact)
        return self._take(facts)

    def stand(self, wanted: Sequence[Fact]) -> Answer:
        """Let the facts wanted stand, and no others: what came since is taken back.

        Parameters
        ----------
        wanted : Sequence[Fact]
            Those that stood before, oldest first.
        """
        self.settle()
        return self.answer if tuple(wanted) == self.standing else self._rewrite(wanted)

    def strike(self, number: int) -> Answer:
        """Strike out one standing fact, counted from 1.

        Raises
        ------
        ReadingError
            If there is no such fact.
        """
        self.settle()
        standing = list(self.standing)
        if not 1 <= number <= len(standing):
            raise ReadingError(f"there is no fact {number} to strike out")
        del standing[number - 1]
        return self._rewrite(standing)

    def replace(self, fact: SymptomFact) -> Answer:
        """Let a symptom hold as just told, in place of what was told before."""
        self.settle()
        kept = [
            other
            for other in self.standing
            if not (isinstance(other, SymptomFact) and other.symptom == fact.symptom)
        ]
        return self._rewrite([*kept, fact])

    def restore(self, rows: Sequence[FactRow]) -> tuple[str, ...]:
        """Tell the facts of an earlier evening again.

        Returns
        -------
        tuple[str, ...]
            Why facts were left out that this car or this program no longer takes;
            they are struck out in the journal too.
        """
        stored = standing_rows(rows)
        refused: list[str] = []
        try:
            # in one go: an answer after each would take minutes with hundreds of facts
            told = [fact_from_row(row) for row in stored]
            self.diagnosis.recall(told)
        except DiagnoseError:
            refused = self._retold(stored)
        if refused:
            undone: list[Fact] = [UndoFact() for _ in stored]
            rows = [fact_to_row(fact) for fact in (*undone, *self.standing)]
            self.journal.append(rows, standing=self.answer.advice.says)
        return tuple(refused)

    def _retold(self, stored: Sequence[FactRow]) -> list[str]:
        """Tell facts one by one; return why some are left out."""
        refused: list[str] = []
        for row in stored:
            try:
                self.diagnosis.tell(fact_from_row(row), at_once=self._at_once)
            except DiagnoseError as error:
                refused.append(str(error))
        return refused

    def _rewrite(self, wanted: Sequence[Fact]) -> Answer:
        """Take facts back until the rest agree with those wanted, then tell on."""
        before = self.standing
        shared = 0
        while shared < min(len(before), len(wanted)) and (
            before[shared] == wanted[shared]
        ):
            shared += 1
        told: list[Fact] = [UndoFact() for _ in before[shared:]]
        told.extend(wanted[shared:])
        return self._take(told)

    def _take(self, facts: Sequence[Fact]) -> Answer:
        """Keep facts, and then let them count; all or none."""
        is_mended = any(isinstance(fact, RepairFact) for fact in facts)
        considered = self.diagnosis.consider(
            facts, at_once=self._at_once and not is_mended
        )
        rows = [fact_to_row(fact) for fact in facts]
        try:
            self._begun = _Begun(
                considered=considered, kept_before=self.journal.settle()
            )
            self.journal.append(rows, standing=considered.answer.advice.says)
            self.settle()
        except BaseException:
            self.settle()
            raise
        return self.answer

    def settle(self) -> None:
        """Let what was interrupted count if the journal kept it, and else forget it.

        Raises
        ------
        StoreError
            If the disk does not say; it may be asked again.
        """
        begun = self._begun
        if begun is None:
            return
        if self.journal.settle() > begun.kept_before:
            self.diagnosis.take(begun.considered)
        self._begun = None


def _is_contradicted(fact: SymptomFact, standing: Sequence[Fact]) -> bool:
    """Return whether the same symptom stands the other way since the last repair."""
    for other in reversed(standing):
        if isinstance(other, RepairFact):
            return False
        if isinstance(other, SymptomFact) and other.symptom == fact.symptom:
            return other.is_present != fact.is_present
    return False
