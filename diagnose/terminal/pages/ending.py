"""The end of a case: what was wrong, what proved it, what it took, what it is for."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.session.answer import Answer
from diagnose.session.casebook import Casebook
from diagnose.session.facts import Fact, ReadingFact, RepairFact, SymptomFact
from diagnose.terminal.pages.page import Field, Page, Paragraph, Tone, say


def ending(casebook: Casebook, answer: Answer) -> Page:
    """Return how a proven case ended; nothing where nothing was mended.

    Parameters
    ----------
    casebook : Casebook
    answer : Answer
        Its latest, with the words of every standing fact.
    """
    standing = casebook.standing
    repairs = [n for n, fact in enumerate(standing) if isinstance(fact, RepairFact)]
    if not repairs:
        return ()
    says = casebook.diagnosis.vocabulary.causes
    names = [fact.cause for fact in standing if isinstance(fact, RepairFact)]
    proofs = [
        words
        for fact, words in zip(standing, answer.facts, strict=True)
        if isinstance(fact, ReadingFact | SymptomFact)
    ]
    since = sum(
        isinstance(fact, ReadingFact | SymptomFact) for fact in standing[repairs[-1] :]
    )
    lines = [
        Field(name="wrong", text=says.get(names[-1], names[-1])),
        Field(name="proof", text="; ".join(proofs[len(proofs) - since :])),
        Field(name="took", text=_took(standing)),
        Field(name="learning", text=_counts(casebook)),
    ]
    before = list(dict.fromkeys(says.get(n, n) for n in names[:-1] if n != names[-1]))
    if before:
        lines.insert(1, Field(name="mended", text=f"before it: {'; '.join(before)}"))
    return (Paragraph(margin="", lines=tuple(lines)),)


def farewell(name: str, kept_where: str) -> Page:
    """Return the last page: whether the case is kept, and how to go on.

    Parameters
    ----------
    name : str
        Of the case; empty where it is not kept.
    kept_where : str
        Options that a resume of the case needs, such as where cases are kept.
    """
    if not name:
        return (say("end", "This case is not saved.", Tone.PROBLEM),)
    command = f"diagnose resume {name} {kept_where}".rstrip()
    return (say("end", f"Case {name} is kept. Go on by: {command}"),)


def _took(standing: Sequence[Fact]) -> str:
    """Return how much was read, seen and mended."""
    kinds = (
        (ReadingFact, "reading", "readings"),
        (SymptomFact, "thing seen or heard", "things seen or heard"),
        (RepairFact, "repair", "repairs"),
    )
    told = []
    for kind, one, several in kinds:
        count = sum(isinstance(fact, kind) for fact in standing)
        if count:
            told.append(f"{count} {one if count == 1 else several}")
    return ", ".join(told)


def _counts(casebook: Casebook) -> str:
    """Return whether the case counts for learning."""
    if not casebook.journal.is_saved:
        return "this case is not saved, so it does not count"
    if not casebook.diagnosis.is_closed():
        return "it does not count: the complaint was not tested after the last repair"
    return "it counts as a closed case when you next run: diagnose learn"
