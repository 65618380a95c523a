"""What the next line of a conversation answers, and what undo goes back to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from diagnose.session.advice.doubtful_readings import Doubt
from diagnose.session.facts import Fact, LimitFact, ReadingFact, TakesFact
from diagnose.session.words.wording import value_words


class Stage(Enum):
    """What the next line answers."""

    COMPLAINT = "complaint"
    CONTEXT = "context"
    WORK = "work"
    WHICH_HOLDS = "which holds"
    MEANT = "meant"


# Stages of a question that a line brought up: what is left when it is dropped.
ASIDE_STAGES = frozenset({Stage.WHICH_HOLDS, Stage.MEANT})

# What undo says of a line that told nothing.
STEP_AGAIN = "the step before is on the page again"
QUESTION_AGAIN = "the question is open again"


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """Where a conversation stood before a line, for `undo`.

    Parameters
    ----------
    standing : tuple[Fact, ...]
        The facts that counted.
    stage : Stage
    questions : tuple[str, ...]
        The questions about the history still to be asked.
    step_index : int or None
        The step on the page.
    """

    standing: tuple[Fact, ...]
    stage: Stage
    questions: tuple[str, ...]
    step_index: int | None


def meant_fact(doubt: Doubt) -> ReadingFact:
    """Return the reading that was meant, with how it was typed."""
    assert doubt.meant is not None
    told = doubt.told
    if told.told_as:
        return doubt.meant
    words = value_words(told.value, told.reading.kind)
    if told.reading.state != doubt.meant.reading.state:
        words = f"{words} {told.reading.state}"
    return replace(doubt.meant, told_as=words)


def latest_reading(standing: Sequence[Fact]) -> ReadingFact | None:
    """Return the reading told last; None where none was."""
    told = (fact for fact in reversed(standing) if isinstance(fact, ReadingFact))
    return next(told, None)


def has_begun(standing: Sequence[Fact]) -> bool:
    """Return whether anything was told but what the owner lacks."""
    return not all(isinstance(fact, LimitFact | TakesFact) for fact in standing)


def undone_words(
    before: Sequence[str], after: Sequence[str], *, is_step: bool
) -> tuple[str, ...]:
    """Return what a line taken back had told, and what counts again without it.

    Parameters
    ----------
    before, after : Sequence[str]
        The facts that counted with the line and that count now, in words.
    is_step : bool
        A line that told nothing had only brought another step on the page.
    """
    undone = [one for one in before if one not in after]
    back = [f"back again: {one}" for one in after if one not in before]
    if not undone and not back:
        return (STEP_AGAIN if is_step else QUESTION_AGAIN,)
    return (*undone, *back)
