"""The JSON face: one object a line in, one object a line out, for other programs.

``lines.schema.json`` beside this module describes both directions. A bad line is
answered by an error object, and the conversation goes on.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from importlib.resources import files
from typing import TextIO

from diagnose.errors import DiagnoseError, ReadingError
from diagnose.measurement.steps import SubstitutionTest, step_of_name
from diagnose.session.answer import ProposedStep
from diagnose.session.casebook import Casebook
from diagnose.session.fact_rows import OVER_RANGE, fact_from_row
from diagnose.session.facts import ReadingFact, SubstitutionFact
from diagnose.store.case_rows import FactRow
from diagnose.terminal.faces.json_rows import (
    CHANGES,
    ROW_KINDS,
    ROWS,
    Json,
    with_black,
    words_of,
)
from diagnose.terminal.names import known_name
from diagnose.units import check_range

# Told in the first line; raised by one when a line changes its meaning.
PROTOCOL_VERSION = 1


def lines_schema() -> str:
    """Return the JSON Schema of the lines, in both directions."""
    schema = files("diagnose.terminal") / "lines.schema.json"
    return schema.read_text(encoding="utf-8")


def run_json(
    casebook: Casebook, *, car_title: str, source: TextIO, sink: TextIO
) -> None:
    """Answer JSON lines until the end of input.

    Parameters
    ----------
    casebook : Casebook
        New, or with the facts of an earlier evening restored.
    car_title : str
        The car in words, for the first line.
    source, sink : TextIO
        Where lines come from and go to.
    """
    opened: dict[str, Json] = {
        "protocol": PROTOCOL_VERSION,
        "case": casebook.journal.name,
        "car": car_title,
        "safety_note": casebook.diagnosis.safety_note,
    }
    _write(sink, {"opened": opened}, casebook)
    while line := source.readline():
        if line.strip():
            _write(sink, _reply(line, casebook), casebook)


def to_json(value: object) -> Json:
    """Return records as plain JSON values; an over-range resistance becomes ``"OL"``.

    Raises
    ------
    TypeError
        If the value holds anything but records, numbers, words and their collections.
    """
    if isinstance(value, Enum):
        return to_json(value.value)
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, float):
        return OVER_RANGE if math.isinf(value) else value
    if isinstance(value, Mapping):
        return {str(key): to_json(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [to_json(item) for item in value]
    if isinstance(value, ProposedStep):
        return _step_row(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: to_json(getattr(value, item.name)) for item in fields(value)}
    raise TypeError(f"{type(value).__name__} has no place in a JSON line")


def _step_row(proposed: ProposedStep) -> Json:
    """Return a proposed step, the reading it holds spelled out beside the rest."""
    reading, step = proposed.reading, proposed.step
    kind = reading.kind if reading else None
    changed = step.substitution if isinstance(step, SubstitutionTest) else None
    return {
        "name": step.name,
        "kind": "test" if changed else "reading" if reading else "symptom",
        "done": changed.kind.value if changed else "",
        "at": changed.at if changed else "",
        "to": changed.to if changed else "",
        "reading_kind": kind.value if kind else "",
        "instruction": proposed.instruction,
        "cautions": to_json(proposed.cautions),
        "minutes": proposed.minutes,
        "saves_minutes": proposed.saves_minutes,
        "bits": proposed.bits,
        "expected": to_json(proposed.expected),
        "state": proposed.state,
        "red": reading.red if reading else "",
        "black": reading.black if reading else "",
        "unit": kind.unit.value if kind and kind.unit else "",
        "reason": proposed.reason,
        "card": to_json(proposed.card),
    }


def _write(sink: TextIO, reply: dict[str, Json], casebook: Casebook) -> None:
    warning = casebook.journal.take_warning()
    if warning:
        reply["warning"] = warning
    sink.write(json.dumps(reply, ensure_ascii=True, allow_nan=False) + "\n")
    sink.flush()


def _reply(line: str, casebook: Casebook) -> dict[str, Json]:
    """Return the answer to one line, or what is wrong with it."""
    try:
        return _handle(_parse(line), casebook)
    except DiagnoseError as error:
        return {"error": str(error), "error_kind": type(error).__name__}


def _parse(line: str) -> dict[str, Json]:
    try:
        found = json.loads(line, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise ReadingError(f"not a JSON line: {error}") from error
    if not isinstance(found, dict):
        raise ReadingError('a line must be one JSON object, such as {"undo": true}')
    return found


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not JSON")


def _handle(asked: dict[str, Json], casebook: Casebook) -> dict[str, Json]:
    """Do what one object asks for."""
    if "ask" in asked:
        return _ask(asked, casebook)
    if "strike" in asked:
        number = asked["strike"]
        if isinstance(number, bool) or not isinstance(number, int):
            raise ReadingError('"strike" must be the number of a fact')
        return {"answer": to_json(casebook.strike(number))}
    # a change of the circuit holds a symptom or a reading
    for word in (*CHANGES, *ROWS):
        if word in asked:
            row = ROWS[word]
            kind = ROW_KINDS.get(word, word)
            fact = fact_from_row(FactRow(kind=kind, content=row(asked)))
            if isinstance(fact, ReadingFact):
                fact = with_black(fact, casebook.diagnosis.vocabulary.reference)
            seen = fact.seen if isinstance(fact, SubstitutionFact) else fact
            if isinstance(seen, ReadingFact) and seen.reading.kind.unit:
                check_range(seen.value, seen.reading.kind.unit)
            return {"answer": to_json(casebook.tell(fact))}
    known = ", ".join(["ask", "strike", *ROWS])
    raise ReadingError(f"nothing known in this line; give one of: {known}")


def _ask(asked: dict[str, Json], casebook: Casebook) -> dict[str, Json]:
    """Answer a question that tells nothing new."""
    diagnosis = casebook.diagnosis
    match asked["ask"]:
        case "answer":
            return {"answer": to_json(casebook.answer)}
        case "why":
            return {"why": to_json(diagnosis.why(words_of(asked, "cause")))}
        case "expect":
            step = step_of_name(words_of(asked, "step"))
            return {"expect": to_json(diagnosis.expect(step))}
        case "vocabulary":
            return {"vocabulary": to_json(diagnosis.vocabulary)}
        case "term":
            terms = diagnosis.vocabulary.terms
            return {"term": terms[known_name(words_of(asked, "term"), terms, "term")]}
        case other:
            raise ReadingError(
                f'"{other}" can\'t be asked; ask for answer, why, expect, '
                "term or vocabulary"
            )
