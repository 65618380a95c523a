"""What the words behind a command ask for: a page to show, or to leave.

One function for each command that asks for something and tells nothing.
"""

from __future__ import annotations

from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SymptomCheck
from diagnose.terminal.dialogue.typed.desk import (
    Desk,
    MistypedError,
    cause_name,
    leads,
    listed_states,
    split_at_state,
    split_off_kind,
    step_of_letter,
)
from diagnose.terminal.dialogue.typed.requests import Leave, Request, Show, View
from diagnose.terminal.names import known_name
from diagnose.terminal.pages.steps import STEP_LETTERS


def why(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``why``, of the step in hand, of a letter, a cause or a reading."""
    if len(words) > 1:
        return expect(words, desk)
    letter = words[0].lower() if words else ""
    if letter in STEP_LETTERS:
        return Show(view=View.WORTH, step=step_of_letter(letter, desk).step)
    if not words and desk.step is not None:
        return Show(view=View.WORTH, step=desk.step.step)
    return Show(view=View.WHY, about=cause_name(words[0] if words else "1", desk))


def expect(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``expect [KIND] NODE [NODE] STATE``, or nothing."""
    if not words:
        if desk.step is None:
            raise MistypedError
        return Show(view=View.EXPECT, step=desk.step.step)
    if len(words) == 1:
        return _expect_symptom(words[0], desk)
    asked, words = split_off_kind(words)
    nodes, state, rest = split_at_state(words, desk)
    if rest:
        raise MistypedError
    kind = asked or ReadingKind.DC_VOLTS
    red, black = leads(kind, nodes, desk)
    reading = Reading(kind=kind, state=state, red=red, black=black)
    return Show(view=View.EXPECT, step=reading)


def _expect_symptom(typed: str, desk: Desk) -> Request:
    """Understand ``expect SYMPTOM``; a test point alone lacks its state."""
    vocabulary = desk.vocabulary
    lowered = typed.lower()
    is_symptom = any(name.lower().startswith(lowered) for name in vocabulary.symptoms)
    points = [name for name in vocabulary.nodes if name.lower().startswith(lowered)]
    if points and not is_symptom:
        known = listed_states(vocabulary.states)
        raise MistypedError(before=f"the operating state is missing; {known}")
    name = known_name(typed, vocabulary.symptoms, "symptom")
    return Show(view=View.EXPECT, step=SymptomCheck(symptom=name))


def what(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``what is TERM``; alone it lists the terms."""
    asked = " ".join(words).lower().replace("-", " ").strip(" ?")
    for before in ("is a ", "is an ", "is the ", "is ", "are "):
        if asked.startswith(before):
            asked = asked.removeprefix(before)
            break
    if asked in ("", "is"):
        return Show(view=View.TERM)
    return Show(view=View.TERM, about=known_name(asked, desk.vocabulary.terms, "term"))


def path(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``path [NODE [NODE]]``: of points, else of the reading in hand."""
    nodes = desk.vocabulary.nodes
    if words:
        if len(words) > 2:
            raise MistypedError
        named = [known_name(word, nodes, "test point") for word in words]
        return Show(view=View.PATH, leads=(named[0], named[1] if named[1:] else ""))
    reading = None if desk.step is None else desk.step.reading
    if reading is None:
        raise MistypedError(before="no reading is asked for just now.")
    return Show(view=View.PATH, leads=(reading.red, reading.black))


def show(_words: tuple[str, ...], _desk: Desk, *, view: View) -> Request:
    """Return the request for a page that needs no words behind its command."""
    return Show(view=view)


def leave(_words: tuple[str, ...], _desk: Desk) -> Request:
    """Understand ``leave``."""
    return Leave()
