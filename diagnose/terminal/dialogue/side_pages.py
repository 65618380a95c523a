"""Pages that are asked for and tell nothing: lists, explanations, help.

Leaves to `conversation` the page that the person works from.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.circuit.design.reach import hot_post
from diagnose.paperwork.drawing.path_rows import PathRow, path_rows
from diagnose.session.answer import Answer, ProposedStep
from diagnose.session.diagnosis import Diagnosis
from diagnose.terminal.dialogue.typed.commands import COMMANDS
from diagnose.terminal.dialogue.typed.requests import Show, View
from diagnose.terminal.pages import (
    answers,
    complaints,
    explanations,
    paths,
    questions,
    suspects,
)
from diagnose.terminal.pages.page import Page
from diagnose.terminal.pages.steps import step_page, worth_page


def side_page(
    request: Show, diagnosis: Diagnosis, answer: Answer, step_index: int | None
) -> Page:
    """Return a page that was asked for.

    Parameters
    ----------
    request : Show
        Of any view but the page itself.
    diagnosis : Diagnosis
    answer : Answer
        The one on the screen.
    step_index : int or None
        The step on the screen.

    Raises
    ------
    ReadingError
        If it asks for what the car does not have.
    """
    match request.view:
        case View.CAUSES:
            bound = diagnosis.more_than_two_probability()
            return suspects.causes_page(diagnosis.answer, bound)
        case View.WHY:
            return explanations.why_page(diagnosis.why(request.about))
        case View.WORTH | View.EXPECT:
            return _asked_step(request, diagnosis, answer)
        case View.FACTS:
            return explanations.facts_page(answer)
        case View.CAUTIONS:
            return answers.cautions_page(answer, step_index)
        case _:
            return _listed(request, diagnosis)


def path_of(step: ProposedStep | None, car: Car) -> tuple[PathRow, ...]:
    """Return the path of a reading from the supply to ground; none of other steps.

    Volts across the battery's posts are on no one path.

    Parameters
    ----------
    step : ProposedStep or None
        The one on the page.
    car : Car
        What it is taken on.
    """
    if step is None or step.reading is None:
        return ()
    if {step.reading.red, step.reading.black} == {hot_post(car), car.reference}:
        return ()
    return path_rows(car, step.reading.red, step.reading.black)


def _listed(request: Show, diagnosis: Diagnosis) -> Page:
    """Return what can be typed, or told."""
    if request.view is View.SYMPTOMS:
        return questions.symptoms_page(diagnosis.vocabulary, request.about)
    if request.view is View.PATH:
        return paths.path_page(path_rows(diagnosis.car, *request.leads))
    if request.view is View.TERM:
        return questions.term_page(diagnosis.vocabulary, request.about)
    if request.view is View.COMPLAINTS:
        return complaints.complaints_page(diagnosis.vocabulary)
    return questions.help_page(
        [(command.usage, command.says) for command in COMMANDS.values()]
    )


def _asked_step(request: Show, diagnosis: Diagnosis, answer: Answer) -> Page:
    """Return what a step would show, or why it is proposed, in figures."""
    assert request.step is not None
    if request.view is View.EXPECT:
        return step_page(
            diagnosis.expect(request.step),
            ranking=answer.causes,
            briefs=diagnosis.vocabulary.caution_briefs,
        )
    shown = next(one for one in answer.next_steps if one.step == request.step)
    return worth_page(shown, answer.causes)
