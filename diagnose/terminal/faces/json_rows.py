"""What a line of JSON tells, as the row of a fact."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType

from diagnose.errors import ReadingError
from diagnose.measurement.readings import ReadingKind
from diagnose.measurement.substitutions import SubstitutionKind
from diagnose.session.facts import ReadingFact
from diagnose.terminal.reading_kinds import TOLD_IN_WORDS
from diagnose.typed_readings import parse_reading

# Readings that have no black lead. By definition.
_WITHOUT_BLACK = frozenset({ReadingKind.AMPS, ReadingKind.FUSE, ReadingKind.LOOK})


# A value of a JSON line.
Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]


# The content of a row of the case store, as `session.fact_rows` reads it.
Row = dict[str, str | float | bool]


def with_black(fact: ReadingFact, reference: str) -> ReadingFact:
    """Return a reading with its black lead: the battery's post where none was told."""
    reading = fact.reading
    if reading.black or reading.kind in _WITHOUT_BLACK:
        return fact
    return replace(fact, reading=replace(reading, black=reference))


def words_of(asked: Mapping[str, Json], key: str) -> str:
    """Return the text under a key; anything else there is refused."""
    value = asked.get(key)
    if not isinstance(value, str):
        raise ReadingError(f'"{key}" must be text, found {json.dumps(value)}')
    return value


def _reading_row(asked: dict[str, Json]) -> Row:
    """Return the row of a reading; its value may be typed the way people do."""
    reading = asked["reading"]
    if not isinstance(reading, dict):
        raise ReadingError('"reading" must be an object with kind, state, red, value')
    kind = words_of(reading, "kind")
    value, rounded_to = reading.get("value"), 0.0
    if isinstance(value, str):
        value, rounded_to = _value_of_text(value, kind)
    if not isinstance(value, (int, float, str)):
        raise ReadingError(f'"value" must be a number or text, found {value!r}')
    shows = reading.get("while_it_shows")
    if shows is not None and not isinstance(shows, bool):
        raise ReadingError(f'"while_it_shows" must be true or false, found {shows!r}')
    when: Row = {} if shows is None else {"while_it_shows": shows}
    return {
        "kind": kind,
        "state": words_of(reading, "state"),
        "red": words_of(reading, "red"),
        "black": words_of(reading, "black") if "black" in reading else "",
        "value": value,
        "rounded_to": rounded_to,
        **when,
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
    return {"symptom": words_of(asked, "symptom"), "is_present": present}


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
        row = {"done": done, "at": words_of(asked, done)}
    if ("symptom" in asked) == ("reading" in asked):
        raise ReadingError('what was seen: "symptom" with "present", or "reading"')
    seen = _symptom_row(asked) if "symptom" in asked else _reading_row(asked)
    return {**row, **seen}


def _context_row(asked: dict[str, Json]) -> Row:
    return {"context": words_of(asked, "context"), "answer": words_of(asked, "answer")}


def _limit_row(asked: dict[str, Json], word: str) -> Row:
    return {"limit": words_of(asked, word), "is_lacking": word == "without"}


def _takes_row(asked: dict[str, Json]) -> Row:
    minutes = asked.get("minutes")
    if isinstance(minutes, bool) or not isinstance(minutes, (int, float)):
        raise ReadingError('"minutes" must be a number')
    return {"subject": words_of(asked, "takes"), "minutes": minutes}


def _true_row(asked: dict[str, Json], kind: str) -> Row:
    if asked[kind] is not True:
        raise ReadingError(f'"{kind}" must be true')
    return {}


# What is done to the circuit for a test.
CHANGES = tuple(kind.value for kind in SubstitutionKind)


# The kind of row that some words stand for; others name their own.
ROW_KINDS: Mapping[str, str] = MappingProxyType(
    {
        "with": "limit",
        "without": "limit",
        **dict.fromkeys(CHANGES, "substitution"),
    }
)


# How the object of each kind of fact is turned into a row of the case store.
ROWS: Mapping[str, Callable[[dict[str, Json]], Row]] = MappingProxyType(
    {
        "complaint": lambda asked: {"complaint": words_of(asked, "complaint")},
        "context": _context_row,
        "symptom": _symptom_row,
        "reading": _reading_row,
        "bridge": lambda asked: _substitution_row(asked, "bridge"),
        "swap": lambda asked: _substitution_row(asked, "swap"),
        "unplug": lambda asked: _substitution_row(asked, "unplug"),
        "repair": lambda asked: {"cause": words_of(asked, "repair")},
        "skip": lambda asked: {"step": words_of(asked, "skip")},
        "without": lambda asked: _limit_row(asked, "without"),
        "with": lambda asked: _limit_row(asked, "with"),
        "takes": _takes_row,
        "prestart": lambda asked: _true_row(asked, "prestart"),
        "undo": lambda asked: _true_row(asked, "undo"),
    }
)
