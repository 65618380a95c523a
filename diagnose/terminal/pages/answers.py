"""The page of an answer: where the diagnosis stands, and the one step to take.

Draws no conclusions; everything shown stands in the answer already. One decision fits
on one screen: four causes, one step, two others.
"""

from __future__ import annotations

from types import MappingProxyType

from diagnose.session.answer import Advice, Answer, ProposedStep, Verdict
from diagnose.session.vocabulary import Vocabulary
from diagnose.terminal.pages.cautions import (
    MENDING,
    caution_keys,
    caution_lines,
    work_of,
)
from diagnose.terminal.pages.page import Page, Paragraph, Tone, Words
from diagnose.terminal.pages.steps import other_steps, step_page
from diagnose.terminal.pages.suspects import listed, suspects
from diagnose.terminal.reading_kinds import key_words

# How an advice is shown that is more than one of several steps.
_ADVICE_TONES = MappingProxyType(
    {
        Verdict.REPAIR: Tone.STRONG,
        Verdict.PROVE: Tone.STRONG,
        Verdict.FIXED: Tone.GOOD,
        Verdict.NOTHING_FITS: Tone.PROBLEM,
        Verdict.STOP: Tone.PROBLEM,
    }
)


def answer_page(
    answer: Answer,
    *,
    step_index: int | None,
    seen_cautions: frozenset[str],
    vocabulary: Vocabulary,
) -> Page:
    """Return where the diagnosis stands and the one step to take.

    Parameters
    ----------
    answer : Answer
        The latest answer.
    step_index : int or None
        Which of the proposed steps is shown in full, from 0; None where a repair comes
        first.
    seen_cautions : frozenset[str]
        What `shown_cautions` gave of the pages before: of a caution read in full for
        the same kind of work, only the first sentence comes again.
    vocabulary : Vocabulary
        The names of this car.
    """
    page = [*_doubts(answer)]
    if answer.causes and answer.advice.verdict is not Verdict.FIXED:
        page.append(suspects(answer))
    step = _shown_step(answer, step_index)
    is_told = answer.advice.verdict is not Verdict.OPEN or not answer.causes
    if is_told or step is None:
        repeated = step.cautions if step is not None else ()
        if answer.advice.verdict is Verdict.REPAIR:
            repeated = ()  # the repair comes first: its cautions stand before it
        page.extend(_advice(answer.advice, seen_cautions, repeated))
        here = frozenset(answer.advice.cautions).difference(repeated)
        if step is not None:
            seen_cautions |= frozenset(caution_keys(here, work_of(step)))
    if step is not None:
        ranking = listed(answer)
        page.extend(step_page(step, seen_cautions=seen_cautions, ranking=ranking))
    others = other_steps(answer, step, vocabulary)
    keys = Words(text=_keys(answer, step), tone=Tone.ASIDE)
    is_close = step is not None or bool(others)
    return (*page, *others, Paragraph(margin="type", lines=(keys,), is_close=is_close))


def cautions_page(answer: Answer, step_index: int | None) -> Page:
    """Return the cautions of the step and of the advice in full."""
    cautions = answer.advice.cautions
    step = _shown_step(answer, step_index)
    if step is not None:
        cautions = (*cautions, *step.cautions)
    lines = caution_lines(tuple(dict.fromkeys(cautions)), frozenset(), work="")
    return (
        Paragraph(
            margin="caution",
            lines=lines or (Words(text="this step has no caution of its own"),),
        ),
    )


def shown_cautions(answer: Answer, step_index: int | None) -> frozenset[str]:
    """Return the cautions that `answer_page` shows, with the work each was read for."""
    step = _shown_step(answer, step_index)
    told = caution_keys(answer.advice.cautions, MENDING)
    if step is None:
        return frozenset(told)
    return frozenset((*told, *caution_keys(step.cautions, work_of(step))))


def _shown_step(answer: Answer, step_index: int | None) -> ProposedStep | None:
    """Return the step that a page shows in full."""
    if step_index is None or answer.advice.verdict is Verdict.FIXED:
        return None
    steps = answer.next_steps
    return steps[step_index] if step_index < len(steps) else None


def _doubts(answer: Answer) -> tuple[Paragraph, ...]:
    """Return what to be careful about before believing the ranking."""
    lines = tuple(Words(text=note) for note in answer.notes)
    return (Paragraph(margin="mind", lines=lines),) if lines else ()


def _advice(
    advice: Advice, seen_cautions: frozenset[str], repeated: tuple[str, ...]
) -> tuple[Paragraph, ...]:
    """Return the advice after its cautions; those repeated with the step come there."""
    if not advice.says:
        return ()
    tone = _ADVICE_TONES.get(advice.verdict, Tone.PLAIN)
    own = tuple(caution for caution in advice.cautions if caution not in repeated)
    lines = (
        *caution_lines(own, seen_cautions, work=MENDING),
        Words(text=advice.says, tone=tone),
        *_after_repair(advice),
    )
    return (Paragraph(margin="advice", lines=lines),)


def _after_repair(advice: Advice) -> tuple[Words, ...]:
    """Return what to type when a repair that is advised is done."""
    if advice.verdict is not Verdict.REPAIR:
        return ()
    return (Words(text="When it is mended, type: done", tone=Tone.ASIDE),)


def _keys(answer: Answer, step: ProposedStep | None) -> str:
    """Return what can be typed now, in one line."""
    if answer.advice.verdict is Verdict.FIXED:
        return "leave, or facts, causes, undo, help"
    if not answer.causes and not answer.next_steps:
        return "complaint, symptom fan (lists those about the fan), help, leave"
    keys = []
    if step is not None:
        keys += [_answer_keys(step), "skip"]
    if answer.advice.verdict is Verdict.REPAIR:
        keys.append("done")
    if step is None and answer.next_steps:
        keys.append("a (to measure more first)")
    if answer.causes:
        keys.append("why 1")
    return ", ".join([*keys, "undo", "help", "leave"])


def _answer_keys(step: ProposedStep) -> str:
    """Return what answers a step."""
    return "yes or no" if step.reading is None else key_words(step.reading.kind)
