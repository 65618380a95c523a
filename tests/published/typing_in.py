"""A published fault typed at the prompt, line by line, and what comes back."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

from diagnose.session.answer import Answer, ProposedStep
from diagnose.session.casebook import Casebook
from diagnose.session.diagnosis import Diagnosis
from diagnose.session.ready_car import Model
from diagnose.store.journal import Journal
from diagnose.terminal.dialogue.conversation import Conversation
from diagnose.terminal.preparation.kept_cases import opened_store
from tests.published.fault_file import PublishedFault

# How many suspects and steps a person is taken to look at: what a page shows at once.
FIRST = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of typing a published fault in.

    Parameters
    ----------
    ranked : tuple[tuple[str, ...], ...]
        The causes of each line of the ranking at the end, most probable first.
    proposed : tuple[str, ...]
        Keys of the first steps proposed before the observation that decided; before
        the end where none did.
    not_understood : tuple[str, ...]
        Lines that told nothing.
    """

    fault: PublishedFault
    ranked: tuple[tuple[str, ...], ...]
    proposed: tuple[str, ...]
    not_understood: tuple[str, ...]

    @property
    def place(self) -> int | None:
        """Where in the ranking the cure stands, from 1; None where it does not."""
        places = (
            place
            for place, members in enumerate(self.ranked, start=1)
            if any(self.fault.is_cure(cause) for cause in members)
        )
        return next(places, None)

    @property
    def is_cure_found(self) -> bool:
        """Whether the cure is among the first suspects."""
        return self.place is not None and self.place <= FIRST

    @property
    def is_reading_proposed(self) -> bool | None:
        """Whether the deciding reading was proposed; None where none decided."""
        deciding = self.fault.deciding
        if deciding is None:
            return None
        return any(
            fnmatchcase(step, pattern)
            for step in self.proposed
            for pattern in deciding.decides
        )


def typed_in(fault: PublishedFault, model: Model) -> Outcome:
    """Type a published fault into a diagnosis of a car."""
    with (
        tempfile.TemporaryDirectory() as folder,
        opened_store(Path(folder)) as store,
    ):
        stored = store.create(name="", car_path=f"{fault.car}.yaml", car_text="")
        casebook = Casebook(Diagnosis(model), Journal(store, name=stored.name))
        return _heard(fault, casebook)


def _heard(fault: PublishedFault, casebook: Casebook) -> Outcome:
    conversation = Conversation(casebook)
    lines = opening_lines(fault)
    not_understood = [line for line in lines if not _told(line, conversation, casebook)]
    proposed: Iterable[ProposedStep] | None = None
    for seen in fault.told:
        if seen is fault.deciding:
            proposed = casebook.answer.next_steps
        if not _told(seen.typed, conversation, casebook):
            not_understood.append(seen.typed)
    answer = casebook.answer
    if proposed is None:
        proposed = answer.next_steps
    return Outcome(
        fault=fault,
        ranked=_ranked(answer),
        proposed=tuple(step.step.name for step in tuple(proposed)[:FIRST]),
        not_understood=tuple(not_understood),
    )


def opening_lines(fault: PublishedFault) -> tuple[str, ...]:
    """Return what is typed of the complaint and the history."""
    complaint = [f"complaint {fault.complaint}"] if fault.complaint else []
    history = [f"context {name} {answer}" for name, answer in fault.history.items()]
    return (*complaint, *history)


def _told(line: str, conversation: Conversation, casebook: Casebook) -> bool:
    """Type a line, twice where it is asked about, and return whether it told something.

    A reading that looks like a slip is asked about and believed when typed again; what
    a page prints was meant.
    """
    before = len(casebook.answer.facts)
    for _ in range(2):
        conversation.hear(line)
        if len(casebook.answer.facts) > before:
            return True
    return False


def _ranked(answer: Answer) -> tuple[tuple[str, ...], ...]:
    return tuple(cause.members or (cause.name,) for cause in answer.causes)
