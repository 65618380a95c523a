"""The page of an answer: where the diagnosis stands, and the one step to take.

Draws no conclusions; everything shown stands in the answer already. One decision fits
on one screen: four causes, one step, two others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from diagnose.paperwork.drawing.path_rows import PathRow
from diagnose.session.answer import Advice, Answer, ProposedStep, Verdict
from diagnose.session.words.vocabulary import Vocabulary
from diagnose.terminal.pages.cautions import (
    MEASURING,
    MENDING,
    caution_keys,
    caution_lines,
    whole_cautions,
)
from diagnose.terminal.pages.page import Field, Page, Paragraph, Tone, Words
from diagnose.terminal.pages.paths import path_beside
from diagnose.terminal.pages.steps import other_steps, step_page
from diagnose.terminal.pages.suspects import listed, suspects
from diagnose.terminal.reading_kinds import key_words

# How the advice to mend begins; a page has it in the margin.
MEND_NOW = "Mend it now: "

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
    path: Sequence[PathRow] = (),
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
        What `shown_cautions` gave of the pages before: a caution read in full for the
        same kind of work comes again in one line.
    vocabulary : Vocabulary
        The names of this car.
    path : Sequence[PathRow]
        That of the reading in hand, for where there is room beside it.
    """
    briefs = vocabulary.caution_briefs
    step = _shown_step(answer, step_index)
    told = _advice_told(answer, step)
    page = [*_doubts(answer)]
    if told is not None:
        page.extend(
            whole_cautions(told.cautions, seen_cautions, work=MENDING, briefs=briefs)
        )
    if step is not None:
        page.extend(
            whole_cautions(step.cautions, seen_cautions, work=MEASURING, briefs=briefs)
        )
    if answer.causes and answer.advice.verdict is not Verdict.FIXED:
        page.append(suspects(answer))
        if path:
            page.append(path_beside(path))
    if told is not None:
        page.extend(_advice(told, briefs))
    if step is not None:
        page.extend(step_page(step, ranking=listed(answer), briefs=briefs))
    others = other_steps(answer, step, vocabulary)
    keys = Field(name="type", text=_keys(answer, step), tone=Tone.ASIDE)
    is_close = step is not None or bool(others)
    last = Paragraph(margin="", lines=(keys,), brief=(), is_close=is_close)
    return (*page, *others, last)


def cautions_page(answer: Answer, step_index: int | None) -> Page:
    """Return the cautions of the step and of the advice in full."""
    cautions = answer.advice.cautions
    step = _shown_step(answer, step_index)
    if step is not None:
        cautions = (*cautions, *step.cautions)
    lines = tuple(
        Words(text=caution, tone=Tone.CAUTION) for caution in dict.fromkeys(cautions)
    )
    return (
        Paragraph(
            margin="caution",
            lines=lines or (Words(text="this step has no caution of its own"),),
        ),
    )


def shown_cautions(answer: Answer, step_index: int | None) -> frozenset[str]:
    """Return the cautions that `answer_page` shows, with the work each was read for."""
    step = _shown_step(answer, step_index)
    told = _advice_told(answer, step)
    mending = caution_keys(told.cautions if told else (), MENDING)
    measuring = caution_keys(step.cautions if step else (), MEASURING)
    return frozenset((*mending, *measuring))


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


def _advice_told(answer: Answer, step: ProposedStep | None) -> Advice | None:
    """Return the advice where it says more than to take the step on the page.

    Its cautions are left out where the step has them: the step is what it advises.
    """
    advice = answer.advice
    is_told = advice.verdict is not Verdict.OPEN or not answer.causes
    if not advice.says or not (is_told or step is None):
        return None
    if step is None or advice.verdict is Verdict.REPAIR:
        return advice
    own = tuple(one for one in advice.cautions if one not in step.cautions)
    return replace(advice, cautions=own)


def _advice(advice: Advice, briefs: Mapping[str, str]) -> tuple[Paragraph, ...]:
    """Return the advice after its cautions."""
    tone = _ADVICE_TONES.get(advice.verdict, Tone.PLAIN)
    name = "mend" if advice.verdict is Verdict.REPAIR else "advice"
    lines = (
        *caution_lines(advice.cautions, briefs),
        Field(name=name, text=_without_name(advice.says), tone=tone),
        *([Field(name="place", text=advice.where)] if advice.where else []),
        *_after_repair(advice),
    )
    return (Paragraph(margin="", lines=lines),)


def _without_name(says: str) -> str:
    """Return an advice without the word that the margin has."""
    bare = says.removeprefix(MEND_NOW)
    return bare if bare == says else f"{bare[:1].upper()}{bare[1:]}"


def _after_repair(advice: Advice) -> tuple[Field, ...]:
    """Return what to type when a repair that is advised is done."""
    if advice.verdict is not Verdict.REPAIR:
        return ()
    return (Field(name="then", text="when it is mended type done", tone=Tone.ASIDE),)


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
        keys.append("why" if step is not None else "why 1")
    return ", ".join([*keys, "undo", "help", "leave"])


def _answer_keys(step: ProposedStep) -> str:
    """Return what answers a step."""
    return "yes or no" if step.reading is None else key_words(step.reading.kind)
