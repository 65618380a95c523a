"""A step on a page: cautions first, then how to do it, then what it would show.

Leaves which step it is to `answers`.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.measurement.steps import SubstitutionTest
from diagnose.session.answer import (
    Answer,
    ExpectedValue,
    ProposedStep,
    RankedCause,
    Verdict,
)
from diagnose.session.vocabulary import Vocabulary
from diagnose.session.wording import substitution_words
from diagnose.terminal.pages.cautions import caution_lines, work_of
from diagnose.terminal.pages.page import (
    Line,
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
    spoken,
)
from diagnose.units import format_minutes

# The proposed step and two others: ``a`` is the one that answers are about first.
STEP_LETTERS = ("a", "b", "c")

# Values that a step may show, on its page. Own choice: with the suspects they fit on a
# screen of thirty lines.
SHOWN_EXPECTED = 5


def step_page(
    step: ProposedStep,
    *,
    seen_cautions: frozenset[str],
    ranking: Sequence[RankedCause],
) -> Page:
    """Return one step: cautions, then how to do it, then what to expect.

    Parameters
    ----------
    step : ProposedStep
        What to do.
    seen_cautions : frozenset[str]
        As in `answer_page`.
    ranking : Sequence[RankedCause]
        The causes on the page, whose numbers stand before what they would give.
    """
    doing: list[Line] = list(
        caution_lines(step.cautions, seen_cautions, work=work_of(step))
    )
    doing.append(Words(text=step.instruction, tone=Tone.STRONG))
    doing.append(Words(text=_cost(step), tone=Tone.ASIDE))
    expected = _expected(step.expected[:SHOWN_EXPECTED], ranking)
    margin = "measure" if step.reading else "look for"
    if isinstance(step.step, SubstitutionTest):
        margin = "try"
    page = [Paragraph(margin=margin, lines=tuple(doing))]
    if expected:
        page.append(Paragraph(margin="shows", lines=expected, is_close=True))
    return tuple(page)


def other_steps(
    answer: Answer, shown: ProposedStep | None, vocabulary: Vocabulary
) -> tuple[Paragraph, ...]:
    """Return the other steps, by letter."""
    if answer.advice.verdict is Verdict.FIXED:
        return ()
    others = tuple(
        Pair(name=letter, text=step_words(step, vocabulary))
        for letter, step in zip(STEP_LETTERS, answer.next_steps, strict=False)
        if step is not shown
    )
    return (Paragraph(margin="or", lines=others, is_close=True),) if others else ()


def step_words(step: ProposedStep, vocabulary: Vocabulary) -> str:
    """Return a step in one line, for a choice."""
    reading = step.reading
    if isinstance(step.step, SubstitutionTest):
        changed = substitution_words(step.step.substitution)
        seen = reading.red if reading else spoken(step.step.look.name.split("|")[-1])
        return f"{changed}: {seen}? ({format_minutes(step.minutes)})"
    if reading is None:
        return f"{step.instruction} ({format_minutes(step.minutes)})"
    at = f"{reading.kind.value} at {reading.red}"
    if reading.black not in ("", vocabulary.reference):
        at = f"{reading.kind.value} from {reading.red} to {reading.black}"
    return f"{at}, {spoken(step.state)} ({format_minutes(step.minutes)})"


def _expected(
    values: Sequence[ExpectedValue], ranking: Sequence[RankedCause]
) -> tuple[Pair, ...]:
    """Return what a step shows, with all that would show the same on one line."""
    alike: dict[str, list[ExpectedValue]] = {}
    for value in values:
        alike.setdefault(value.words, []).append(value)
    return tuple(
        Pair(name=words, text=_whose_words(group, ranking))
        for words, group in alike.items()
    )


def _whose_words(group: Sequence[ExpectedValue], ranking: Sequence[RankedCause]) -> str:
    """Return whose value it is; among several, suspects go by their numbers."""
    numbered = {
        member: number
        for number, cause in enumerate(ranking, start=1)
        for member in cause.members
    }
    numbers = sorted(
        numbered[value.cause] for value in group if value.cause in numbered
    )
    others = [value.says for value in group if value.cause not in numbered]
    if len(group) == 1 and numbers:
        return f"{numbers[0]}. {group[0].says}"
    if numbers:
        one_or_more = "suspect" if len(numbers) == 1 else "suspects"
        others.append(f"{one_or_more} {', '.join(map(str, numbers))}")
    return "; ".join(others)


def _cost(step: ProposedStep) -> str:
    """Return what a step costs, and why it is proposed."""
    cost = format_minutes(step.minutes)
    return f"{cost}; {step.reason}" if step.reason else cost
