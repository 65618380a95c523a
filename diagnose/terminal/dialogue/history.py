"""Questions about the history, each asked only where it was not told already.

What comes and goes is asked when it comes: that is no context but a sign of what brings
it, so its answer is told as one. Leaves the page to `questions`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from diagnose.session.facts import ContextFact, Fact, SymptomFact
from diagnose.session.vocabulary import Vocabulary

# How it began, and the answer that it comes and goes. Names of contexts.yaml.
BEGAN, COMES_AND_GOES = "began", "comes_and_goes"

# The question when it comes, asked after that answer.
WHEN = "when"
WHEN_ASKS = "When does it come?"


def asked(question: str, vocabulary: Vocabulary) -> tuple[str, tuple[str, ...]]:
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


def answered(question: str, number: int, vocabulary: Vocabulary) -> Fact:
    """Return the fact that an answer tells, by its number from 0."""
    if question == WHEN:
        return SymptomFact(symptom=tuple(vocabulary.whens)[number], is_present=True)
    answer = vocabulary.contexts[question][1][number]
    return ContextFact(context=question, answer=answer)


def to_ask(
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


def left_to_ask(
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
