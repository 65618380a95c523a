"""What lies before the person when a line is typed, and the names that it may hold.

Leaves which words belong to which command to `commands`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from diagnose.errors import ReadingError
from diagnose.measurement.readings import ReadingKind
from diagnose.session.answer import Answer, ProposedStep
from diagnose.session.facts import ReadingFact, SymptomFact
from diagnose.session.words.vocabulary import Vocabulary
from diagnose.terminal.names import known_name
from diagnose.terminal.pages.steps import STEP_LETTERS
from diagnose.terminal.reading_kinds import NAMED_KINDS

# The longest number that is looked at: nothing has so many of anything. [digits] Own
# choice.
MOST_DIGITS = 9

# Letters that two forms of a word have in common, such as prime and priming. [1] Own
# choice: with three, idle and idling would be alike, and key-on and key-off.
STEM = 4


class MistypedError(ReadingError):
    """The words behind a command are not what it takes.

    Parameters
    ----------
    before, after : str
        What is said before and after how the command is typed.
    """

    def __init__(self, *, before: str = "", after: str = "") -> None:
        super().__init__(before or after)
        self._before = before
        self._after = after

    def with_usage(self, usage: str) -> ReadingError:
        """Return the message with how the command is typed."""
        start = f"{self._before} Type" if self._before else "type"
        end = f"; {self._after}" if self._after else ""
        return ReadingError(f"{start} it like this: {usage}{end}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What lies before the person: all that a line can refer to.

    Parameters
    ----------
    vocabulary : Vocabulary
        The names of this car.
    answer : Answer
        The answer on the screen.
    step : ProposedStep or None
        The step a bare number or a yes answers.
    latest : ReadingFact or None
        The reading told last, for who says that the next one is the same.
    unchanged : SymptomFact or None
        What the car does as long as nothing has changed; None where nothing was told.
    """

    vocabulary: Vocabulary
    answer: Answer
    step: ProposedStep | None
    latest: ReadingFact | None = None
    unchanged: SymptomFact | None = None


def step_of_letter(letter: str, desk: Desk) -> ProposedStep:
    """Return the proposed step of a letter.

    Raises
    ------
    ReadingError
        If there is none of that letter.
    """
    index = STEP_LETTERS.index(letter)
    if index >= len(desk.answer.next_steps):
        raise ReadingError(f"there is no step {letter} just now")
    return desk.answer.next_steps[index]


def typed_number(word: str) -> int:
    """Return the number of a word of digits; for an endless one, one nothing has."""
    return int(word) if len(word) <= MOST_DIGITS else -1


def cause_name(typed: str, desk: Desk) -> str:
    """Return the cause of a rank (``2``), of a part or of a name.

    Of a part it is the likeliest of those ranked.

    Raises
    ------
    ReadingError
        If there is no such rank or cause.
    """
    ranked = desk.answer.causes
    if typed.isdecimal():
        number = typed_number(typed)
        if not 1 <= number <= len(ranked):
            raise ReadingError(f"there are {len(ranked)} causes; {typed} is none")
        return ranked[number - 1].name
    of_part = [one.name for one in ranked if one.name.split(":")[0] == typed.lower()]
    if of_part:
        return of_part[0]
    return known_name(typed, desk.vocabulary.causes, "cause")


def split_off_kind(
    words: tuple[str, ...],
) -> tuple[ReadingKind | None, tuple[str, ...]]:
    """Return the kind of reading that words begin with, or None, and the rest."""
    if words and words[0].lower() in NAMED_KINDS:
        return NAMED_KINDS[words[0].lower()], words[1:]
    return None, words


def split_at_state(
    words: tuple[str, ...], desk: Desk
) -> tuple[tuple[str, ...], str, tuple[str, ...]]:
    """Return the words before the operating state, the state, and the words after.

    Raises
    ------
    ReadingError
        If there is no state of this car among them.
    """
    states = tuple(desk.vocabulary.states)
    lowered = [word.lower() for word in words]
    for position, word in enumerate(lowered):
        if position and word in states:
            state = states[states.index(word)]
            return words[:position], state, words[position + 1 :]
    if len(words) < 2:
        raise MistypedError
    is_node = words[1].lower() in {node.lower() for node in desk.vocabulary.nodes}
    position = 2 if is_node and len(words) > 2 else 1
    state = _state_name(words[position], states)
    return words[:position], state, words[position + 1 :]


def trailing_state(words: Sequence[str], desk: Desk) -> tuple[tuple[str, ...], str]:
    """Return an answer without the operating state that it ends with, and the state.

    The state is empty where the last word is none, by name or by its start.
    """
    last = words[-1].lower() if len(words) > 1 else ""
    states = tuple(desk.vocabulary.states)
    starting = [name for name in states if len(last) > 1 and name.startswith(last)]
    found = [last] if last in states else starting
    if len(found) != 1:
        return tuple(words), ""
    return tuple(words[:-1]), found[0]


def _state_name(typed: str, states: tuple[str, ...]) -> str:
    """Return the state typed, in full, by its start or in another form of the word.

    ``prime`` is the state priming. Else every state is listed.
    """
    lowered = typed.lower()
    starting = [name for name in states if name.startswith(lowered)]
    stem = lowered[:STEM]
    alike = [name for name in states if len(stem) == STEM and name.startswith(stem)]
    for found in (starting, alike):
        if len(found) == 1:
            return found[0]
    known = listed_states(states)
    raise MistypedError(before=f'no operating state "{typed}" on this car; {known}')


def listed_states(states: Iterable[str]) -> str:
    """Return which operating states there are, for a message."""
    return f"there are: {', '.join(states)}."


def leads(kind: ReadingKind, nodes: tuple[str, ...], desk: Desk) -> tuple[str, str]:
    """Return the names of where the red and the black lead are.

    Parameters
    ----------
    nodes : tuple[str, ...]
        As typed: one or two test points, where the second one defaults to the post
        that readings are taken against; for amps a part, along a fuse a fuse.

    Raises
    ------
    ReadingError
        If there is no such name on this car, or there are too many.
    """
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
        raise MistypedError
    red = known_name(nodes[0], vocabulary.nodes, "test point")
    if len(nodes) == 1:
        return red, vocabulary.reference
    return red, known_name(nodes[1], vocabulary.nodes, "test point")
