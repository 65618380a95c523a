"""What is really wrong with the car of a worked case, and where the ranking has it.

Leaves going through the case to `case_replay` and `case_recording`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from diagnose.faults.causes import FaultSet
from diagnose.session.answer import Answer, Verdict
from diagnose.session.ready_car import Model
from diagnose.session.sheets.chosen_readings import check_cause_name


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where the ranking has the first true cause.

    Parameters
    ----------
    rank : int
        Counted from 1; 0 when none is in the ranking. [1]
    probability : float
        Of that line; 0 when none is in the ranking. [1]
    """

    rank: int
    probability: float


def cause_indices(names: Iterable[str], model: Model) -> FaultSet:
    """Return the numbers of causes, rising.

    Parameters
    ----------
    names : Iterable[str]
        `Cause.name` of each.
    model : Model
        The car, made ready for diagnosis.

    Raises
    ------
    ReadingError
        If the car has no such cause.
    """
    causes = model.compiled.causes
    wanted = list(names)
    for name in wanted:
        check_cause_name(name, causes)
    places = {cause.name: index for index, cause in enumerate(causes)}
    return tuple(sorted(places[name] for name in wanted))


def line_of(cause: str, model: Model) -> frozenset[str]:
    """Return the causes that no reading tells apart and one repair mends, by name."""
    (index,) = cause_indices([cause], model)
    causes = model.compiled.causes
    line = next(line for line in model.lines if index in line)
    return frozenset(causes[member].name for member in line)


def standing(answer: Answer, true_causes: frozenset[str]) -> Standing:
    """Return where the ranking has the first of the true causes."""
    for rank, line in enumerate(answer.causes, start=1):
        if true_causes & set(line.members):
            return Standing(rank=rank, probability=line.probability)
    return Standing(rank=0, probability=0.0)


def is_wrong_repair(answer: Answer, true_causes: frozenset[str], model: Model) -> bool:
    """Return whether a repair is advised that mends none of the true causes."""
    advice = answer.advice
    if advice.verdict is not Verdict.REPAIR:
        return False
    return not true_causes & line_of(advice.cause, model)
