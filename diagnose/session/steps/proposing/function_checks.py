"""What the car does, to look through where nobody says what is wrong.

Each complaint names the symptom whose test closes its case: that is the function the
owner misses. They are gone through in the order of the operating states, from key off
to driving; first those of the whole car, then whether each part works, then the rest.
Leaves what follows from an answer to `ranked_steps`.
"""

from __future__ import annotations

from collections.abc import Collection

from diagnose.inference.compiled.shown_symptoms import can_show
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.session.answer import Advice, Advised, ProposedStep, Verdict
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment
from diagnose.session.steps.proposing.proposals import Proposals

# How many are proposed at once. Own choice: what a page holds, the first in full.
SHOWN_CHECKS = 4


def function_checks(
    model: Model, proposals: Proposals, moment: Moment, *, excluded: Collection[Step]
) -> tuple[ProposedStep, ...]:
    """Return what to look for next, in the order of the operating states.

    Parameters
    ----------
    model : Model
    proposals : Proposals
    moment : Moment
    excluded : Collection[Step]
        Steps taken or skipped.

    Returns
    -------
    tuple[ProposedStep, ...]
        At most `SHOWN_CHECKS`; empty when all are done with.
    """
    knowledge = model.knowledge
    tested = dict.fromkeys(
        complaint.retest
        for complaint in knowledge.complaints.values()
        if can_show(model.compiled, complaint.retest)
    )
    order = {state.name: number for number, state in enumerate(model.car.states)}

    def place(name: str) -> tuple[bool, bool, int]:
        symptom = knowledge.symptoms[name]
        is_of_parts = name not in model.compiled.symptom_index
        # first that each works, then what may be wrong with it besides
        works = name.endswith(("-works", "-is-up"))
        return is_of_parts, is_of_parts and not works, order[symptom.state]

    names = sorted(tested, key=place)
    checks = (SymptomCheck(symptom=name) for name in names)
    left = [check for check in checks if check not in excluded]
    reason = "nothing is complained of: go through what the car does"
    return tuple(
        proposals.asked(check, moment, reason=reason) for check in left[:SHOWN_CHECKS]
    )


def nothing_told(
    model: Model, proposals: Proposals, moment: Moment, *, excluded: Collection[Step]
) -> Advised:
    """Return what to do before anything says that something is wrong.

    Parameters
    ----------
    model : Model
    proposals : Proposals
    moment : Moment
    excluded : Collection[Step]
        Steps taken or skipped.

    Returns
    -------
    Advised
    """
    steps = function_checks(model, proposals, moment, excluded=excluded)
    says = "Say what is wrong: choose a complaint, or name a symptom."
    if steps:
        says += " Or go through what the car does, step by step."
    advice = Advice(verdict=Verdict.OPEN, says=says, cautions=())
    return Advised(steps=steps, advice=advice)
