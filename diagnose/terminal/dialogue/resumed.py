"""A case gone on with: the page that was left stands again, and what was about to be.

What is worked out anew may rank other steps first; the person may be at the car with
the leads on for the one that was shown.
"""

from __future__ import annotations

from dataclasses import replace

from diagnose.errors import DiagnoseError
from diagnose.measurement.steps import step_of_name
from diagnose.session.answer import Answer, ProposedStep, Verdict
from diagnose.session.diagnosis import Diagnosis
from diagnose.terminal.pages.page import Page, say


def resumed_page(
    at_step: str, diagnosis: Diagnosis, answer: Answer
) -> tuple[Answer, int | None]:
    """Return the answer with the step that was on the page, and its place.

    Parameters
    ----------
    at_step : str
        Name of the step.
    diagnosis : Diagnosis
    answer : Answer
        As worked out anew.
    """
    try:
        step = step_of_name(at_step)
        known = [one.step for one in answer.next_steps]
        if step in known:
            return answer, known.index(step)
        if answer.advice.verdict is Verdict.FIXED or not answer.causes:
            return answer, 0
        before = replace(diagnosis.expect(step), reason="as before you left")
    except DiagnoseError:
        return answer, 0
    return replace(answer, next_steps=(before, *answer.next_steps)), 0


def about_to(answer: Answer, step: ProposedStep | None) -> Page:
    """Return what the person was about to do when the case was left."""
    words = ""
    if step is not None and step.reading is None:
        words = f"look for this: {step.card.act}"
    elif step is not None:
        lines = ", ".join(f"{line.name} {line.text}" for line in step.card.lines)
        words = f"read {step.card.act}: {lines}"
    elif answer.advice.verdict is Verdict.REPAIR:
        words = "mend what is advised below"
    return (say("before", f"you were about to {words}"),) if words else ()
