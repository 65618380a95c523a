"""The JSON face: one object a line in, one object a line out, for other programs.

``lines.schema.json`` beside this module describes both directions. A bad line is
answered by an error object, and the conversation goes on.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from importlib.resources import files
from types import MappingProxyType
from typing import TextIO

from diagnose.errors import DiagnoseError, ReadingError
from diagnose.measurement.readings import ReadingKind
from diagnose.measurement.steps import SubstitutionTest, step_of_name
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.session.answer import ProposedStep
from diagnose.session.casebook import Casebook
from diagnose.session.fact_rows import OVER_RANGE, fact_from_row
from diagnose.session.facts import ReadingFact, SubstitutionFact
from diagnose.store.case_store import FactRow
from diagnose.terminal.names import known_name
from diagnose.terminal.reading_kinds import TOLD_IN_WORDS
from diagnose.typed_readings import parse_reading
from diagnose.units import check_range

# Told in the first line; raised by one when a line changes its meaning.
PROTOCOL_VERSION = 1

# Readings that have no black lead. By definition.
_WITHOUT_BLACK = frozenset({ReadingKind.AMPS, ReadingKind.FUSE, ReadingKind.LOOK})

# A value of a JSON line.
Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]

# The content of a row of the case store, as `session.fact_rows` reads it.
Row = dict[str, str | float | bool]


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
    for word in (*_CHANGES, *_ROWS):
        if word in asked:
            row = _ROWS[word]
            kind = _ROW_KINDS.get(word, word)
            fact = fact_from_row(FactRow(kind=kind, content=row(asked)))
            if isinstance(fact, ReadingFact):
                fact = _with_black(fact, casebook.diagnosis.vocabulary.reference)
            seen = fact.seen if isinstance(fact, SubstitutionFact) else fact
            if isinstance(seen, ReadingFact) and seen.reading.kind.unit:
                check_range(seen.value, seen.reading.kind.unit)
            return {"answer": to_json(casebook.tell(fact))}
    known = ", ".join(["ask", "strike", *_ROWS])
    raise ReadingError(f"nothing known in this line; give one of: {known}")


def _with_black(fact: ReadingFact, reference: str) -> ReadingFact:
    """Return a reading with its black lead: the battery's post where none was told."""
    reading = fact.reading
    if reading.black or reading.kind in _WITHOUT_BLACK:
        return fact
    return replace(fact, reading=replace(reading, black=reference))


def _ask(asked: dict[str, Json], casebook: Casebook) -> dict[str, Json]:
    """Answer a question that tells nothing new."""
    diagnosis = casebook.diagnosis
    match asked["ask"]:
        case "answer":
            return {"answer": to_json(casebook.answer)}
        case "why":
            return {"why": to_json(diagnosis.why(_words(asked, "cause")))}
        case "expect":
            step = step_of_name(_words(asked, "step"))
            return {"expect": to_json(diagnosis.expect(step))}
        case "vocabulary":
            return {"vocabulary": to_json(diagnosis.vocabulary)}
        case "term":
            terms = diagnosis.vocabulary.terms
            return {"term": terms[known_name(_words(asked, "term"), terms, "term")]}
        case other:
            raise ReadingError(
                f'"{other}" can\'t be asked; ask for answer, why, expect, '
                "term or vocabulary"
            )


def _words(asked: Mapping[str, Json], key: str) -> str:
    value = asked.get(key)
    if not isinstance(value, str):
        raise ReadingError(f'"{key}" must be text, found {json.dumps(value)}')
    return value


def _reading_row(asked: dict[str, Json]) -> Row:
    """Return the row of a reading; its value may be typed the way people do."""
    reading = asked["reading"]
    if not isinstance(reading, dict):
        raise ReadingError('"reading" must be an object with kind, state, red, value')
    kind = _words(reading, "kind")
    value, rounded_to = reading.get("value"), 0.0
    if isinstance(value, str):
        value, rounded_to = _value_of_text(value, kind)
    if not isinstance(value, (int, float, str)):
        raise ReadingError(f'"value" must be a number or text, found {value!r}')
    return {
        "kind": kind,
        "state": _words(reading, "state"),
        "red": _words(reading, "red"),
        "black": _words(reading, "black") if "black" in reading else "",
        "value": value,
        "rounded_to": rounded_to,
    }


def _value_of_text(text: str, kind: str) -> tuple[float | str, float]:
    """Return the value that a text stands for, and what its last digit is worth.

    What is no value is left as it is.
    """
    known = {one.value: one for one in ReadingKind}.get(kind)
    if known is None:
        return text, 0.0
    if known.unit is not None:
        measured = parse_reading(text, known.unit)
        return measured.value, measured.rounded_to
    return TOLD_IN_WORDS[known].get(text, text), 0.0


def _symptom_row(asked: dict[str, Json]) -> Row:
    present = asked.get("present")
    if not isinstance(present, bool):
        raise ReadingError('"present" must be true or false')
    return {"symptom": _words(asked, "symptom"), "is_present": present}


def _substitution_row(asked: dict[str, Json], done: str) -> Row:
    """Return the row of a test: what was changed, then a symptom or a reading."""
    ends = asked[done]
    is_lead = done == SubstitutionKind.BRIDGE.value
    if is_lead:
        if (
            not isinstance(ends, list)
            or len(ends) != 2
            or not all(isinstance(end, str) for end in ends)
        ):
            raise ReadingError('"bridge" must be two test points, such as ["a", "b"]')
        at, to = (str(end) for end in ends)
        row: Row = {"done": done, "at": at, "to": to}
    else:
        row = {"done": done, "at": _words(asked, done)}
    if ("symptom" in asked) == ("reading" in asked):
        raise ReadingError('what was seen: "symptom" with "present", or "reading"')
    seen = _symptom_row(asked) if "symptom" in asked else _reading_row(asked)
    return {**row, **seen}


def _context_row(asked: dict[str, Json]) -> Row:
    return {"context": _words(asked, "context"), "answer": _words(asked, "answer")}


def _limit_row(asked: dict[str, Json], word: str) -> Row:
    return {"limit": _words(asked, word), "is_lacking": word == "without"}


def _takes_row(asked: dict[str, Json]) -> Row:
    minutes = asked.get("minutes")
    if isinstance(minutes, bool) or not isinstance(minutes, (int, float)):
        raise ReadingError('"minutes" must be a number')
    return {"subject": _words(asked, "takes"), "minutes": minutes}


def _true_row(asked: dict[str, Json], kind: str) -> Row:
    if asked[kind] is not True:
        raise ReadingError(f'"{kind}" must be true')
    return {}


# What is done to the circuit for a test.
_CHANGES = tuple(kind.value for kind in SubstitutionKind)

# The kind of row that some words stand for; others name their own.
_ROW_KINDS: Mapping[str, str] = MappingProxyType(
    {
        "with": "limit",
        "without": "limit",
        **dict.fromkeys(_CHANGES, "substitution"),
    }
)

# How the object of each kind of fact is turned into a row of the case store.
_ROWS: Mapping[str, Callable[[dict[str, Json]], Row]] = MappingProxyType(
    {
        "complaint": lambda asked: {"complaint": _words(asked, "complaint")},
        "context": _context_row,
        "symptom": _symptom_row,
        "reading": _reading_row,
        "bridge": lambda asked: _substitution_row(asked, "bridge"),
        "swap": lambda asked: _substitution_row(asked, "swap"),
        "unplug": lambda asked: _substitution_row(asked, "unplug"),
        "repair": lambda asked: {"cause": _words(asked, "repair")},
        "skip": lambda asked: {"step": _words(asked, "skip")},
        "without": lambda asked: _limit_row(asked, "without"),
        "with": lambda asked: _limit_row(asked, "with"),
        "takes": _takes_row,
        "prestart": lambda asked: _true_row(asked, "prestart"),
        "undo": lambda asked: _true_row(asked, "undo"),
    }
)
