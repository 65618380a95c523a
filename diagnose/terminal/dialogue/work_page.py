"""The page a person works from: the answer on it, and the step that is in hand.

What is on the screen stays the answer until something is told or the next page is asked
for, though it may have been completed since: a bare number is about the step that is
shown. Leaves what a line means, and questions, to `conversation`.
"""

from __future__ import annotations

from dataclasses import replace

from diagnose.session.answer import Answer, ProposedStep, Verdict
from diagnose.session.casebook import Casebook
from diagnose.terminal.dialogue.resumed import resumed_page
from diagnose.terminal.dialogue.side_pages import path_of
from diagnose.terminal.pages import answers
from diagnose.terminal.pages.ending import ending
from diagnose.terminal.pages.page import Page, Tone, say
from diagnose.terminal.reading_kinds import prompt_word


class WorkPage:
    """The page of one diagnosis, as it lies before the person.

    Parameters
    ----------
    casebook : Casebook

    Attributes
    ----------
    answer : Answer
        The one on the page.
    step_index : int or None
        Which of its steps is in hand; None for none, before a repair.
    """

    def __init__(self, casebook: Casebook) -> None:
        self._casebook = casebook
        self._diagnosis = casebook.diagnosis
        self._seen_cautions: frozenset[str] = frozenset()
        self._noted: dict[str, tuple[str, ...]] = {}
        self.step_index: int | None = None
        self.answer: Answer = self._diagnosis.answer
        self.begin_anew()

    @property
    def step(self) -> ProposedStep | None:
        """The step in hand."""
        steps = self.answer.next_steps
        if self.step_index is None or self.step_index >= len(steps):
            return None
        return steps[self.step_index]

    @property
    def prompt(self) -> str:
        """The word before the cursor: what a bare line answers."""
        step = self.step
        verdict = self.answer.advice.verdict
        if step is None and verdict is Verdict.REPAIR:
            return "done"
        if step is None or verdict is Verdict.FIXED:
            return "next"
        if step.reading is None:
            return "yes or no"
        return prompt_word(step.reading.kind)

    @property
    def offer(self) -> str:
        """What was worked out while the page stood, for a line below it; else empty."""
        found = self._diagnosis.answer
        if found is self.answer:
            return ""
        steps = [one.step for one in found.next_steps[:1]]
        shown = [one.step for one in self.answer.next_steps[:1]]
        if found.advice.verdict is not self.answer.advice.verdict:
            return "worked out further: next"
        return "a better step was found: next" if steps != shown else ""

    def begin_anew(self) -> None:
        """Take up the latest answer: its first step, or none before a repair."""
        self.answer = self._diagnosis.answer
        is_repair = self.answer.advice.verdict is Verdict.REPAIR
        self.step_index = None if is_repair else 0

    def resume_at(self, name: str) -> None:
        """Lay out the page again that was left with a step of this name, if any."""
        self.answer, self.step_index = resumed_page(name, self._diagnosis, self.answer)

    def further(self) -> Page:
        """Say where the answer was completed since the page on the screen."""
        if self.answer is self._diagnosis.answer:
            return ()
        return (say("further", "worked out further since the page before", Tone.ASIDE),)

    def drawn(self) -> Page:
        """Return the page; note which cautions it shows, and its step for a resume."""
        answer = self.answer
        page = answers.answer_page(
            replace(answer, notes=self._notes(answer)),
            step_index=self.step_index,
            seen_cautions=self._seen_cautions,
            vocabulary=self._diagnosis.vocabulary,
            path=path_of(self.step, self._diagnosis.car),
        )
        if answer.advice.verdict is Verdict.FIXED:
            page = (*page[:-1], *ending(self._casebook, answer), page[-1])
        self._seen_cautions |= answers.shown_cautions(answer, self.step_index)
        name = "" if self.step is None else self.step.step.name
        self._casebook.journal.note_step(name)
        return page

    def _notes(self, answer: Answer) -> tuple[str, ...]:
        """Return the doubts that are new since the latest fact."""
        for note in answer.notes:
            self._noted.setdefault(note, answer.facts)
        return tuple(n for n in answer.notes if self._noted[n] == answer.facts)
