"""Facts as rows: what the store keeps and the JSON face speaks, and back.

The one place that knows how a fact record is spelled outside the program. Leaves the
keeping to `store` and the conclusions to `diagnosis`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType

from diagnose.errors import ReadingError
from diagnose.measurement.readings import Reading, ReadingKind
from diagnose.measurement.steps import step_of_name
from diagnose.measurement.substitutions import Substitution, SubstitutionKind
from diagnose.session.facts import (
    ComplaintFact,
    ContextFact,
    Fact,
    LimitFact,
    PrestartFact,
    ReadingFact,
    RepairFact,
    SkipFact,
    SubstitutionFact,
    SymptomFact,
    TakesFact,
    UndoFact,
)
from diagnose.store.case_rows import FactContent, FactRow

# How an over-range reading is written: JSON has no infinity.
OVER_RANGE = "OL"

# The kind of the row that takes the latest standing row back.
UNDO = "undo"


def fact_to_row(fact: Fact) -> FactRow:
    """Return the row of a fact.

    Examples
    --------
    >>> fact_to_row(ComplaintFact(complaint="no-crank")).kind
    'complaint'
    """
    match fact:
        case ContextFact():
            return _row("context", context=fact.context, answer=fact.answer)
        case ComplaintFact():
            return _row("complaint", complaint=fact.complaint)
        case SymptomFact():
            return _row("symptom", symptom=fact.symptom, is_present=fact.is_present)
        case ReadingFact():
            return _reading_row(fact)
        case SubstitutionFact():
            return _substitution_row(fact)
        case RepairFact():
            return _row("repair", cause=fact.cause)
        case SkipFact():
            return _row("skip", step=fact.step.name)
        case PrestartFact() | LimitFact() | TakesFact():
            return _owner_row(fact)
        case UndoFact():
            return _row(UNDO)


def _reading_row(fact: ReadingFact) -> FactRow:
    reading, value = fact.reading, fact.value
    further: dict[str, str | float | bool] = {}
    if fact.rounded_to:
        further["rounded_to"] = fact.rounded_to
    if fact.told_as:
        further["told_as"] = fact.told_as
    if fact.while_it_shows is not None:
        further["while_it_shows"] = fact.while_it_shows
    return _row(
        "reading",
        kind=reading.kind.value,
        state=reading.state,
        red=reading.red,
        black=reading.black,
        value=OVER_RANGE if math.isinf(value) else value,
        **further,
    )


def _substitution_row(fact: SubstitutionFact) -> FactRow:
    """Return the row of a test: what was changed, then what was seen."""
    changed = fact.substitution
    ends = {"to": changed.to} if changed.to else {}
    return _row(
        "substitution",
        done=changed.kind.value,
        at=changed.at,
        **ends,
        **fact_to_row(fact.seen).content,
    )


def _owner_row(fact: PrestartFact | LimitFact | TakesFact) -> FactRow:
    match fact:
        case PrestartFact():
            return _row("prestart")
        case LimitFact():
            return _row("limit", limit=fact.limit, is_lacking=fact.is_lacking)
        case TakesFact():
            return _row("takes", subject=fact.subject, minutes=fact.minutes)


def fact_from_row(row: FactRow) -> Fact:
    """Return the fact of a row.

    Raises
    ------
    ReadingError
        If the row is no fact, or a field is missing or of the wrong type.
    """
    read = _READERS.get(row.kind)
    if read is None:
        known = ", ".join(_READERS)
        raise ReadingError(f'"{row.kind}" is not a kind of fact; known are: {known}')
    return read(row.content)


def standing_rows(rows: Iterable[FactRow]) -> tuple[FactRow, ...]:
    """Return the rows that are not taken back, oldest first, whether facts or not."""
    standing: list[FactRow] = []
    for row in rows:
        if row.kind != UNDO:
            standing.append(row)
        elif standing:
            standing.pop()
    return tuple(standing)


def _row(row_kind: str, /, **content: str | float | bool) -> FactRow:
    return FactRow(kind=row_kind, content=MappingProxyType(content))


def _words(content: FactContent, key: str) -> str:
    value = content.get(key)
    if not isinstance(value, str):
        raise ReadingError(f'"{key}" must be text, found {value!r}')
    return value


def _yes_or_no(content: FactContent, key: str) -> bool:
    value = content.get(key)
    if not isinstance(value, bool):
        raise ReadingError(f'"{key}" must be true or false, found {value!r}')
    return value


def _number(content: FactContent, key: str) -> float:
    value = content.get(key)
    if value == OVER_RANGE:
        return math.inf
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ReadingError(f'"{key}" must be a number or "OL", found {value!r}')
    try:
        return float(value)
    except OverflowError as error:
        raise ReadingError(f'"{key}" is larger than any number on a car') from error


def _reading(content: FactContent) -> ReadingFact:
    kinds = {kind.value: kind for kind in ReadingKind}
    name = _words(content, "kind")
    if name not in kinds:
        raise ReadingError(
            f'"{name}" is not a kind of reading; known are: {", ".join(kinds)}'
        )
    return ReadingFact(
        reading=Reading(
            kind=kinds[name],
            state=_words(content, "state"),
            red=_words(content, "red"),
            black=_words(content, "black"),
        ),
        value=_number(content, "value"),
        rounded_to=_number(content, "rounded_to") if "rounded_to" in content else 0.0,
        told_as=_words(content, "told_as") if "told_as" in content else "",
        while_it_shows=_yes_or_no(content, "while_it_shows")
        if "while_it_shows" in content
        else None,
    )


def _substitution(content: FactContent) -> SubstitutionFact:
    kinds = {kind.value: kind for kind in SubstitutionKind}
    name = _words(content, "done")
    if name not in kinds:
        raise ReadingError(
            f'"{name}" is no change of the circuit; known are: {", ".join(kinds)}'
        )
    is_lead = kinds[name] is SubstitutionKind.BRIDGE
    substitution = Substitution(
        kind=kinds[name],
        at=_words(content, "at"),
        to=_words(content, "to") if is_lead else "",
    )
    seen = _symptom(content) if "symptom" in content else _reading(content)
    return SubstitutionFact(substitution=substitution, seen=seen)


def _symptom(content: FactContent) -> SymptomFact:
    return SymptomFact(
        symptom=_words(content, "symptom"),
        is_present=_yes_or_no(content, "is_present"),
    )


# How the row of each kind of fact is read back.
_READERS: Mapping[str, Callable[[FactContent], Fact]] = MappingProxyType(
    {
        "context": lambda content: ContextFact(
            context=_words(content, "context"), answer=_words(content, "answer")
        ),
        "complaint": lambda content: ComplaintFact(
            complaint=_words(content, "complaint")
        ),
        "symptom": _symptom,
        "reading": _reading,
        "substitution": _substitution,
        "repair": lambda content: RepairFact(cause=_words(content, "cause")),
        "skip": lambda content: SkipFact(step=step_of_name(_words(content, "step"))),
        "prestart": lambda content: PrestartFact(),  # noqa: ARG005  (no fields)
        "limit": lambda content: LimitFact(
            limit=_words(content, "limit"),
            is_lacking=_yes_or_no(content, "is_lacking"),
        ),
        "takes": lambda content: TakesFact(
            subject=_words(content, "subject"), minutes=_number(content, "minutes")
        ),
        UNDO: lambda content: UndoFact(),  # noqa: ARG005  (no fields)
    }
)
