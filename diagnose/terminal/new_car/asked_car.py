"""The conversation that asks for a car: one page a question, back, undo, leave.

Every answer is on disk before the next question is shown. Leaves what is asked to
`asking`, and what follows when all is answered to whoever finishes it.
"""

from __future__ import annotations

from typing import Any, Protocol

from diagnose.errors import DiagnoseError
from diagnose.files.kept_answers import KeptAnswers, Step
from diagnose.paperwork.asking.questions import Interview
from diagnose.terminal.pages.page import Page, Pair, Paragraph, Tone, Words, say
from diagnose.terminal.safe_text import clean

# What can be typed instead of an answer.
WORDS = (
    "back: the question before, its answer kept; undo: take the latest answer back; "
)
WORDS += "answers: list them; leave: go on another time"

# How much of an answer the list shows. [characters] Own choice.
_LONGEST_SHOWN = 120


class Finish(Protocol):
    """What follows when a car is answered: its file, and what can be done with it."""

    @property
    def words(self) -> tuple[str, ...]:
        """What can be typed then."""

    def write(self, plan: Any) -> Page:
        """Write the car file, and say what it holds."""

    def do(self, word: str) -> Page:
        """Do one of the words."""


class AskedCar:
    """The conversation.

    Parameters
    ----------
    interview : Interview
        Where the person stands.
    kept : KeptAnswers
        Where answers are kept.
    finish : Finish
        Called when all is answered.
    """

    def __init__(
        self, interview: Interview[Any], kept: KeptAnswers, finish: Finish
    ) -> None:
        self._interview = interview
        self._kept = kept
        self._finish = finish
        self._is_written = False
        self._failure = ""
        self.is_over = False

    @property
    def prompt(self) -> str:
        """The word before the typed line."""
        return "then" if self._is_written else "answer"

    @property
    def offer(self) -> str:
        """Nothing comes up while a question stands."""
        return ""

    def restore(self) -> int:
        """Take up the answers that were kept, and return how many count."""
        for step in self._kept.read():
            self._take_up(step)
        return len(self._interview.trail)

    def _take_up(self, step: Step) -> None:
        """Do once more what a kept step did."""
        interview = self._interview
        if step.word in {"back", "undo"}:
            interview.back(is_forgotten=step.word == "undo")
            return
        question = interview.question
        if question is None or question.key != step.question:
            interview.kept[step.question] = step.text
            return
        try:
            interview.answer(step.text)
        except ValueError:  # an answer that this version no longer takes
            interview.kept[step.question] = step.text

    def open(self) -> Page:
        """Return the first question, or what follows when all is answered."""
        return self._question_page() if self._interview.question else self._finished()

    def hear(self, line: str) -> Page:
        """Take one line and return the page that answers it."""
        text = clean(line).strip()
        word = text.lower()
        if word in {"leave", "quit", "exit"}:
            self.is_over = True
            return ()
        if word in {"back", "undo"}:
            return self._go_back(word)
        if word == "answers":
            return self._answers_page()
        if word == "help":
            return (say("help", WORDS), *self.open())
        if self._interview.question is None:
            return self._then(word)
        return self._answer(text)

    def interrupted(self) -> Page:
        """Return the page after Ctrl-C cut a line short."""
        return self.open() if not self._is_written else self._then_page()

    def farewell(self) -> Page:
        """Return the last page: whether the answers are kept, and how to go on."""
        if self._is_written:
            return ()
        if self._failure:
            return (say("end", self._failure, Tone.PROBLEM),)
        if not self._interview.trail:
            return (say("end", "Nothing was answered."),)
        words = (
            f"Your answers are kept in {self._kept.path}. Go on by the same command."
        )
        return (say("end", words),)

    def _answer(self, text: str) -> Page:
        """Take an answer to the open question."""
        question = self._interview.question
        assert question is not None
        try:
            told = self._interview.answer(text)
        except ValueError as error:
            return (
                say("again", f"That can't be: {error}.", Tone.PROBLEM),
                *self._question_page(),
            )
        self._keep(Step("answer", question.key, told))
        return self.open()

    def _go_back(self, word: str) -> Page:
        """Ask the question before again."""
        if self._is_written:
            words = "The car file is written; change it there, or type leave."
            return (say("written", words, Tone.PROBLEM),)
        if not self._interview.back(is_forgotten=word == "undo"):
            return (say(word, "This is the first question."), *self._question_page())
        self._keep(Step(word))
        return self._question_page()

    def _keep(self, step: Step) -> None:
        """Write a step to the disk; say on the page when that fails."""
        try:
            self._kept.append(step)
            self._failure = ""
        except OSError as error:
            self._failure = (
                f"Answers are not kept ({self._kept.path}: "
                f"{error.strerror or error}); go on to the end without leaving, or "
                "make room."
            )

    def _question_page(self) -> Page:
        """Return the page of the open question."""
        question = self._interview.question
        assert question is not None
        number = len(self._interview.trail) + 1
        trouble = (say("kept", self._failure, Tone.PROBLEM),) if self._failure else ()
        says = tuple(Words(text=text) for text in question.says)
        default = Pair(name="Enter alone answers", text=self._interview.default)
        asks = Words(text=question.asks, tone=Tone.STRONG)
        words = Words(text=f"({WORDS})", tone=Tone.ASIDE)
        lines = (asks, *says, default, *((words,) if number == 1 else ()))
        return (*trouble, Paragraph(margin=f"no. {number}", lines=lines))

    def _answers_page(self) -> Page:
        """Return every answer so far."""
        rows = tuple(
            Pair(name=one.key, text=one.text[:_LONGEST_SHOWN])
            for one in self._interview.trail
        )
        page = Paragraph(margin="answers", lines=rows or (Words(text="none yet"),))
        return (page, *(() if self._is_written else self.open()))

    def _finished(self) -> Page:
        """Write the car file, and offer what can be done with it."""
        try:
            page = self._finish.write(self._interview.outcome)
        except (DiagnoseError, OSError) as error:
            words = f"The file is not written: {error}. Type Enter to try again."
            return (say("trouble", words, Tone.PROBLEM),)
        self._is_written = True
        self._kept.drop()
        return (*page, *self._then_page())

    def _then_page(self) -> Page:
        words = ", ".join((*self._finish.words, "leave"))
        return (say("then", f"Type one of: {words}."),)

    def _then(self, word: str) -> Page:
        """Do something with the finished car."""
        if not self._is_written:
            return self._finished()
        if word not in self._finish.words:
            return self._then_page()
        try:
            page = self._finish.do(word)
        except DiagnoseError as error:
            page = tuple(say("unclear", line, Tone.PROBLEM) for line in error.lines)
        return (*page, *self._then_page())
