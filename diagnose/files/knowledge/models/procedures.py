"""How each kind of reading is taken."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import KnowledgeEntry, SourcedEntry
from diagnose.files.knowledge.models.terms import spoken_term
from diagnose.measurement.procedures import Procedure


class ProcedureEntry(SourcedEntry):
    """One procedure."""

    act: Text
    how: Text
    car: Text | None = None
    is_minded: bool = False
    lasts: Text
    spoils: Text
    caution: Key | None = None

    def procedure(self, name: str) -> Procedure:
        """Return the procedure."""
        return Procedure(
            name=name,
            act=self.act,
            how=self.how,
            car=self.car or "",
            lasts=self.lasts,
            spoils=self.spoils,
            caution=self.caution or "",
            is_minded=self.is_minded,
        )


class ProceduresFile(KnowledgeEntry):
    """``procedures.yaml``."""

    procedures: dict[Key, ProcedureEntry]

    def by_words(self, cautions: Mapping[str, str]) -> dict[str, str]:
        """Return what each procedure says, its caution first, by the words for it.

        Parameters
        ----------
        cautions : Mapping[str, str]
            Key to the words of a caution.
        """
        return {
            spoken_term(name): entry.procedure(name).told(
                cautions[entry.caution] if entry.caution else ""
            )
            for name, entry in self.procedures.items()
        }
