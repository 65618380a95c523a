"""What the words behind a command tell: a fact, or that one is struck out.

One function for each command that tells something, called with the words behind it.
"""

from __future__ import annotations

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.touch import TOUCH
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    LimitFact,
    PrestartFact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SymptomFact,
    TakesFact,
    UndoFact,
)
from diagnose.session.fleeting.provocation_tests import RENEWED
from diagnose.terminal.dialogue.typed.desk import (
    Desk,
    MistypedError,
    cause_name,
    leads,
    split_at_state,
    split_off_kind,
    step_of_letter,
    typed_number,
)
from diagnose.terminal.dialogue.typed.requests import Request, Show, Strike, Tell, View
from diagnose.terminal.names import known_name
from diagnose.terminal.pages.steps import STEP_LETTERS
from diagnose.terminal.reading_kinds import kind_and_value, typed_value
from diagnose.typed_readings import Measured
from diagnose.units import Unit, check_minutes

# Words that answer a question by yes or no, and what each says.
YES_OR_NO = {"yes": True, "y": True, "no": False, "n": False}

# What a hand, the nose and the eye find of a part that was touched, and whether it says
# that it got hot.
HOT_OR_COOL = {
    "hot": True,
    "burnt": True,
    "melted": True,
    "brown": True,
    "yes": True,
    "cool": False,
    "warm": False,
    "no": False,
}

# Those of them that are seen of a fuse beside its link.
SEEN_HEAT = frozenset({"burnt", "melted", "brown"})


def read(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``read [volts|ac|ohms|amps|fuse|lamp] NODE [NODE] STATE VALUE``."""
    asked, words = split_off_kind(words)
    nodes, state, rest = split_at_state(words, desk)
    if not rest:
        raise MistypedError
    bare = Unit.OHMS if state in desk.vocabulary.dead_states else Unit.VOLTS
    kind, measured = kind_and_value(" ".join(rest), asked, bare=bare)
    red, black = leads(kind, nodes, desk)
    reading = Reading(kind=kind, state=state, red=red, black=black)
    return Tell(fact=reading_fact(reading, measured))


def look(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``look FUSE blown|sound``; ``burnt`` and the like as of `touch`."""
    if len(words) != 2:
        raise MistypedError
    if words[1].lower() in SEEN_HEAT:
        return touch(words, desk)
    reading = Reading(
        kind=ReadingKind.LOOK,
        state=desk.vocabulary.look_state,
        red=known_name(words[0], desk.vocabulary.fuses, "fuse"),
        black="",
    )
    return Tell(fact=reading_fact(reading, typed_value(words[1], ReadingKind.LOOK)))


def reading_fact(reading: Reading, measured: Measured) -> ReadingFact:
    """Return the fact that a reading gave a value, as sharp as it was typed."""
    return ReadingFact(
        reading=reading, value=measured.value, rounded_to=measured.rounded_to
    )


def symptom(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``symptom NAME yes|no``; without an answer, list those so called."""
    if not words or words[-1].lower() not in YES_OR_NO:
        return Show(view=View.SYMPTOMS, about=" ".join(words))
    if len(words) != 2:
        raise MistypedError
    return tell_symptom(words[0], words[1], desk)


def provoke(words: tuple[str, ...], desk: Desk, *, verb: str) -> Request:
    """Understand a test that brings the fault: ``wiggle PLACE|PART yes|no``.

    It is told like a symptom, named by test and place, as every face, the store and the
    case files know symptoms already.
    """
    if len(words) != 2:
        raise MistypedError
    targets = desk.vocabulary.targets(verb)
    target = known_name(words[0], targets, "place or part")
    return tell_symptom(f"{verb}-{target}", words[1], desk)


def touch(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``touch PART hot|cool``, of a part felt after the car has run."""
    if len(words) != 2 or words[1].lower() not in HOT_OR_COOL:
        raise MistypedError(after=f"it is one of: {', '.join(HOT_OR_COOL)}")
    targets = desk.vocabulary.targets(TOUCH)
    target = known_name(words[0], targets, "part to feel")
    answer = "yes" if HOT_OR_COOL[words[1].lower()] else "no"
    return tell_symptom(f"{TOUCH}-{target}", answer, desk)


def renewed(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``renewed PART``: it was renewed, and did not help."""
    if len(words) != 1:
        raise MistypedError
    targets = desk.vocabulary.targets(RENEWED)
    target = known_name(words[0], targets, "part")
    return tell_symptom(f"{RENEWED}-{target}", "yes", desk)


def complaint(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``complaint NAME``; alone it lists what can be told."""
    if not words:
        return Show(view=View.COMPLAINTS)
    if len(words) != 1:
        raise MistypedError
    name = known_name(words[0], desk.vocabulary.complaints, "complaint")
    return Tell(fact=ComplaintFact(complaint=name))


def context(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``context NAME ANSWER``."""
    if len(words) < 2:
        raise MistypedError
    contexts = desk.vocabulary.contexts
    name = known_name(words[0], contexts, "question")
    _, answers = contexts[name]
    # pages show "in service" for in_service
    answer = known_name("_".join(words[1:]), answers, "answer")
    return Tell(fact=ContextFact(context=name, answer=answer))


def skip(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``skip``, of the step in hand, or ``skip LETTER``."""
    step = desk.step
    letter = " ".join(words).lower()
    if letter in STEP_LETTERS:
        step = step_of_letter(letter, desk)
    elif letter and step is not None:
        raise ReadingError(
            f'"{letter}" is no step; expected skip alone, or skip and the letter of '
            f"a step on the page: {', '.join(STEP_LETTERS)}"
        )
    if step is None:
        raise ReadingError(
            "there is no step to skip just now; answer what the page asks"
        )
    return Tell(fact=SkipFact(step=step.step))


def limit(words: tuple[str, ...], desk: Desk, *, is_lacking: bool) -> Request:
    """Understand ``without LIMIT`` or ``with LIMIT``."""
    limits = desk.vocabulary.limits
    if len(words) != 1:
        raise MistypedError(after=f"there are: {', '.join(limits)}")
    name = known_name(words[0], limits, "limit")
    return Tell(fact=LimitFact(limit=name, is_lacking=is_lacking))


def takes(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``takes PLACE|STATE|CAUSE MINUTES``."""
    if len(words) != 2:
        raise MistypedError
    vocabulary = desk.vocabulary
    if words[0].isdecimal():
        subject = cause_name(words[0], desk)
    else:
        names = (*vocabulary.places, *vocabulary.states, *vocabulary.causes)
        subject = known_name(words[0], names, "place, state or cause")
    try:
        minutes = float(words[1].replace(",", "."))
    except ValueError as error:
        raise MistypedError from error
    check_minutes(minutes)
    return Tell(fact=TakesFact(subject=subject, minutes=minutes))


def prestart(words: tuple[str, ...], _desk: Desk) -> Request:
    """Understand ``prestart``."""
    if words:
        raise MistypedError
    return Tell(fact=PrestartFact())


def done(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``done``, of the repair advised, or ``done CAUSE``."""
    if words:
        return Tell(fact=RepairFact(cause=cause_name(words[0], desk)))
    cause = desk.answer.advice.cause
    if not cause:
        raise ReadingError(
            "which repair was done? type done and the cause's number or name: done 1"
        )
    return Tell(fact=RepairFact(cause=cause))


def strike(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``strike NUMBER``."""
    if len(words) != 1 or not words[0].isdecimal():
        raise MistypedError
    number = typed_number(words[0])
    if not 1 <= number <= len(desk.answer.facts):
        raise ReadingError(f"there is no fact {words[0]}; type facts for the list")
    return Strike(number=number)


def undo(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``undo``; a line that told nothing can be taken back too."""
    del desk  # who takes it back knows whether there is anything
    if words:
        raise MistypedError
    return Tell(fact=UndoFact())


def tell_symptom(name: str, text: str, desk: Desk) -> Request:
    """Return the telling of a symptom by yes or no.

    Parameters
    ----------
    name : str
        Of the symptom or of a test, in full or by its start.
    text : str
        The answer as typed.

    Raises
    ------
    ReadingError
        If there is no such symptom on this car, or the answer is neither.
    """
    known = known_name(name, desk.vocabulary.asked, "symptom")
    lowered = text.lower()
    if lowered not in YES_OR_NO:
        raise ReadingError(f'"{text}" does not answer this; type yes or no')
    return Tell(fact=SymptomFact(symptom=known, is_present=YES_OR_NO[lowered]))
