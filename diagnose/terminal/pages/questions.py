"""Pages that ask, or list what can be told: complaints, history, symptoms, commands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from diagnose.terminal.pages.complaints import OF_PARTS, TELL_SYMPTOM
from diagnose.terminal.pages.page import (
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
    numbered,
    say,
    spoken,
)

if TYPE_CHECKING:
    from diagnose.session.words.vocabulary import Vocabulary


def opening_page(car_title: str, case: str, safety_note: str) -> Page:
    """Return the first page: the car, the case, and the safety note."""
    about = f"{car_title}; case {case}" if case else car_title
    return (
        say("car", about, Tone.STRONG),
        say("first", safety_note, Tone.CAUTION),
    )


def context_page(question: str, answers: Sequence[str]) -> Page:
    """Return one question about the car's history, with numbered answers."""
    return choice_page(
        "history",
        question,
        choices=tuple(spoken(answer) for answer in answers),
        hint="type its number; Enter alone: don't know; skip all: no more of these",
    )


def symptoms_page(vocabulary: Vocabulary, about: str) -> Page:
    """Return the symptoms about something, or every one, with their questions."""
    wanted = about.lower()
    parts = vocabulary.part_symptoms
    pairs = tuple(
        Pair(name=name, text=question)
        for name, question in vocabulary.seen.items()
        if (wanted or name not in parts) and wanted in f"{name} {question}".lower()
    )
    if not pairs:
        return (say("symptoms", f'none is about "{about}"; for all: symptom'),)
    return (
        Paragraph(margin="symptoms", lines=pairs),
        say("", TELL_SYMPTOM, Tone.ASIDE),
        *([] if wanted or not parts else [say("", OF_PARTS, Tone.ASIDE)]),
    )


def choice_page(
    margin: str, question: str, *, choices: Sequence[str], hint: str
) -> Page:
    """Return any question with numbered answers."""
    return (
        Paragraph(
            margin=margin,
            lines=(
                Words(text=question, tone=Tone.STRONG),
                *numbered(choices),
                Words(text=hint, tone=Tone.ASIDE),
            ),
        ),
    )


def which_page(question: str, *, now: bool) -> Page:
    """Return which of two answers to a symptom holds; `now` is the latest."""
    after, before = ("yes", "no") if now else ("no", "yes")
    return choice_page(
        "which",
        f"{question} You said {before} before. Which holds?",
        choices=(f"{before}, as before", f"{after}, as just typed"),
        hint="type its number; Enter alone: as before",
    )


def meant_page(told: str, meant: str, because: str) -> Page:
    """Return the question whether a reading was meant as it was typed.

    Parameters
    ----------
    told, meant : str
        As it was typed, and what was more likely read; empty where nothing is.
    because : str
        What makes the one of the other.
    """
    if not meant:
        says = (
            f"{told}: no fault of this car gives that. Look where both leads are and "
            "what the car is doing, and take it again."
        )
        hint = "type the number again: it is then believed; Enter alone: forget it"
        hint_line = (Words(text=hint, tone=Tone.ASIDE),)
        return (
            say("sure?", says, Tone.STRONG),
            Paragraph(margin="", lines=hint_line, is_close=True),
        )
    if meant == told:
        return choice_page(
            "sure?",
            f"Did you mean {meant} ({because})?",
            choices=(),
            hint="Enter alone: yes; or type the reading",
        )
    return choice_page(
        "sure?",
        f"Did you mean {meant}?",
        choices=(f"{meant} ({because})", f"{told}, as typed"),
        hint="type its number; Enter alone: the first; or type the reading anew",
    )


def term_page(vocabulary: Vocabulary, term: str) -> Page:
    """Return what a word of the pages means; without one, which can be asked."""
    if term:
        return (say("term", f"{term}: {vocabulary.terms[term]}"),)
    meant: dict[str, str] = {}
    for name, says in vocabulary.terms.items():
        meant.setdefault(says, name)
    names = ", ".join(sorted(meant.values()))
    return (
        say("terms", names),
        say("", "ask for one by: what is feed end", Tone.ASIDE),
    )


def help_page(commands: Sequence[tuple[str, str]]) -> Page:
    """Return the short answers and every command.

    Parameters
    ----------
    commands : Sequence[tuple[str, str]]
        How each is typed, and what it does.
    """
    short = (
        Pair(name="12.4", text="what the meter shows: answers the step on the page"),
        Pair(name="yes, no", text="answers a question; y and n will do"),
        Pair(name="blown, sound", text="answers a look at a fuse"),
        Pair(name="a, b, c", text="take a step by its letter instead of the first"),
    )
    typed = tuple(Pair(name=usage, text=says) for usage, says in commands)
    return (
        Paragraph(margin="answers", lines=short),
        Paragraph(margin="commands", lines=typed),
        say(
            "",
            "the start of a name is enough; Tab completes; Ctrl-C clears the line; "
            "Ctrl-D saves and leaves",
            Tone.ASIDE,
        ),
    )
