"""Which steps are done with: taken since the latest repair, or skipped.

A reading that may well have been a slip can be asked for again, once: the same leads in
the same state tell a slip from a cause for the price of a probe, and more than once it
would be asked for without end where a fault comes and goes. So can an answer that may
well be wrong. In the next breath only where it likely was: whoever is asked the same
twice in a row says the same, from the same wrong terminal. What was just told is not
asked again in other words: whether a fuse is blown is one question, looked at or asked
for. Leaves how likely a mistake is to `mistakes`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.circuit.car import Car
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import Step, SymptomCheck
from diagnose.measurement.symptoms import Claim, Quantity, Symptom
from diagnose.session.evidence.implied.mistakes import Mistakes
from diagnose.session.evidence.seen import while_it_shows
from diagnose.session.facts import (
    Fact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SubstitutionFact,
    SymptomFact,
)
from diagnose.session.ready_car import Model
from diagnose.session.steps.moment import Moment

# A reading likelier than this to have been a slip, or an answer wrong, may be worth
# repeating. [1] Own choice: one reading in fifty is a slip before anything is known
# of it.
DOUBTFUL = 0.03

# The same of what was told just before. [1] Own choice: one in four; what is less
# doubtful is worth repeating once something else speaks against it.
DOUBTFUL_AT_ONCE = 0.25


def same_steps(model: Model) -> Mapping[Step, Step]:
    """Return steps that ask the same as another one, in other words.

    Parameters
    ----------
    model : Model

    Returns
    -------
    Mapping[Step, Step]
        Each of two such steps to the other: the look at a fuse, and the question
        whether it is blown.
    """
    result: dict[Step, Step] = {}
    for name in model.compiled.symptom_names:
        look = _look_of(model.knowledge.symptoms[name], model.car)
        if look is not None:
            asked = SymptomCheck(symptom=name)
            result |= {asked: look, look: asked}
    return result


def _told_twice(facts: Sequence[Fact]) -> set[Step]:
    """Return the steps told more than once since the latest repair.

    Whatever became of their answers: that of a test after a repair may count as the
    repair's failure alone, and would be asked for without end.
    """
    told: dict[Step, int] = {}
    for fact in facts:
        if isinstance(fact, RepairFact):
            told.clear()
        elif isinstance(fact, ReadingFact | SymptomFact | SubstitutionFact):
            told[fact.step] = told.get(fact.step, 0) + 1
    return {step for step, times in told.items() if times > 1}


def _look_of(symptom: Symptom, car: Car) -> Reading | None:
    """Return the look at a fuse that answers a question; None where none does."""
    claims = symptom.when.members
    if len(claims) != 1 or not isinstance(claims[0], Claim):
        return None
    if claims[0].quantity is not Quantity.IS_BLOWN:
        return None
    fuses = [part.name for part in car.parts if part.role == claims[0].role]
    if len(fuses) != 1:
        return None
    first = car.states[0].name
    return Reading(kind=ReadingKind.LOOK, state=first, red=fuses[0], black="")


def taken_steps(
    moment: Moment, mistakes: Mistakes, same: Mapping[Step, Step]
) -> frozenset[Step]:
    """Return the steps already taken since the latest repair, or skipped.

    Parameters
    ----------
    moment : Moment
    mistakes : Mistakes
        How likely a fact was a mistake.
    same : Mapping[Step, Step]
        Steps that ask the same, see `same_steps`.

    Returns
    -------
    frozenset[Step]
    """
    taken = {fact.step for fact in moment.facts if isinstance(fact, SkipFact)}
    seen: set[Step] = set()
    conclusion = moment.conclusion
    for number, noted in enumerate(conclusion.observations):
        if noted.epoch < len(conclusion.repairs):
            continue
        step = noted.observation.step
        if while_it_shows(noted.observation) is False:
            # it says little of what comes and goes: worth reading while it is there
            continue
        is_latest = bool(moment.facts) and moment.facts[-1] == noted.observation
        least = DOUBTFUL_AT_ONCE if is_latest else DOUBTFUL
        if step in seen or mistakes.chance(conclusion, number) < least:
            taken.add(step)
        seen.add(step)
    taken |= _told_twice(moment.facts)
    return frozenset(taken) | {same[one] for one in taken | seen if one in same}
