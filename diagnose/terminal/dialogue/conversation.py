"""The conversation: lines in, pages out, one state machine for screen and pipe.

Asks what is wrong, then the car's history, then takes facts until the person leaves.
Every fact goes through the casebook, so it is kept before a page shows what follows: a
killed process or a flat battery loses nothing. What is on the screen stays the answer
until something is told or it is asked for again, though it may have been completed
since: a bare number is about the step that is shown.
"""

from __future__ import annotations

from enum import Enum

from diagnose.drawing.path_rows import path_rows
from diagnose.errors import DiagnoseError, ImpossibleEvidenceError, ReadingError
from diagnose.session.answer import ProposedStep, Verdict
from diagnose.session.casebook import Casebook, ContradictionError
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    PrestartFact,
    SymptomFact,
    TakesFact,
    UndoFact,
)
from diagnose.terminal.dialogue.commands import COMMANDS
from diagnose.terminal.dialogue.desk import Desk, typed_number
from diagnose.terminal.dialogue.requests import (
    Leave,
    Request,
    Show,
    Strike,
    TakeUp,
    Tell,
    View,
)
from diagnose.terminal.dialogue.understanding import is_command, understand
from diagnose.terminal.pages import answers, explanations, questions, suspects
from diagnose.terminal.pages.page import Page, Paragraph, Tone, Words, say
from diagnose.terminal.pages.steps import step_page
from diagnose.terminal.reading_kinds import prompt_word
from diagnose.terminal.safe_text import clean

# Typed to be asked nothing more about the history.
SKIP_ALL = "skip all"


class Stage(Enum):
    """What the next line answers."""

    COMPLAINT = "complaint"
    CONTEXT = "context"
    WORK = "work"
    WHICH_HOLDS = "which holds"


class Conversation:
    """One person and one diagnosis.

    Parameters
    ----------
    casebook : Casebook
        New, or with the facts of an earlier evening restored.
    kept_where : str
        Options that a resume of the case needs, such as where cases are kept.
    """

    def __init__(self, casebook: Casebook, *, kept_where: str = "") -> None:
        self._casebook = casebook
        self._kept_where = kept_where
        self._diagnosis = casebook.diagnosis
        self._journal = casebook.journal
        self._stage = Stage.WORK if _has_begun(casebook) else Stage.COMPLAINT
        self._questions: list[str] = []
        self._step_index: int | None = None
        self._seen_cautions: frozenset[str] = frozenset()
        self._contested: SymptomFact | None = None
        self.is_over = False
        self._answer = self._diagnosis.answer
        self._begin_anew()

    @property
    def prompt(self) -> str:
        """The word before the cursor: what a bare line answers."""
        if self._stage in (Stage.COMPLAINT, Stage.CONTEXT, Stage.WHICH_HOLDS):
            return "number"
        step = self._step
        verdict = self._answer.advice.verdict
        if step is None and verdict is Verdict.REPAIR:
            return "done"
        if step is None or verdict is Verdict.FIXED:
            return "next"
        if step.reading is None:
            return "yes or no"
        return prompt_word(step.reading.kind)

    def open(self) -> Page:
        """Return the first page after the safety note."""
        return self._with_warning(self._page_of_stage())

    def hear(self, line: str) -> Page:
        """Take one line and return the page that answers it.

        A mistake in the line is a page too; nothing told before is lost by it.
        """
        try:
            page = self._hear(clean(line))
        except ImpossibleEvidenceError as error:
            page = self._clash_page(error)
        except DiagnoseError as error:
            page = (say("unclear", str(error), Tone.PROBLEM),)
        return self._with_warning(page)

    def interrupted(self) -> Page:
        """Return the page after Ctrl-C cut a line short: it counts whole or not at all.

        A fact that was on the disk by then counts.
        """
        before = self._answer.facts
        try:
            self._casebook.settle()
        except DiagnoseError as error:
            return (say("stopped", str(error), Tone.PROBLEM),)
        self._begin_anew()
        self._contested = None
        if self._stage is not Stage.CONTEXT or not self._has_trouble:
            self._stage = Stage.WORK if self._has_trouble else Stage.COMPLAINT
        counts = "counts" if self._answer.facts != before else "does not count"
        words = f"What was typed {counts}. Type facts to see what does."
        return (say("stopped", words, Tone.ASIDE),)

    def farewell(self) -> Page:
        """Return the last page: whether the case is kept, and how to go on."""
        if not self._journal.is_saved:
            return (say("end", "This case is not saved.", Tone.PROBLEM),)
        name = self._journal.name
        command = f"diagnose resume {name} {self._kept_where}".rstrip()
        return (say("end", f"Case {name} is kept. Go on by: {command}"),)

    @property
    def _step(self) -> ProposedStep | None:
        steps = self._answer.next_steps
        if self._step_index is None or self._step_index >= len(steps):
            return None
        return steps[self._step_index]

    def _begin_anew(self) -> None:
        """Take up the latest answer: its first step, or none before a repair."""
        self._answer = self._diagnosis.answer
        is_repair = self._answer.advice.verdict is Verdict.REPAIR
        self._step_index = None if is_repair else 0

    @property
    def _has_trouble(self) -> bool:
        """Whether there is a case: a complaint, a symptom, or a first start ahead."""
        return any(
            isinstance(fact, ComplaintFact | SymptomFact | PrestartFact)
            for fact in self._casebook.standing
        )

    def _hear(self, line: str) -> Page:
        match self._stage:
            case Stage.COMPLAINT if _is_choice(line):
                return self._choose_complaint(line)
            case Stage.COMPLAINT if not is_command(line):
                return self._search(line)
            case Stage.CONTEXT if line.lower() == SKIP_ALL:
                self._questions = []
                return self._page_of_stage()
            case Stage.CONTEXT if _is_choice(line) or line.lower() == "skip":
                return self._choose_context("" if line.lower() == "skip" else line)
            case Stage.WHICH_HOLDS:
                return self._choose_which_holds(line)
            case _:
                return self._carry_out(self._understand(line))

    def _understand(self, line: str) -> Request:
        desk = Desk(
            vocabulary=self._diagnosis.vocabulary,
            answer=self._answer,
            step=self._step if self._stage is Stage.WORK else None,
            unchanged=self._diagnosis.unchanged(),
        )
        return understand(line, desk)

    def _carry_out(self, request: Request) -> Page:
        match request:
            case Tell(fact=fact):
                return self._tell(fact)
            case Strike(number=number):
                return self._strike(number)
            case Show():
                return self._show(request)
            case TakeUp(step_index=index):
                self._step_index = index
                return self._answer_page()
            case Leave():
                self.is_over = True
                return ()

    def _choose_complaint(self, line: str) -> Page:
        if not line:
            self._stage = Stage.WORK
            self._ask_contexts()
            return self._page_of_stage()
        names = tuple(self._diagnosis.vocabulary.complaints)
        return self._tell(ComplaintFact(complaint=_chosen(line, names)))

    def _search(self, line: str) -> Page:
        """Look for what was described in words among complaints and symptoms."""
        found = questions.matches_page(line, self._diagnosis.vocabulary)
        return found or self._carry_out(self._understand(line))

    def _choose_context(self, line: str) -> Page:
        context = self._questions[0]
        _, choices = self._diagnosis.vocabulary.contexts[context]
        if line:
            answer = _chosen(line, tuple(choices))
            return self._tell(ContextFact(context=context, answer=answer))
        self._questions.pop(0)
        return self._page_of_stage()

    def _choose_which_holds(self, line: str) -> Page:
        """Settle a symptom that was told both ways."""
        contested = self._contested
        self._stage, self._contested = Stage.WORK, None
        if contested is None or line not in ("", "1", "2"):
            try:
                return self._hear(line)
            except DiagnoseError:
                # the question stands until it is answered or something else is told
                self._stage, self._contested = Stage.WHICH_HOLDS, contested
                raise
        if line == "2":
            self._casebook.replace(contested)
            self._begin_anew()
        return self._page_of_stage()

    def _tell(self, fact: Fact) -> Page:
        """Tell one fact and show what follows from it."""
        words_before = self._casebook.answer.facts
        try:
            answer = self._casebook.tell(fact)
        except ContradictionError as contradiction:
            return self._ask_which_holds(contradiction.fact)
        self._begin_anew()
        if isinstance(fact, UndoFact):
            noted = say("undone", words_before[-1] if words_before else "")
        else:
            noted = say("noted", answer.facts[-1] if answer.facts else "")
        self._move_on(fact)
        return (noted, *self._page_of_stage())

    def _move_on(self, fact: Fact) -> None:
        """Choose the stage that follows a fact."""
        if isinstance(fact, ComplaintFact):
            self._stage = Stage.WORK
            self._ask_contexts()
        elif isinstance(fact, PrestartFact):
            self._stage = Stage.WORK
        elif isinstance(fact, ContextFact) and fact.context in self._questions:
            self._questions.remove(fact.context)
        elif isinstance(fact, UndoFact) and not self._has_trouble:
            self._stage = Stage.COMPLAINT

    def _ask_contexts(self) -> None:
        self._questions = list(self._answer.contexts_open)
        if self._questions:
            self._stage = Stage.CONTEXT

    def _ask_which_holds(self, fact: SymptomFact) -> Page:
        self._stage, self._contested = Stage.WHICH_HOLDS, fact
        question = self._diagnosis.vocabulary.symptoms.get(fact.symptom, fact.symptom)
        now, before = ("yes", "no") if fact.is_present else ("no", "yes")
        return questions.choice_page(
            "which",
            f"{question} You said {before} before. Which holds?",
            choices=(f"{before}, as before", f"{now}, as just typed"),
            hint="type its number; Enter alone: as before",
        )

    def _strike(self, number: int) -> Page:
        words = self._casebook.answer.facts
        struck = words[number - 1] if number <= len(words) else ""
        self._casebook.strike(number)
        self._begin_anew()
        self._stage = Stage.WORK if self._has_trouble else Stage.COMPLAINT
        return (say("struck", struck), *self._page_of_stage())

    def _show(self, request: Show) -> Page:
        answer = self._answer
        match request.view:
            case View.NEXT:
                further = self._further()
                if further:
                    self._begin_anew()
                return (*further, *self._page_of_stage())
            case View.CAUSES:
                bound = self._diagnosis.more_than_two_probability()
                page = suspects.causes_page(self._diagnosis.answer, bound)
                return (*self._further(), *page)
            case View.WHY:
                return explanations.why_page(self._diagnosis.why(request.about))
            case View.EXPECT:
                assert request.step is not None
                return step_page(
                    self._diagnosis.expect(request.step),
                    seen_cautions=self._seen_cautions,
                    ranking=answer.causes,
                )
            case View.FACTS:
                return explanations.facts_page(answer)
            case View.CAUTIONS:
                return answers.cautions_page(answer, self._step_index)
            case View.SYMPTOMS:
                return questions.symptoms_page(
                    self._diagnosis.vocabulary, request.about
                )
            case View.COMPLAINTS | View.HELP | View.PATH:
                return self._list(request)

    def _further(self) -> Page:
        """Say where the answer was completed since the page on the screen."""
        if self._answer is self._diagnosis.answer:
            return ()
        return (say("further", "worked out further since the page before", Tone.ASIDE),)

    def _list(self, request: Show) -> Page:
        """Return what can be typed, what can be told, or what lies on a path."""
        if request.view is View.PATH:
            rows = path_rows(self._diagnosis.car, *request.leads)
            return explanations.path_page(rows)
        if request.view is View.COMPLAINTS:
            return questions.complaints_page(self._diagnosis.vocabulary)
        return questions.help_page(
            [(command.usage, command.says) for command in COMMANDS.values()]
        )

    def _page_of_stage(self) -> Page:
        """Return the question that is open, or else where the diagnosis stands."""
        if self._stage is Stage.COMPLAINT:
            return questions.complaint_page(self._diagnosis.vocabulary)
        if self._stage is Stage.CONTEXT and self._questions:
            question, choices = self._diagnosis.vocabulary.contexts[self._questions[0]]
            return questions.context_page(question, tuple(choices))
        self._stage = Stage.WORK
        is_stuck = self._answer.advice.verdict is Verdict.STOP
        if is_stuck and not self._has_trouble:
            self._stage = Stage.COMPLAINT
            return questions.complaint_page(self._diagnosis.vocabulary)
        return self._answer_page()

    def _answer_page(self) -> Page:
        """Return the page of the answer, and note the cautions read on it."""
        answer = self._answer
        page = answers.answer_page(
            answer,
            step_index=self._step_index,
            seen_cautions=self._seen_cautions,
            vocabulary=self._diagnosis.vocabulary,
        )
        self._seen_cautions |= answers.shown_cautions(answer, self._step_index)
        return page

    def _clash_page(self, error: ImpossibleEvidenceError) -> Page:
        """Say that facts clash, and which can be struck out; nothing is lost."""
        return (
            say("clash", str(error), Tone.PROBLEM),
            *explanations.facts_page(self._answer),
            say(
                "",
                "What was just typed was left out. If it holds, strike out the fact "
                "that does not, and type it again.",
            ),
        )

    def _with_warning(self, page: Page) -> Page:
        warning = self._journal.take_warning()
        if not warning:
            return page
        told = Paragraph(
            margin="saving", lines=(Words(text=warning, tone=Tone.PROBLEM),)
        )
        return (told, *page)


def _has_begun(casebook: Casebook) -> bool:
    """Return whether anything was told but what the owner lacks."""
    return not all(
        isinstance(fact, LimitFact | TakesFact) for fact in casebook.standing
    )


def _is_choice(line: str) -> bool:
    """Return whether a line answers a question with numbered choices."""
    return not line or line.isdecimal()


def _chosen(line: str, names: tuple[str, ...]) -> str:
    """Return the name whose number was typed."""
    number = typed_number(line)
    if not 1 <= number <= len(names):
        raise ReadingError(f"type a number from 1 to {len(names)}")
    return names[number - 1]
