"""The conversation: lines in, pages out, one state machine for screen and pipe.

Asks what is wrong, then the car's history, then takes facts until the person leaves.
Every fact goes through the casebook, so it is kept before a page shows what follows: a
killed process or a flat battery loses nothing. Enter answers a question only where the
question is the last thing that was shown. A reading that is hardly meant as it was
typed is asked about before it counts. Leaves the page worked from to `work_page`.
"""

from __future__ import annotations

from dataclasses import replace

from diagnose.errors import DiagnoseError, ImpossibleEvidenceError, ReadingError
from diagnose.session.advice.doubtful_readings import Doubt
from diagnose.session.answer import Verdict
from diagnose.session.casebook import Casebook, ContradictionError
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    PrestartFact,
    ReadingFact,
    SymptomFact,
    UndoFact,
)
from diagnose.terminal.dialogue.resumed import about_to
from diagnose.terminal.dialogue.several import told_together
from diagnose.terminal.dialogue.side_pages import side_page
from diagnose.terminal.dialogue.stages import (
    ASIDE_STAGES,
    UNDO,
    WHEN,
    Before,
    Stage,
    has_begun,
    history_asked,
    history_left,
    history_to_ask,
    history_told,
    latest_reading,
    meant_fact,
    undone_words,
)
from diagnose.terminal.dialogue.typed.choices import chosen
from diagnose.terminal.dialogue.typed.desk import Desk
from diagnose.terminal.dialogue.typed.requests import (
    Leave,
    Request,
    Show,
    Strike,
    TakeUp,
    Tell,
    View,
)
from diagnose.terminal.dialogue.typed.understanding import is_command, understand
from diagnose.terminal.dialogue.work_page import WorkPage
from diagnose.terminal.pages import complaints, explanations, questions
from diagnose.terminal.pages.ending import farewell
from diagnose.terminal.pages.page import Page, Paragraph, Tone, Words, say
from diagnose.terminal.safe_text import clean

# Typed to be asked nothing more about the history.
SKIP_ALL = "skip all"


class Conversation:
    """One person and one diagnosis.

    Parameters
    ----------
    casebook : Casebook
        New, or with the facts of an earlier evening restored.
    kept_where : str
        Options that a resume of the case needs, such as where cases are kept.
    resumed_at : str or None
        Of a case that is gone on with, the step on the page that was shown last,
        empty for none; None for a case that begins.
    """

    def __init__(
        self,
        casebook: Casebook,
        *,
        kept_where: str = "",
        resumed_at: str | None = None,
    ) -> None:
        self._casebook = casebook
        self._kept_where = kept_where
        self._diagnosis = casebook.diagnosis
        self._journal = casebook.journal
        self._vocabulary = casebook.diagnosis.vocabulary
        self._stage = Stage.WORK if has_begun(casebook.standing) else Stage.COMPLAINT
        self._questions: list[str] = []
        self._contested: SymptomFact | None = None
        self._doubt: Doubt | None = None
        self._lines: list[Before] = []
        self._is_asked = self._was_asked = False
        self.is_over = False
        self._page = WorkPage(casebook)
        self._is_resumed = resumed_at is not None and self._stage is Stage.WORK
        if resumed_at:
            self._page.resume_at(resumed_at)

    @property
    def prompt(self) -> str:
        """The word before the cursor: what a bare line answers."""
        if self._stage is not Stage.WORK:
            return "number"
        return self._page.prompt

    @property
    def offer(self) -> str:
        """What was worked out while the page stood, for a line below it; else empty."""
        return self._page.offer if self._stage is Stage.WORK else ""

    def open(self) -> Page:
        """Return the first page after the safety note."""
        before = (
            about_to(self._page.answer, self._page.step) if self._is_resumed else ()
        )
        return self._with_warning((*before, *self._page_of_stage()))

    def hear(self, line: str) -> Page:
        """Take one line and return the page that answers it.

        A mistake in the line is a page too; nothing told before is lost by it.
        """
        self._was_asked, self._is_asked = self._is_asked, False
        before = self._before_line()
        count = len(self._lines)
        try:
            page = self._hear_all(line)
        except ImpossibleEvidenceError as error:
            page = explanations.clash_page(str(error), self._page.answer)
        except DiagnoseError as error:
            page = (say("unclear", str(error), Tone.PROBLEM),)
        if self._before_line() != before and len(self._lines) == count:
            self._lines.append(before)
        return self._with_warning(page)

    def interrupted(self) -> Page:
        """Return the page after Ctrl-C cut a line short: it counts whole or not at all.

        A fact that was on the disk by then counts.
        """
        before = self._page.answer.facts
        try:
            self._casebook.settle()
        except DiagnoseError as error:
            return (say("stopped", str(error), Tone.PROBLEM),)
        self._page.begin_anew()
        self._contested = self._doubt = None
        if self._stage is not Stage.CONTEXT or not self._has_trouble:
            self._stage = Stage.WORK if self._has_trouble else Stage.COMPLAINT
        counts = "counts" if self._page.answer.facts != before else "does not count"
        words = f"What was typed {counts}. Type facts to see what does."
        return (say("stopped", words, Tone.ASIDE),)

    def farewell(self) -> Page:
        """Return the last page: whether the case is kept, and how to go on."""
        is_kept = self._journal.is_saved
        return farewell(self._journal.name if is_kept else "", self._kept_where)

    @property
    def _has_trouble(self) -> bool:
        """Whether there is a case: a complaint, a symptom, or a first start ahead."""
        return any(
            isinstance(fact, ComplaintFact | SymptomFact | PrestartFact)
            for fact in self._casebook.standing
        )

    def _before_line(self) -> Before:
        stage = Stage.WORK if self._stage in ASIDE_STAGES else self._stage
        return Before(
            standing=self._casebook.standing,
            stage=stage,
            questions=tuple(self._questions) if stage is Stage.CONTEXT else (),
            step_index=self._page.step_index,
        )

    def _hear_all(self, line: str) -> Page:
        """Take a line, or several that came together: all of them or none."""
        facts = told_together(line, self._understand)
        if not facts:
            return self._hear(clean(line))
        for fact in facts:
            if isinstance(fact, ReadingFact) and self._diagnosis.doubt(fact):
                raise ReadingError(
                    f"{self._diagnosis.words_of(fact)}: that is hardly what was read. "
                    "Nothing of this was taken; type that one by itself"
                )
        count = len(self._casebook.answer.facts)
        answer = self._casebook.tell_all(facts)
        self._page.begin_anew()
        noted = tuple(Words(text=words) for words in answer.facts[count:])
        self._stage = Stage.WORK
        return (Paragraph(margin="noted", lines=noted), *self._page_of_stage())

    def _hear(self, line: str) -> Page:
        if not line and self._stage is not Stage.WORK and not self._was_asked:
            return self._page_of_stage()
        match self._stage:
            case Stage.COMPLAINT:
                return self._hear_complaint(line)
            case Stage.CONTEXT | Stage.WORK if line.lower() == SKIP_ALL:
                self._questions = []
                return self._page_of_stage()
            case Stage.CONTEXT:
                return self._choose_context("" if line.lower() == "skip" else line)
            case Stage.WHICH_HOLDS:
                return self._choose_which_holds(line)
            case Stage.MEANT:
                return self._choose_meant(line)
            case _:
                return self._described(line)

    def _understand(self, line: str) -> Request:
        desk = Desk(
            vocabulary=self._vocabulary,
            answer=self._page.answer,
            step=self._page.step if self._stage is Stage.WORK else None,
            latest=latest_reading(self._casebook.standing),
            unchanged=self._diagnosis.unchanged(),
        )
        return understand(line, desk)

    def _carry_out(self, request: Request) -> Page:
        match request:
            case Tell(fact=UndoFact()) if self._lines:
                return self._undo()
            case Tell(fact=ReadingFact() as fact):
                return self._doubted(fact, request.is_unsure) or self._tell(fact)
            case Tell(fact=fact):
                return self._tell(fact)
            case Strike(number=number):
                return self._strike(number)
            case Show():
                return self._show(request)
            case TakeUp(step_index=index):
                self._page.step_index = index
                return self._page.drawn()
            case Leave():
                self.is_over = True
                return ()

    def _hear_complaint(self, line: str) -> Page:
        """Take the answer to what is wrong: a number, a group, or words for it."""
        if not line:
            # nothing is told yet that the history could tell anything of
            self._stage = Stage.WORK
            return self._page_of_stage()
        narrowed = complaints.narrowed_page(line, self._vocabulary)
        if narrowed:
            return narrowed
        number = chosen(line, tuple(self._vocabulary.complaints.values()))
        if number is None and not is_command(line):
            number = complaints.meant(line, self._vocabulary)
        if number is not None:
            name = tuple(self._vocabulary.complaints)[number]
            return self._tell(ComplaintFact(complaint=name))
        return self._described(line)

    def _described(self, line: str) -> Page:
        """Carry out a line; with nothing told yet it may describe what is wrong."""
        try:
            request = self._understand(line)
        except DiagnoseError:
            found = complaints.matches_page(line, self._vocabulary)
            if self._has_trouble or is_command(line) or not found:
                raise
            self._stage = Stage.COMPLAINT
            return found
        return self._carry_out(request)

    def _choose_context(self, line: str) -> Page:
        asked, words = self._questions[0], self._vocabulary
        number = chosen(line, history_asked(asked, words)[1]) if line else None
        if line and number is None:
            return self._carry_out(self._understand(line))
        self._questions.pop(0)
        if number is None:
            return self._page_of_stage()
        return self._tell(history_told(asked, number, words))

    def _choose_which_holds(self, line: str) -> Page:
        """Settle a symptom that was told both ways."""
        contested, self._contested, self._stage = self._contested, None, Stage.WORK
        held = ("as before", "as just typed")
        number = chosen(line, held) if line.lower() not in ("", UNDO) else 0
        if contested is None or number is None:
            try:
                return self._hear(line)
            except DiagnoseError:
                # the question stands until it is answered or something else is told
                self._stage, self._contested = Stage.WHICH_HOLDS, contested
                raise
        if number == 1:
            self._casebook.replace(contested)
            self._page.begin_anew()
        return self._page_of_stage()

    def _doubted(self, fact: ReadingFact, is_unsure: bool) -> Page:
        """Ask whether a reading was meant as it was typed; empty where it was."""
        doubt = self._diagnosis.doubt(fact)
        if is_unsure:
            doubt = Doubt(told=fact, meant=fact, because="the reading before")
        if doubt is None:
            return ()
        self._stage, self._doubt = Stage.MEANT, doubt
        return self._ask_meant(doubt)

    def _ask_meant(self, doubt: Doubt) -> Page:
        self._is_asked = True
        told, meant = self._diagnosis.words_of(doubt.told), ""
        if doubt.meant is not None:
            meant = self._diagnosis.words_of(replace(doubt.meant, told_as=""))
            told = meant if doubt.meant == doubt.told else told
        return questions.meant_page(told, meant, doubt.because)

    def _choose_meant(self, line: str) -> Page:
        """Settle what a doubtful reading was meant as."""
        doubt, self._stage, self._doubt = self._doubt, Stage.WORK, None
        assert doubt is not None
        meant, told = doubt.meant, doubt.told
        if line.lower() == UNDO or (meant is None and not line):
            words = self._diagnosis.words_of(told)
            return (say("forgotten", words), *self._page_of_stage())
        if meant is not None and line.rstrip(".)").lower() in ("", "1", "y", "yes"):
            return self._tell(meant_fact(doubt))
        if meant not in (None, told) and line.rstrip(".)") == "2":
            return self._tell(told)
        try:
            request = self._understand(line)
        except DiagnoseError:
            self._stage, self._doubt = Stage.MEANT, doubt
            raise
        if request == Tell(fact=told):
            twice = say("twice", "told twice, so it is believed", Tone.ASIDE)
            return (twice, *self._tell(told))
        return self._carry_out(request)

    def _tell(self, fact: Fact) -> Page:
        """Tell one fact and show what follows from it."""
        words_before = self._casebook.answer.facts
        try:
            answer = self._casebook.tell(fact)
        except ContradictionError as contradiction:
            return self._ask_which_holds(contradiction.fact)
        self._page.begin_anew()
        if isinstance(fact, UndoFact):
            noted = say("undone", words_before[-1] if words_before else "")
        else:
            noted = say("noted", answer.facts[-1] if answer.facts else "")
        self._move_on(fact)
        return (noted, *self._page_of_stage())

    def _undo(self) -> Page:
        """Take back what the last line did, and say what that was."""
        before = self._lines.pop()
        words = self._casebook.answer.facts
        again = self._casebook.stand(before.standing).facts
        self._page.begin_anew()
        self._contested = self._doubt = None
        is_step = self._page.step_index != before.step_index and not before.questions
        self._stage, self._questions = before.stage, list(before.questions)
        self._page.step_index = before.step_index
        if self._stage is Stage.WORK and not self._has_trouble:
            self._stage = Stage.COMPLAINT
        undone = undone_words(words, again, is_step=is_step)
        lines = tuple(Words(text=one) for one in undone)
        return (Paragraph(margin="undone", lines=lines), *self._page_of_stage())

    def _move_on(self, fact: Fact) -> None:
        """Choose the stage that follows a fact."""
        if isinstance(fact, ComplaintFact):
            asked = self._page.answer.contexts_open
            self._questions = history_to_ask(fact.complaint, asked, self._vocabulary)
            self._stage = Stage.CONTEXT if self._questions else Stage.WORK
        elif isinstance(fact, PrestartFact):
            self._stage = Stage.WORK
        elif isinstance(fact, ContextFact) and self._stage is Stage.CONTEXT:
            # an answer may leave another question little to tell
            still = {*self._page.answer.contexts_open, WHEN}
            left = filter(still.__contains__, self._questions)
            self._questions = history_left(fact, left, self._vocabulary)
        elif isinstance(fact, UndoFact) and not self._has_trouble:
            self._stage = Stage.COMPLAINT

    def _ask_which_holds(self, fact: SymptomFact) -> Page:
        self._stage, self._contested = Stage.WHICH_HOLDS, fact
        self._is_asked = True
        question = self._vocabulary.asked.get(fact.symptom, fact.symptom)
        return questions.which_page(question, now=fact.is_present)

    def _strike(self, number: int) -> Page:
        words = self._casebook.answer.facts
        struck = words[number - 1] if number <= len(words) else ""
        self._casebook.strike(number)
        self._page.begin_anew()
        self._stage = Stage.WORK if self._has_trouble else Stage.COMPLAINT
        return (say("struck", struck), *self._page_of_stage())

    def _show(self, request: Show) -> Page:
        if request.view is View.PAGE:
            return self._page_of_stage()
        further = (
            self._page.further() if request.view in (View.NEXT, View.CAUSES) else ()
        )
        if request.view is not View.NEXT:
            page = side_page(
                request, self._diagnosis, self._page.answer, self._page.step_index
            )
            return (*further, *page)
        if further:
            self._page.begin_anew()
        return (*further, *self._page_of_stage())

    def _page_of_stage(self) -> Page:
        """Return the question that is open, or else where the diagnosis stands."""
        self._is_asked = True
        if self._stage is Stage.MEANT and self._doubt is not None:
            return self._ask_meant(self._doubt)
        if self._stage is Stage.WHICH_HOLDS and self._contested is not None:
            return self._ask_which_holds(self._contested)
        if self._stage is Stage.COMPLAINT:
            return complaints.complaint_page(self._vocabulary)
        if self._stage is Stage.CONTEXT and self._questions:
            asked = history_asked(self._questions[0], self._vocabulary)
            return questions.context_page(*asked)
        self._stage = Stage.WORK
        is_stuck = self._page.answer.advice.verdict is Verdict.STOP
        if is_stuck and not self._has_trouble:
            self._stage = Stage.COMPLAINT
            return complaints.complaint_page(self._vocabulary)
        return self._page.drawn()

    def _with_warning(self, page: Page) -> Page:
        warning = self._journal.take_warning()
        if not warning:
            return page
        told = Paragraph(
            margin="saving", lines=(Words(text=warning, tone=Tone.PROBLEM),)
        )
        return (told, *page)
