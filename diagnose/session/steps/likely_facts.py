"""Looking ahead: the facts that are likely to be told next.

A person is minutes at the car between two facts. What the answer to a likely one needs
can be solved meanwhile. Leaves the solving to `concluding`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from diagnose.measurement.probe_lamp import GRADES
from diagnose.measurement.readings import ReadingKind
from diagnose.measurement.steps import SubstitutionTest, SymptomCheck
from diagnose.session.answer import (
    Answer,
    ExpectedValue,
    ProposedStep,
    Verdict,
)
from diagnose.session.facts import (
    Fact,
    ReadingFact,
    RepairFact,
    SubstitutionFact,
    SymptomFact,
)

# How many facts are supposed. Own choice: what is looked at first is likeliest, and a
# person is minutes at the car.
MOST_SUPPOSED = 12

# Values that differ by a smaller share, or by less than so many units, need the same
# solved. [1] and [V, Ω, A] Own choice.
SAME_SHARE = 0.05


def likely_facts(
    answer: Answer, further_values: Sequence[float] = ()
) -> tuple[Fact, ...]:
    """Return what may be told next, the likeliest first.

    The repair where one is advised, and each outcome of the first step proposed that
    the sound car or a leading cause gives.

    Parameters
    ----------
    answer : Answer
        What is shown now.
    further_values : Sequence[float]
        What else the first step proposed may well show, the likeliest first.

    Returns
    -------
    tuple[Fact, ...]
    """
    supposed: list[Fact] = []
    if answer.advice.verdict is Verdict.REPAIR and answer.advice.cause:
        supposed.append(RepairFact(cause=answer.advice.cause))
    for step in answer.next_steps[:1]:
        supposed += _outcomes(step, further_values)
    return tuple(supposed[:MOST_SUPPOSED])


def _outcomes(step: ProposedStep, further_values: Sequence[float]) -> list[Fact]:
    """Return the outcomes of a step, those of the leading causes before the healthy."""
    reading = step.step
    if isinstance(reading, SubstitutionTest):
        seen = _outcomes(replace(step, step=reading.look), ())
        return [
            SubstitutionFact(substitution=reading.substitution, seen=one)
            for one in seen
            if isinstance(one, ReadingFact | SymptomFact)
        ]
    if isinstance(reading, SymptomCheck):
        name = reading.symptom
        return [SymptomFact(symptom=name, is_present=told) for told in (True, False)]
    kind = reading.kind
    values: list[float] = []
    for expected in (*step.expected[1:], *step.expected[:1]):
        values.append(_shown(expected, kind))
    if kind not in (ReadingKind.LOOK, ReadingKind.LAMP):
        values += further_values
    values = _apart(values)
    return [ReadingFact(reading=reading, value=value) for value in values]


def _apart(values: Sequence[float]) -> list[float]:
    """Return values without those that stand for an earlier one."""
    kept: list[float] = []
    for value in values:
        if not any(_is_close(value, other) for other in kept):
            kept.append(value)
    return kept


def _shown(expected: ExpectedValue, kind: ReadingKind) -> float:
    """Return one value that a meter would show in the middle of what is expected."""
    if math.isinf(expected.high) or math.isinf(expected.low):
        return math.inf
    middle = 0.5 * (expected.low + expected.high)
    if kind is ReadingKind.LOOK:
        return float(middle > 0.5)
    if kind is ReadingKind.LAMP:
        return min(GRADES.values(), key=lambda grade: abs(grade - middle))
    return middle


def _is_close(first: float, second: float) -> bool:
    return first == second or math.isclose(
        first, second, rel_tol=SAME_SHARE, abs_tol=SAME_SHARE
    )
