"""Completion: the words that can stand at the end of a line, from the text alone.

In memory and quick; never asks the diagnosis to compute anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from diagnose.measurement.touch import TOUCH
from diagnose.session.fleeting.provocation_tests import RENEWED
from diagnose.session.words.vocabulary import Vocabulary
from diagnose.terminal.dialogue.typed.commands import COMMANDS, Slot


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """One word to put in place of the unfinished one.

    Parameters
    ----------
    word : str
        The whole word.
    replaces : int
        How many characters before the cursor it takes the place of.
    says : str
        What the word means, where its name does not say it.
    """

    word: str
    replaces: int
    says: str = ""


def suggestions(text: str, vocabulary: Vocabulary) -> tuple[Suggestion, ...]:
    """Return what can complete the text before the cursor.

    Parameters
    ----------
    text : str
        The line up to the cursor.
    vocabulary : Vocabulary
        The names of this car.

    Returns
    -------
    tuple[Suggestion, ...]
        Names that start with the unfinished word first, then names that hold it.
    """
    words = text.split()
    unfinished = "" if not words or text[-1].isspace() else words.pop()
    if not words:
        known = {name: command.says for name, command in COMMANDS.items()}
        return _fitting(unfinished, known)
    command = COMMANDS.get(words[0].lower())
    position = len(words) - 1
    if command is None or position >= len(command.slots):
        return ()
    known = {}
    for slot in command.slots[position]:
        known.update(_names(slot, words, vocabulary))
    if Slot.STATE in command.slots[position] and words[-1] in vocabulary.states:
        return ()
    return _fitting(unfinished, known)


def _names(slot: Slot, words: list[str], vocabulary: Vocabulary) -> Mapping[str, str]:
    """Return the names of a slot, each with what it means."""
    if slot is Slot.CONTEXT_ANSWER:
        _, answers = vocabulary.contexts.get(words[-1], ("", ()))
        return dict.fromkeys(answers, "")
    names: Mapping[Slot, Iterable[str] | Mapping[str, str]] = {
        Slot.NODE: (*vocabulary.nodes, *vocabulary.parts),
        Slot.STATE: vocabulary.states,
        Slot.SYMPTOM: vocabulary.seen,
        Slot.CAUSE: vocabulary.causes,
        Slot.COMPLAINT: vocabulary.complaints,
        Slot.FUSE: vocabulary.fuses,
        Slot.LIMIT: vocabulary.limits,
        Slot.PLACE: vocabulary.places,
        Slot.WIGGLED: vocabulary.targets("wiggle"),
        Slot.WARMED: vocabulary.targets("warm"),
        Slot.MISTED: vocabulary.targets("damp"),
        Slot.TOUCHED: vocabulary.targets(TOUCH),
        Slot.HOT_OR_COOL: ("hot", "cool"),
        Slot.RENEWED: vocabulary.targets(RENEWED),
        Slot.SWAPPED: vocabulary.swappable,
        Slot.UNPLUGGED: vocabulary.unpluggable,
        Slot.YES_OR_NO: ("yes", "no"),
        Slot.IS: ("is",),
        Slot.TERM: vocabulary.terms,
        Slot.BLOWN_OR_SOUND: ("blown", "sound"),
        Slot.CONTEXT: {name: asked for name, (asked, _) in vocabulary.contexts.items()},
    }
    found = names[slot]
    return found if isinstance(found, Mapping) else dict.fromkeys(found, "")


def _fitting(unfinished: str, known: Mapping[str, str]) -> tuple[Suggestion, ...]:
    lowered = unfinished.lower()

    def suggest(names: Iterable[str]) -> tuple[Suggestion, ...]:
        return tuple(
            Suggestion(word=name, replaces=len(unfinished), says=known[name])
            for name in names
        )

    starting = [name for name in known if name.lower().startswith(lowered)]
    holding = [
        name for name in known if lowered in name.lower() and name not in starting
    ]
    return suggest(starting) + suggest(holding)
