"""Understands a typed line: a command, a letter, or the answer to the step in hand.

Without a screen and without conclusions: what comes back is a request.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import MappingProxyType

from diagnose.errors import ReadingError, nearest
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import SubstitutionTest, SymptomCheck
from diagnose.session.answer import ProposedStep
from diagnose.session.facts import ReadingFact, SubstitutionFact, SymptomFact
from diagnose.terminal.dialogue.typed.commands import COMMANDS, Command
from diagnose.terminal.dialogue.typed.desk import (
    Desk,
    MistypedError,
    step_of_letter,
    trailing_state,
)
from diagnose.terminal.dialogue.typed.requests import Request, Show, TakeUp, Tell, View
from diagnose.terminal.dialogue.typed.typed_facts import (
    YES_OR_NO,
    reading_fact,
    tell_symptom,
)
from diagnose.terminal.dialogue.typed.while_shown import (
    JOINING,
    split_off_while,
    told_while,
)
from diagnose.terminal.pages.steps import STEP_LETTERS
from diagnose.terminal.reading_kinds import (
    ANSWER_WORDS,
    answer_words,
    kind_and_value,
)
from diagnose.terminal.safe_text import clean
from diagnose.typed_readings import NOTHING_WORDS, parse_measured
from diagnose.units import Unit

# Words that answer a step, so that none of them is taken for the start of a command.
ANSWERS = ANSWER_WORDS | frozenset(YES_OR_NO) | NOTHING_WORDS

# Words for a reading that is what the one before was.
SAME_WORDS = frozenset(("same", "the same", "unchanged"))

# How an answer may begin that is a sentence: "it's fine", "they are lit".
_OPENING = frozenset(
    ("it", "it's", "its", "is", "that", "that's", "they", "they're", "are")
)

# What a person says he did, and the command that tells it.
DONE = MappingProxyType(
    {"bridged": "bridge", "jumped": "bridge", "swapped": "swap", "unplugged": "unplug"}
)

# The word between a value and where it was read: ``12.4 at NODE``.
_AT = "at"

# What a typed value may begin with: a sign, a digit, a decimal point or comma, or the
# sign of an over-range resistance.
_NUMBER_STARTS = "+-.,0123456789∞−–"


def understand(line: str, desk: Desk) -> Request:
    """Return what a line asks for.

    Parameters
    ----------
    line : str
        As typed: a command, a number, a yes, a letter; nothing shows the page again.
    desk : Desk
        What the line can refer to.

    Raises
    ------
    ReadingError
        If the line can't be understood; the message says what can.
    """
    words = clean(line).split()
    if not words:
        return Show(view=View.PAGE)
    if _command_for(words[0].lower()) in (None, COMMANDS["read"]):
        reading, shows = split_off_while(words)
        if shows is not None:
            return told_while(_understood(reading, desk), shows=shows)
    return _understood(words, desk)


def _understood(words: Sequence[str], desk: Desk) -> Request:
    """Return what words ask for, at least one."""
    first = words[0].lower().removesuffix(")")
    if first in STEP_LETTERS:
        step = step_of_letter(first, desk)
        if len(words) > 1:
            return _answer_to_step(words[1:], replace(desk, step=step))
        return TakeUp(step_index=STEP_LETTERS.index(first))
    command = _command_for(first)
    told = _at_a_point(words, desk) if command is None else []
    if told:
        words, command = ["read", *told], COMMANDS["read"]
    if command is None or " ".join(words).lower() in ANSWERS:
        return _answer_to_step(words, desk)
    try:
        return command.understand(tuple(words[1:]), desk)
    except MistypedError as mistyped:
        raise mistyped.with_usage(command.usage) from mistyped


def is_command(line: str) -> bool:
    """Return whether a line begins with a command, in full or by its start."""
    words = line.split(maxsplit=1)
    return bool(words) and _command_for(words[0].lower()) is not None


def _command_for(word: str) -> Command | None:
    """Return the command of that name, or the only one that starts so."""
    word = DONE.get(word, word)
    if word in COMMANDS:
        return COMMANDS[word]
    starting = [name for name in COMMANDS if name.startswith(word)]
    is_answer = word in ANSWERS
    if len(word) > 1 and len(starting) == 1 and not is_answer:
        return COMMANDS[starting[0]]
    return None


def _at_a_point(words: Sequence[str], desk: Desk) -> list[str]:
    """Return what is told of a point by its name, as behind ``read``; else nothing.

    ``fan.minus 13.8`` or ``14.2 at fan.plus idle``; without a state it is that of the
    step in hand.
    """
    vocabulary = desk.vocabulary
    found, lowered = list(words), [word.lower() for word in words]
    if _AT in lowered[1:]:
        place = lowered.index(_AT, 1)
        found = [*found[place + 1 :], *found[:place]]
    points = {node.lower() for node in vocabulary.nodes}
    count = next(
        (place for place, word in enumerate(found) if word.lower() not in points),
        len(found),
    )
    if not 0 < count < len(found):
        return []
    value, state = trailing_state(found[count:], desk)
    reading = None if desk.step is None else desk.step.reading
    is_value = value[0][0] in _NUMBER_STARTS or value[0].lower() in ANSWERS
    if not state and is_value and reading is not None:
        state = reading.state
    return [*found[:count], *filter(None, [state]), *value]


def _answer_to_step(words: Sequence[str], desk: Desk) -> Request:
    """Take a line without a command as the answer to the step in hand."""
    words = _without_opening(words)
    text = " ".join(words)
    said, state = trailing_state(words, desk)
    if state and len(said) > 1 and said[-1].lower() in JOINING:
        said = said[:-1]
    value = " ".join(said)
    is_same = value.lower() in SAME_WORDS
    is_answer = value[0] in _NUMBER_STARTS or value.lower() in ANSWERS or is_same
    if not is_answer and not _is_over_range(value):
        raise ReadingError(_not_understood(text, desk))
    step = desk.step
    if step is None:
        raise ReadingError(
            "no reading is asked for just now; answer what the page asks, or type for "
            "instance: read NODE STATE VALUE, or done after the repair"
        )
    asked = step.step
    look = asked.look if isinstance(asked, SubstitutionTest) else asked
    if isinstance(look, SymptomCheck):
        told = tell_symptom(look.symptom, text, desk)
    else:
        reading = replace(look, state=state) if state else look
        if is_same:
            return _same_as_before(reading, desk)
        told = Tell(fact=_read_at(reading, value))
    if not isinstance(asked, SubstitutionTest):
        return told
    assert isinstance(told, Tell)
    assert isinstance(told.fact, ReadingFact | SymptomFact)
    return Tell(fact=SubstitutionFact(substitution=asked.substitution, seen=told.fact))


def _read_at(reading: Reading, value: str) -> ReadingFact:
    """Return what was read at the leads of a step: a number, of a meter in any case."""
    is_lamp = reading.kind is ReadingKind.LAMP
    asked = None if is_lamp and value[0] in _NUMBER_STARTS else reading.kind
    kind, measured = kind_and_value(value, asked)
    return reading_fact(replace(reading, kind=kind), measured)


def _without_opening(words: Sequence[str]) -> Sequence[str]:
    """Return the answer in a short sentence; other lines as they are."""
    for place, word in enumerate(words):
        if " ".join(words[place:]).lower().rstrip(".!") in ANSWERS:
            return [*words[place:-1], words[-1].rstrip(".!")]
        if word.lower() not in _OPENING:
            break
    return words


def _same_as_before(reading: Reading, desk: Desk) -> Request:
    """Take a reading to be what the one before was, and have that asked."""
    latest = desk.latest
    if latest is None or latest.reading.kind is not reading.kind:
        raise ReadingError("the same as what? type the number that the meter shows")
    return Tell(fact=replace(latest, reading=reading, told_as="same"), is_unsure=True)


def _not_understood(text: str, desk: Desk) -> str:
    """Say what was not understood, what is expected here, and the nearest command."""
    near = nearest(text.split(maxsplit=1)[0], COMMANDS)
    hint = f'; did you mean "{near}"?' if near else "."
    wanted = "" if desk.step is None else f" Expected here: {_wanted(desk.step)}."
    return f'"{text}" is not understood{hint}{wanted} The list of commands: help'


def _wanted(step: ProposedStep) -> str:
    """Return what answers a step, in words."""
    return answer_words(step.reading.kind) if step.reading else "yes or no"


def _is_over_range(text: str) -> bool:
    """Return whether words say that the resistance is beyond the meter's range."""
    try:
        return parse_measured(text).unit is Unit.OHMS
    except ReadingError:
        return False
