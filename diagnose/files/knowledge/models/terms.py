"""The words of the pages, told on request."""

from __future__ import annotations

from pydantic import Field

from diagnose.files.grammar import Key, Text
from diagnose.files.knowledge.models.entries import KnowledgeEntry, SourcedEntry


def spoken_term(name: str) -> str:
    """Return a term as it is asked for: small letters, spaces for hyphens."""
    return name.replace("-", " ").lower()


class TermEntry(SourcedEntry):
    """One term in one sentence."""

    says: Text
    also: list[Text] = Field(default_factory=list)


class TermsFile(KnowledgeEntry):
    """``terms.yaml``."""

    terms: dict[Key, TermEntry]

    def by_words(self) -> dict[str, str]:
        """Return what each term says, under every word it is asked by."""
        return {
            spoken_term(words): entry.says
            for name, entry in self.terms.items()
            for words in (name, *entry.also)
        }
