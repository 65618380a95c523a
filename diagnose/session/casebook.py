"""The casebook: a diagnosis whose facts are kept, and can be struck out or replaced.

Every face works through it: a fact goes to the diagnosis, then to the journal, and only
then does anyone see what follows from it. Leaves the conclusions to `diagnosis`.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.errors import DiagnoseError, ReadingError
from diagnose.session.answer import Answer
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.fact_rows import fact_from_row, fact_to_row, standing_rows
from diagnose.session.facts import (
    Fact,
    RepairFact,
    SymptomFact,
    UndoFact,
    standing_facts,
)
from diagnose.store.case_store import FactRow
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
        the pauses.
    """

    def __init__(
        self, diagnosis: Diagnosis, journal: Journal, *, at_once: bool = False
    ) -> None:
        self.diagnosis = diagnosis
        self.journal = journal
        self._at_once = at_once

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
        """
        standing = self.standing
        if isinstance(fact, SymptomFact) and _is_contradicted(fact, standing):
            raise ContradictionError(fact)
        if isinstance(fact, UndoFact) and not standing:
            raise ReadingError("there is nothing to take back")
        answer = self._tell(fact)
        self._keep([fact])
        return answer

    def strike(self, number: int) -> Answer:
        """Strike out one standing fact, counted from 1.

        Raises
        ------
        ReadingError
            If there is no such fact.
        """
        standing = list(self.standing)
        if not 1 <= number <= len(standing):
            raise ReadingError(f"there is no fact {number} to strike out")
        del standing[number - 1]
        return self._rewrite(standing)

    def replace(self, fact: SymptomFact) -> Answer:
        """Let a symptom hold as just told, in place of what was told before."""
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
        for row in stored:
            try:
                self._tell(fact_from_row(row))
            except DiagnoseError as error:
                refused.append(str(error))
        if refused:
            undone: list[Fact] = [UndoFact() for _ in stored]
            self._keep([*undone, *self.standing])
        return tuple(refused)

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
        self._tell_all(told, before)
        self._keep(told)
        return self.answer

    def _tell_all(self, told: Sequence[Fact], before: Sequence[Fact]) -> None:
        """Tell facts, or put back those that stood before if one is refused."""
        try:
            for fact in told:
                self._tell(fact)
        except DiagnoseError:
            for _ in self.standing:
                self._tell(UndoFact())
            for fact in before:
                self._tell(fact)
            raise

    def _tell(self, fact: Fact) -> Answer:
        return self.diagnosis.tell(fact, at_once=self._at_once)

    def _keep(self, facts: Sequence[Fact]) -> None:
        self.journal.append(
            [fact_to_row(fact) for fact in facts], standing=self.answer.advice.says
        )


def _is_contradicted(fact: SymptomFact, standing: Sequence[Fact]) -> bool:
    """Return whether the same symptom stands the other way since the last repair."""
    for other in reversed(standing):
        if isinstance(other, RepairFact):
            return False
        if isinstance(other, SymptomFact) and other.symptom == fact.symptom:
            return other.is_present != fact.is_present
    return False
