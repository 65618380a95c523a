"""What the next line of a conversation answers, and what undo goes back to.

Of the history only that is asked which was not told already. What comes and goes is
asked when it comes: that is no context but a sign of what brings it, so its answer is
told as one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from diagnose.session.advice.doubtful_readings import Doubt
from diagnose.session.facts import (
    ContextFact,
    Fact,
    LimitFact,
    ReadingFact,
    SymptomFact,
    TakesFact,
)
from diagnose.session.words.vocabulary import Vocabulary
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

# Typed at a question that a line brought up, to drop that line.
UNDO = "undo"

# What undo says of a line that told nothing.
STEP_AGAIN = "the step before is on the page again"
QUESTION_AGAIN = "the question is open again"

# How it began, and the answer that it comes and goes. Names of contexts.yaml.
BEGAN, COMES_AND_GOES = "began", "comes_and_goes"

# The question when it comes, asked after that answer.
WHEN = "when"
WHEN_ASKS = "When does it come?"


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


def history_asked(question: str, vocabulary: Vocabulary) -> tuple[str, tuple[str, ...]]:
    """Return the words of a question, and its answers.

    Parameters
    ----------
    question : str
        Name of a context, or `WHEN`.
    vocabulary : Vocabulary
        The names of this car.
    """
    if question == WHEN:
        return WHEN_ASKS, tuple(vocabulary.whens.values())
    return vocabulary.contexts[question]


def history_told(question: str, number: int, vocabulary: Vocabulary) -> Fact:
    """Return the fact that an answer tells, by its number from 0."""
    if question == WHEN:
        return SymptomFact(symptom=tuple(vocabulary.whens)[number], is_present=True)
    answer = vocabulary.contexts[question][1][number]
    return ContextFact(context=question, answer=answer)


def history_to_ask(
    complaint: str, contexts: Iterable[str], vocabulary: Vocabulary
) -> list[str]:
    """Return what is asked after a complaint.

    Parameters
    ----------
    complaint : str
        Its name. One about a sign of what comes and goes says how it began, and maybe
        when it comes.
    contexts : Iterable[str]
        The contexts that would tell enough.
    vocabulary : Vocabulary
        The names of this car.
    """
    symptom = vocabulary.retests.get(complaint, "")
    if symptom not in vocabulary.signs:
        return list(contexts)
    others = [one for one in contexts if one != BEGAN]
    return _with_when(others, {symptom}, vocabulary)


def history_left(
    fact: ContextFact, questions: Iterable[str], vocabulary: Vocabulary
) -> list[str]:
    """Return what is left to ask after an answer; of what comes and goes, when."""
    left = list(questions)
    if fact == ContextFact(context=BEGAN, answer=COMES_AND_GOES):
        return _with_when(left, (), vocabulary)
    return left


def _with_when(
    questions: list[str], told: Collection[str], vocabulary: Vocabulary
) -> list[str]:
    """Return questions after the one when it comes, unless that was told."""
    if not vocabulary.whens or vocabulary.whens.keys() & set(told):
        return questions
    return [WHEN, *questions]
