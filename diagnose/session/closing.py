"""Whether a case is closed, and what it then says: the fault that was mended.

A case is closed once the complaint's own symptom was tested after a repair and is gone.
The last repair before that is the one that cured: the complaint stood until then.
Leaves keeping cases to `store` and learning from them to `inference.learning`.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from diagnose.circuit.car import Car
from diagnose.errors import ReadingError
from diagnose.faults.history import check_history
from diagnose.faults.knowledge import Knowledge
from diagnose.inference.learning.closed_cases import ClosedCase, PartGroup, can_have
from diagnose.measurement.of_parts.part_complaints import told_complaint
from diagnose.measurement.symptoms import Complaint
from diagnose.session.fact_rows import fact_from_row, standing_rows
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    RepairFact,
    SymptomFact,
)
from diagnose.store.case_rows import FactRow, StoredCase

# Kinds of rows that do not show whether a case is closed.
UNASKED = frozenset(("reading", "skip"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """What a closed case found.

    Parameters
    ----------
    cause : str
        Name of the cause whose repair cured the complaint.
    complaint : str
    history : Mapping[str, str]
        Context to its answer.
    """

    cause: str
    complaint: str
    history: Mapping[str, str]


def cure_of(
    standing: Sequence[Fact], complaints: Mapping[str, Complaint]
) -> Cure | None:
    """Return what cured the complaint, None while it is not proven gone.

    Parameters
    ----------
    standing : Sequence[Fact]
        The facts that count, oldest first.
    complaints : Mapping[str, Complaint]
    """
    told = [f.complaint for f in standing if isinstance(f, ComplaintFact)]
    repairs = [i for i, f in enumerate(standing) if isinstance(f, RepairFact)]
    complaint = told_complaint(told[-1], complaints) if told else None
    if complaint is None or not repairs:
        return None
    tests = [
        f.is_present
        for f in standing[repairs[-1] + 1 :]
        if isinstance(f, SymptomFact) and f.symptom == complaint.retest
    ]
    if not tests or tests[-1] is not complaint.cured_answer:
        return None
    repair = standing[repairs[-1]]
    assert isinstance(repair, RepairFact)
    history = {f.context: f.answer for f in standing if isinstance(f, ContextFact)}
    return Cure(cause=repair.cause, complaint=complaint.name, history=history)


def cure_in(rows: Iterable[FactRow], knowledge: Knowledge) -> Cure | None:
    """Return what cured a stored case's complaint, None while it is open.

    Raises
    ------
    ReadingError
        If a row is no fact that this program knows.
    """
    # readings are the most, and say nothing here
    asked = (row for row in standing_rows(rows) if row.kind not in UNASKED)
    facts = [fact_from_row(row) for row in asked]
    return cure_of(facts, knowledge.complaints)


def closed_case(
    case: StoredCase, cure: Cure, car: Car, knowledge: Knowledge
) -> ClosedCase:
    """Return a case as it may be shown to others: nothing that names anyone.

    Raises
    ------
    ReadingError
        If the car has no such cause, or an answer is none of its question's.
    """
    part_name, _, mode_name = cure.cause.rpartition(":")
    part = next((p for p in car.parts if p.name == part_name), None)
    group = (part.kind, part.role or "") if part is not None else ("", "")
    if not any(m.name == mode_name and can_have(group, m) for m in knowledge.modes):
        raise ReadingError(f'this car has no cause "{cure.cause}"')
    check_history(cure.history, knowledge.contexts)
    identity = f"{case.car_digest} {case.created_at} {case.name}"
    return ClosedCase(
        case_id=hashlib.sha256(identity.encode()).hexdigest()[:32],
        complaint=cure.complaint,
        history=MappingProxyType(dict(sorted(cure.history.items()))),
        parts=MappingProxyType(parts_at_risk(car, knowledge)),
        group=group,
        mode=mode_name,
    )


def parts_at_risk(car: Car, knowledge: Knowledge) -> dict[PartGroup, int]:
    """Return how many parts of each kind and role can fail, in a fixed order."""
    kinds = {mode.kind for mode in knowledge.modes}
    groups = Counter((part.kind, part.role or "") for part in car.parts)
    return {group: groups[group] for group in sorted(groups) if group[0] in kinds}
