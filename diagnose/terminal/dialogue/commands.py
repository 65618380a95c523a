"""The commands of a diagnosis: one registry for dispatch, help and completion.

Turns a line into a request without a screen and without conclusions; names are
matched against the car's vocabulary, and a start of a name that fits one is enough.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum

from diagnose.errors import ReadingError
from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import ReadingKind
from diagnose.session.answer import Answer, ProposedStep, RankedCause, StepKind
from diagnose.session.diagnosis import Vocabulary
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
from diagnose.terminal.dialogue.requests import (
    Leave,
    Request,
    Show,
    Strike,
    TakeUp,
    Tell,
    View,
)
from diagnose.terminal.safe_text import clean, nearest
from diagnose.typed_readings import Measured, parse_measured, parse_reading
from diagnose.units import Unit, check_minutes, check_range

STEP_LETTERS = ("a", "b", "c")
"""The proposed step and two others: ``a`` is the one shown in full."""

YES = frozenset(("yes", "y"))
NO = frozenset(("no", "n"))
BLOWN = frozenset(("blown", "yes", "y"))
LAMP = frozenset(GRADES)
SOUND = frozenset(("sound", "good", "ok", "no", "n"))
ANSWERS = YES | NO | BLOWN | SOUND | LAMP

_UNITS = {
    ReadingKind.DC_VOLTS: Unit.VOLTS,
    ReadingKind.OHMS: Unit.OHMS,
    ReadingKind.AMPS: Unit.AMPS,
}
_KINDS = {unit: kind for kind, unit in _UNITS.items()}
_UNITS[ReadingKind.AC_VOLTS] = Unit.VOLTS
_UNITS[ReadingKind.FUSE] = Unit.VOLTS
# after the line above: volts alone are DC volts


class Slot(Enum):
    """What may stand at one place of a command, for completion."""

    NODE = "node"
    STATE = "state"
    SYMPTOM = "symptom"
    CAUSE = "cause"
    COMPLAINT = "complaint"
    CONTEXT = "context"
    CONTEXT_ANSWER = "context answer"
    FUSE = "fuse"
    LIMIT = "limit"
    PLACE = "place"
    WIGGLED = "wiggled"
    WARMED = "warmed"
    MISTED = "misted"
    YES_OR_NO = "yes or no"
    BLOWN_OR_SOUND = "blown or sound"


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What lies before the person: all that a line can refer to.

    Parameters
    ----------
    step : ProposedStep or None
        The step a bare number or a yes answers.
    """

    vocabulary: Vocabulary
    answer: Answer
    step: ProposedStep | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """One command.

    Parameters
    ----------
    name, usage, says : str
        Its word, how it is typed, and what it does, for the help page.
    slots : tuple[tuple[Slot, ...], ...]
        What may stand at each place behind the word.
    understand : Callable[[tuple[str, ...], Desk], Request]
        Turns the words behind the command into a request.
    """

    name: str
    usage: str
    says: str
    slots: tuple[tuple[Slot, ...], ...]
    understand: Callable[[tuple[str, ...], Desk], Request]


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
        return Show(view=View.NEXT)
    first = words[0].lower()
    if len(words) == 1 and first in STEP_LETTERS:
        return _take_up(first, desk)
    command = _command_for(first)
    if command is not None:
        return command.understand(tuple(words[1:]), desk)
    return _answer_to_step(" ".join(words), desk)


def is_command(line: str) -> bool:
    """Return whether a line begins with a command, in full or by its start."""
    words = line.split(maxsplit=1)
    return bool(words) and _command_for(words[0].lower()) is not None


def known_name(typed: str, names: Iterable[str], what: str) -> str:
    """Return the one name that was typed, in full or by its start.

    Parameters
    ----------
    typed : str
        What the person typed, in any case.
    names : Iterable[str]
        What it can be.
    what : str
        What kind of name, for the message: ``test point``.

    Raises
    ------
    ReadingError
        If no name fits, or several do; the message gives the nearest.

    Examples
    --------
    >>> known_name("idle-l", ["idle", "idle-loaded"], "operating state")
    'idle-loaded'
    """
    everything = tuple(names)
    lowered = typed.lower()
    exact = [name for name in everything if name.lower() == lowered]
    starting = [name for name in everything if name.lower().startswith(lowered)]
    if len(exact) == 1 or len(starting) == 1:
        return (exact or starting)[0]
    if starting:
        raise ReadingError(
            f'"{typed}" fits several: {", ".join(starting[:6])}; type more of it'
        )
    near = nearest(typed, everything)
    if near:
        raise ReadingError(f'no {what} "{typed}" on this car; nearest is "{near}"')
    # a person who types pump means one of the many with pump in their names
    holding = [name for name in everything if lowered in name.lower()]
    some = ", ".join((holding or everything)[:6])
    more = len(holding or everything) - 6
    rest = f" and {more} more" if more > 0 else ""
    raise ReadingError(f'no {what} "{typed}" on this car; there are: {some}{rest}')


def _command_for(word: str) -> Command | None:
    """Return the command of that name, or the only one that starts so."""
    if word in COMMANDS:
        return COMMANDS[word]
    starting = [name for name in COMMANDS if name.startswith(word)]
    is_answer = word in ANSWERS
    if len(word) > 1 and len(starting) == 1 and not is_answer:
        return COMMANDS[starting[0]]
    return None


def _answer_to_step(text: str, desk: Desk) -> Request:
    """Take a line without a command as the answer to the step in hand."""
    word = text.split(maxsplit=1)[0]
    looks_like_answer = word[0] in "+-.,0123456789∞−–" or text.lower() in ANSWERS
    if not looks_like_answer and not _is_over_range(text):
        raise ReadingError(_not_understood(text, desk))
    step = desk.step
    if step is None or step.kind is StepKind.REPAIR:
        raise ReadingError(
            "no reading is asked for just now; "
            "type for instance: read NODE STATE VALUE, or done after the repair"
        )
    if step.kind is StepKind.SYMPTOM:
        return _tell_symptom(step.name.removeprefix("symptom|"), text, desk)
    kind = ReadingKind(step.reading_kind)
    if kind is ReadingKind.LOOK:
        value = _blown_value(text)
    elif kind is ReadingKind.LAMP:
        value = _lamp_value(text)
    else:
        value = parse_reading(text, _UNITS[kind])
    return Tell(
        fact=ReadingFact(
            kind=kind, state=step.state, red=step.red, black=step.black, value=value
        )
    )


def _not_understood(text: str, desk: Desk) -> str:
    """Say what was not understood, what is expected here, and the nearest command."""
    near = nearest(text.split(maxsplit=1)[0], COMMANDS)
    hint = f'; did you mean "{near}"?' if near else "."
    wanted = "" if desk.step is None else f" Expected here: {_wanted(desk.step)}."
    return f'"{text}" is not understood{hint}{wanted} The list of commands: help'


def _wanted(step: ProposedStep) -> str:
    """Return what answers a step, in words."""
    if step.kind is StepKind.REPAIR:
        return "done, after the repair"
    if step.kind is StepKind.SYMPTOM:
        return "yes or no"
    if step.reading_kind == ReadingKind.LOOK.value:
        return "blown or sound"
    if step.reading_kind == ReadingKind.LAMP.value:
        return "lit, dim or dark"
    examples = {"volts": "12.4", "ac": "0.035", "ohms": "0.3 or OL", "amps": "7.2"}
    example = examples.get(step.reading_kind, "12.4")
    quantity = step.reading_kind.replace("ac", "AC volts")
    return f"the {quantity} the meter shows, such as {example}"


def _is_over_range(text: str) -> bool:
    try:
        return parse_measured(text).unit is Unit.OHMS
    except ReadingError:
        return False


def _blown_value(text: str) -> float:
    """Return 1 for a blown fuse and 0 for a sound one."""
    lowered = text.lower()
    if lowered in BLOWN:
        return 1.0
    if lowered in SOUND:
        return 0.0
    raise ReadingError(f'"{text}" does not answer this; type blown or sound')


def _lamp_value(text: str) -> float:
    """Return the grade of a test lamp."""
    if text.lower() not in LAMP:
        raise ReadingError(f'"{text}" does not answer this; type lit, dim or dark')
    return GRADES[text.lower()]


def _tell_symptom(name: str, text: str, desk: Desk) -> Request:
    symptom = known_name(name, desk.vocabulary.asked, "symptom")
    lowered = text.lower()
    if lowered not in YES | NO:
        raise ReadingError(f'"{text}" does not answer this; type yes or no')
    return Tell(fact=SymptomFact(symptom=symptom, is_present=lowered in YES))


def _take_up(letter: str, desk: Desk) -> Request:
    place = STEP_LETTERS.index(letter)
    if place >= len(desk.answer.next_steps):
        raise ReadingError(f"there is no step {letter} just now")
    return TakeUp(place=place)


def _usage(name: str) -> ReadingError:
    return ReadingError(f"type it like this: {COMMANDS[name].usage}")


def _read(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``read [volts|ac|ohms|amps|fuse|lamp] NODE [NODE] STATE VALUE``."""
    asked, words = _leading_kind(words)
    nodes, state, rest = _split_at_state(words, desk, "read")
    if not rest:
        raise _usage("read")
    if asked is ReadingKind.LAMP or (asked is None and rest[0].lower() in LAMP):
        red, black = _leads(ReadingKind.LAMP, nodes, desk)
        value = _lamp_value(" ".join(rest))
        return Tell(
            fact=ReadingFact(
                kind=ReadingKind.LAMP, state=state, red=red, black=black, value=value
            )
        )
    measured = parse_measured(" ".join(rest))
    if asked is ReadingKind.FUSE and measured.unit is None:
        # the meter is on millivolts, and that is what it shows
        measured = Measured(value=1e-3 * measured.value, unit=Unit.VOLTS)
    kind = asked or _KINDS[measured.unit or Unit.VOLTS]
    if asked is not None:
        parse_reading(" ".join(rest), _UNITS[asked])
    check_range(measured.value, _UNITS[kind])
    red, black = _leads(kind, nodes, desk)
    return Tell(
        fact=ReadingFact(
            kind=kind, state=state, red=red, black=black, value=measured.value
        )
    )


def _leading_kind(
    words: tuple[str, ...],
) -> tuple[ReadingKind | None, tuple[str, ...]]:
    """Split off a leading ``volts``, ``ac`` and so on."""
    names = {kind.value: kind for kind in (*_UNITS, ReadingKind.LAMP)}
    if words and words[0].lower() in names:
        return names[words[0].lower()], words[1:]
    return None, words


def _split_at_state(
    words: tuple[str, ...], desk: Desk, command: str
) -> tuple[tuple[str, ...], str, tuple[str, ...]]:
    """Return the words before the operating state, the state, and the words after."""
    states = tuple(desk.vocabulary.states)
    lowered = [word.lower() for word in words]
    for place, word in enumerate(lowered):
        if place and word in states:
            return words[:place], states[states.index(word)], words[place + 1 :]
    if len(words) < 2:
        raise _usage(command)
    is_node = words[1].lower() in {node.lower() for node in desk.vocabulary.nodes}
    place = 2 if is_node and len(words) > 2 else 1
    state = _state_name(words[place], states, command)
    return words[:place], state, words[place + 1 :]


def _state_name(typed: str, states: tuple[str, ...], command: str) -> str:
    """Return the state typed, in full or by its start; else list every state."""
    starting = [name for name in states if name.startswith(typed.lower())]
    if len(starting) == 1:
        return starting[0]
    known = _states_and_usage(states, command)
    raise ReadingError(f'no operating state "{typed}" on this car; {known}')


def _states_and_usage(states: Iterable[str], command: str) -> str:
    return (
        f"there are: {', '.join(states)}. Type it like this: {COMMANDS[command].usage}"
    )


def _leads(kind: ReadingKind, nodes: tuple[str, ...], desk: Desk) -> tuple[str, str]:
    """Return where the red and the black lead are; black defaults to the reference."""
    vocabulary = desk.vocabulary
    if kind is ReadingKind.AMPS:
        if len(nodes) != 1:
            raise ReadingError("amps are read at one part: read PART STATE 7 A")
        return known_name(nodes[0], vocabulary.parts, "part"), ""
    if kind is ReadingKind.FUSE:
        if len(nodes) != 1:
            raise ReadingError("along one fuse: read fuse FUSE STATE 3.2 mV")
        return known_name(nodes[0], vocabulary.fuses, "fuse"), ""
    if len(nodes) not in (1, 2):
        raise _usage("read")
    red = known_name(nodes[0], vocabulary.nodes, "test point")
    if len(nodes) == 1:
        return red, vocabulary.reference
    return red, known_name(nodes[1], vocabulary.nodes, "test point")


def _look(words: tuple[str, ...], desk: Desk) -> Request:
    if len(words) != 2:
        raise _usage("look")
    fuse = known_name(words[0], desk.vocabulary.fuses, "fuse")
    return Tell(
        fact=ReadingFact(
            kind=ReadingKind.LOOK,
            state=desk.vocabulary.look_state,
            red=fuse,
            black="",
            value=_blown_value(words[1]),
        )
    )


def _symptom(words: tuple[str, ...], desk: Desk) -> Request:
    if not words or words[-1].lower() not in YES | NO:
        return Show(view=View.SYMPTOMS, about=" ".join(words))
    if len(words) != 2:
        raise _usage("symptom")
    return _tell_symptom(words[0], words[1], desk)


def _test(verb: str) -> Callable[[tuple[str, ...], Desk], Request]:
    """Return what understands a test of a place or a part, done to bring the fault."""

    def understand(words: tuple[str, ...], desk: Desk) -> Request:
        if len(words) != 2:
            raise _usage(verb)
        targets = desk.vocabulary.targets(verb)
        target = known_name(words[0], targets, "place or part")
        return _tell_symptom(f"{verb}-{target}", words[1], desk)

    return understand


def _complaint(words: tuple[str, ...], desk: Desk) -> Request:
    if not words:
        return Show(view=View.COMPLAINTS)
    if len(words) != 1:
        raise _usage("complaint")
    name = known_name(words[0], desk.vocabulary.complaints, "complaint")
    return Tell(fact=ComplaintFact(complaint=name))


def _context(words: tuple[str, ...], desk: Desk) -> Request:
    if len(words) < 2:
        raise _usage("context")
    contexts = desk.vocabulary.contexts
    name = known_name(words[0], contexts, "question")
    _, answers = contexts[name]
    # pages show "in service" for in_service
    answer = known_name("_".join(words[1:]), answers, "answer")
    return Tell(fact=ContextFact(context=name, answer=answer))


def _skip(words: tuple[str, ...], desk: Desk) -> Request:
    step = desk.step
    letter = " ".join(words).lower()
    if letter in STEP_LETTERS:
        _take_up(letter, desk)
        step = desk.answer.next_steps[STEP_LETTERS.index(letter)]
    elif letter:
        raise ReadingError(
            f'"{letter}" is no step; expected skip alone, or skip and the letter of '
            f"a step on the page: {', '.join(STEP_LETTERS)}"
        )
    if step is None:
        raise ReadingError("there is no step to skip just now")
    return Tell(fact=SkipFact(step=step.name))


def _limit(command: str, *, is_lacking: bool) -> Callable[..., Request]:
    """Return what understands ``without LIMIT`` or ``with LIMIT``."""

    def understood(words: tuple[str, ...], desk: Desk) -> Request:
        if len(words) != 1:
            known = ", ".join(desk.vocabulary.limits)
            raise ReadingError(f"{_usage(command)}; there are: {known}")
        limit = known_name(words[0], desk.vocabulary.limits, "limit")
        return Tell(fact=LimitFact(limit=limit, is_lacking=is_lacking))

    return understood


def _takes(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``takes PLACE|STATE|CAUSE MINUTES``."""
    if len(words) != 2:
        raise _usage("takes")
    vocabulary = desk.vocabulary
    if words[0].isdecimal():
        subject = cause_name(words[0], desk)
    else:
        names = (*vocabulary.places, *vocabulary.states, *vocabulary.causes)
        subject = known_name(words[0], names, "place, state or cause")
    try:
        minutes = float(words[1].replace(",", "."))
    except ValueError as error:
        raise _usage("takes") from error
    check_minutes(minutes)
    return Tell(fact=TakesFact(subject=subject, minutes=minutes))


def _prestart(words: tuple[str, ...], _desk: Desk) -> Request:
    if words:
        raise _usage("prestart")
    return Tell(fact=PrestartFact())


def _done(words: tuple[str, ...], desk: Desk) -> Request:
    if words:
        return Tell(fact=RepairFact(cause=cause_name(words[0], desk)))
    cause = desk.answer.advice.cause
    if not cause:
        raise ReadingError(
            "which repair was done? type done and the cause's number or name: done 1"
        )
    return Tell(fact=RepairFact(cause=cause))


def cause_name(typed: str, desk: Desk) -> str:
    """Return the cause of a rank (``2``) or of a name.

    Raises
    ------
    ReadingError
        If there is no such rank or cause.
    """
    ranked: tuple[RankedCause, ...] = desk.answer.causes
    if typed.isdecimal():
        if not 1 <= int(typed) <= len(ranked):
            raise ReadingError(f"there are {len(ranked)} causes; {typed} is none")
        return ranked[int(typed) - 1].name
    return known_name(typed, desk.vocabulary.causes, "cause")


def _why(words: tuple[str, ...], desk: Desk) -> Request:
    if len(words) > 1:
        return _expect(words, desk)
    return Show(view=View.WHY, about=cause_name(words[0] if words else "1", desk))


def _expect(words: tuple[str, ...], desk: Desk) -> Request:
    """Understand ``expect [KIND] NODE [NODE] STATE``, or nothing."""
    if not words:
        if desk.step is None:
            raise _usage("expect")
        return Show(view=View.EXPECT, about=desk.step.name)
    if len(words) == 1:
        return _expect_symptom(words[0], desk)
    asked, words = _leading_kind(words)
    nodes, state, rest = _split_at_state(words, desk, "expect")
    if rest:
        raise _usage("expect")
    kind = asked or ReadingKind.DC_VOLTS
    red, black = _leads(kind, nodes, desk)
    return Show(view=View.EXPECT, about=f"{kind.value}|{state}|{red}|{black}")


def _expect_symptom(typed: str, desk: Desk) -> Request:
    """Understand ``expect SYMPTOM``; a test point alone lacks its state."""
    words = desk.vocabulary
    lowered = typed.lower()
    is_symptom = any(name.lower().startswith(lowered) for name in words.symptoms)
    points = [name for name in words.nodes if name.lower().startswith(lowered)]
    if points and not is_symptom:
        known = _states_and_usage(words.states, "expect")
        raise ReadingError(f"the operating state is missing; {known}")
    name = known_name(typed, words.symptoms, "symptom")
    return Show(view=View.EXPECT, about=f"symptom|{name}")


def _strike(words: tuple[str, ...], desk: Desk) -> Request:
    if len(words) != 1 or not words[0].isdecimal():
        raise _usage("strike")
    if not 1 <= int(words[0]) <= len(desk.answer.facts):
        raise ReadingError(f"there is no fact {words[0]}; type facts for the list")
    return Strike(number=int(words[0]))


def _undo(words: tuple[str, ...], desk: Desk) -> Request:
    if words:
        raise _usage("undo")
    if not desk.answer.facts:
        raise ReadingError("there is nothing to take back")
    return Tell(fact=UndoFact())


def _showing(view: View) -> Callable[[tuple[str, ...], Desk], Request]:
    def show(_words: tuple[str, ...], _desk: Desk) -> Request:
        return Show(view=view)

    return show


def _leave(_words: tuple[str, ...], _desk: Desk) -> Request:
    return Leave()


_PLACE = (Slot.NODE, Slot.STATE)
_ALL = (
    Command(
        name="read",
        usage="read NODE [NODE] STATE VALUE",
        says="tell any reading: red lead, black lead, state, what the meter shows; "
        "lit, dim or dark for a test lamp",
        slots=((Slot.NODE,), _PLACE, (Slot.STATE,)),
        understand=_read,
    ),
    Command(
        name="look",
        usage="look FUSE blown|sound",
        says="tell what a fuse looks like",
        slots=((Slot.FUSE,), (Slot.BLOWN_OR_SOUND,)),
        understand=_look,
    ),
    Command(
        name="symptom",
        usage="symptom NAME yes|no",
        says="tell what the car does; symptom fan lists those about the fan",
        slots=((Slot.SYMPTOM,), (Slot.YES_OR_NO,)),
        understand=_symptom,
    ),
    Command(
        name="wiggle",
        usage="wiggle PLACE|PART yes|no",
        says="tell whether the fault comes or goes while you wiggle the wiring there",
        slots=((Slot.WIGGLED,), (Slot.YES_OR_NO,)),
        understand=_test("wiggle"),
    ),
    Command(
        name="warm",
        usage="warm PLACE|PART yes|no",
        says="the same while you warm it with a hair dryer",
        slots=((Slot.WARMED,), (Slot.YES_OR_NO,)),
        understand=_test("warm"),
    ),
    Command(
        name="damp",
        usage="damp PLACE|PART yes|no",
        says="the same while you mist it with a little water",
        slots=((Slot.MISTED,), (Slot.YES_OR_NO,)),
        understand=_test("damp"),
    ),
    Command(
        name="complaint",
        usage="complaint [NAME]",
        says="tell what is wrong; alone, list what can be told",
        slots=((Slot.COMPLAINT,),),
        understand=_complaint,
    ),
    Command(
        name="context",
        usage="context NAME ANSWER",
        says="tell about the car's history",
        slots=((Slot.CONTEXT,), (Slot.CONTEXT_ANSWER,)),
        understand=_context,
    ),
    Command(
        name="prestart",
        usage="prestart",
        says="go through the readings before the first start, one by one",
        slots=(),
        understand=_prestart,
    ),
    Command(
        name="skip",
        usage="skip [a|b|c]",
        says="can't or won't take this step: go on without it",
        slots=(),
        understand=_skip,
    ),
    Command(
        name="without",
        usage="without LIMIT",
        says="you have no clamp, test lamp, helper or lift: ask for nothing needing it",
        slots=((Slot.LIMIT,),),
        understand=_limit("without", is_lacking=True),
    ),
    Command(
        name="with",
        usage="with LIMIT",
        says="you have it after all",
        slots=((Slot.LIMIT,),),
        understand=_limit("with", is_lacking=False),
    ),
    Command(
        name="takes",
        usage="takes PLACE|STATE|CAUSE MINUTES",
        says="what getting there, changing to it or mending it takes you",
        slots=((Slot.PLACE, Slot.STATE, Slot.CAUSE),),
        understand=_takes,
    ),
    Command(
        name="done",
        usage="done [CAUSE]",
        says="the repair is done; a cause by number or name",
        slots=((Slot.CAUSE,),),
        understand=_done,
    ),
    Command(
        name="undo",
        usage="undo",
        says="take back the latest fact",
        slots=(),
        understand=_undo,
    ),
    Command(
        name="strike",
        usage="strike NUMBER",
        says="strike out one earlier fact, counted as in facts",
        slots=(),
        understand=_strike,
    ),
    Command(
        name="next",
        usage="next",
        says="show the page again (Enter alone does too)",
        slots=(),
        understand=_showing(View.NEXT),
    ),
    Command(
        name="causes",
        usage="causes",
        says="the whole ranking",
        slots=(),
        understand=_showing(View.CAUSES),
    ),
    Command(
        name="why",
        usage="why [CAUSE], or why NODE [NODE] STATE",
        says="what speaks for a cause; what a reading would tell, or why it would not",
        slots=((Slot.CAUSE, Slot.NODE), _PLACE, (Slot.STATE,)),
        understand=_why,
    ),
    Command(
        name="expect",
        usage="expect NODE [NODE] STATE",
        says="what a reading would show, healthy and with each leading cause",
        slots=((Slot.NODE, Slot.SYMPTOM), _PLACE, (Slot.STATE,)),
        understand=_expect,
    ),
    Command(
        name="facts",
        usage="facts",
        says="list what has been told so far",
        slots=(),
        understand=_showing(View.FACTS),
    ),
    Command(
        name="cautions",
        usage="cautions",
        says="the cautions of this step in full",
        slots=(),
        understand=_showing(View.CAUTIONS),
    ),
    Command(
        name="help",
        usage="help",
        says="this list",
        slots=(),
        understand=_showing(View.HELP),
    ),
    Command(
        name="leave",
        usage="leave",
        says="go; the case is kept, and resume brings it back",
        slots=(),
        understand=_leave,
    ),
)
COMMANDS = {command.name: command for command in _ALL}
"""Every command by name, in the order of the help page."""
