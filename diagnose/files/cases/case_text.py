"""Worked cases as YAML that a mechanic can read, comments and all.

Leaves reading them to `case_file`.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterator

from diagnose.files.cases.case_file import OVER_RANGE
from diagnose.files.cases.worked_case import (
    CaseStep,
    Measured,
    Must,
    Repaired,
    Seen,
    Tried,
    WorkedCase,
)
from diagnose.measurement.probe_lamp import grade_words
from diagnose.measurement.readings import ReadingKind
from diagnose.units import MOST_OHMS, Unit, format_typed

# Longest line of the text. [characters] Own choice, as in the code.
WIDTH = 88

# What every written case says of itself first, a paragraph each. Own words.
_HEADER = (
    "A worked case: an invented evening at an invented car. The readings were not "
    "made up: they are what the circuit of the car gives with the fault named under "
    "`made`, with other tolerances than the diagnosis knows, and with the errors of a "
    "meter.",
    "Each step is what was seen, measured or mended. `then` is what the program must "
    "say after it: its advice, the place of the ranking at which a true cause stands "
    "at the latest, and the probability it has at least.",
    "Cautions stand before the first step they belong to. The manual of the car comes "
    "first.",
)

# Text that needs no quotes in YAML.
_PLAIN = re.compile(r"[A-Za-z][\w ,;()/'’-]*(?<! )")

# Words that some YAML reader takes for something else than text.
_WORDS_OF_OTHER_TYPES = frozenset(("true", "false", "null", "nan", "inf"))


def case_text(case: WorkedCase) -> str:
    """Return a case as the text of a case file.

    Parameters
    ----------
    case : WorkedCase
        Its steps with the remarks to stand before them.
    """
    return "\n".join(_lines(case)) + "\n"


def _lines(case: WorkedCase) -> Iterator[str]:
    for paragraph in _HEADER:
        yield from _comment(paragraph, "")
    yield "case-file: 1"
    yield f"title: {_scalar(case.title)}"
    yield f"car: {_scalar(case.car)}"
    yield f"complaint: {case.complaint}"
    yield "owner: >-"
    yield from textwrap.wrap(
        case.owner, width=WIDTH, initial_indent="  ", subsequent_indent="  "
    )
    if case.history:
        yield f"history: {_flow(dict(case.history))}"
    making = case.making
    yield "made:                         # how the readings came about"
    yield f"  faults: [{', '.join(making.faults)}]"
    yield f"  seed: {making.seed}"
    yield f"  cars: {making.cars}"
    yield f"  car: {making.car}"
    if case.start != Must():
        yield f"at-start: {_must(case.start)}"
    yield "steps:"
    for step in case.steps:
        yield from _step_lines(step)
    end: dict[str, str] = {}
    if case.final_advice:
        end["advice"] = case.final_advice
    end["wrong-repairs"] = str(case.most_wrong_repairs)
    yield f"at-the-end: {_flow(end)}"


def _step_lines(step: CaseStep) -> Iterator[str]:
    for remark in step.remarks:
        yield from _comment(remark, "  ")
    lines = [f"{key}: {value}" for key, value in _event_keys(step.event).items()]
    if step.must != Must():
        lines.append(f"then: {_must(step.must)}")
    for number, line in enumerate(lines):
        yield f"  {'- ' if number == 0 else '  '}{line}"


def _event_keys(event: Seen | Measured | Tried | Repaired) -> dict[str, str]:
    match event:
        case Tried(substitution=change, seen=seen):
            where = f"[{change.at}, {change.to}]" if change.to else change.at
            return {change.kind.value: where, **_event_keys(seen)}
        case Seen(symptom=symptom, is_present=is_present):
            return {"symptom": symptom, "answer": _yes_or_no(is_present)}
        case Repaired(cause=cause, is_cured=is_cured):
            return {"repair": cause, "cures": _yes_or_no(is_cured)}
        case Measured(reading=reading, value=value):
            if reading.kind is ReadingKind.LOOK:
                found = "blown" if value > 0.5 else "sound"
                return {"look": reading.red, "found": found, "state": reading.state}
            shown = _shown(reading.kind, value)
            keys = {reading.kind.value: shown}
            if not reading.black:
                return {**keys, "at": reading.red, "state": reading.state}
            leads = {"red": reading.red, "black": reading.black}
            return {**keys, **leads, "state": reading.state}


def _shown(kind: ReadingKind, value: float) -> str:
    if kind is ReadingKind.LAMP:
        return grade_words(value)
    if kind is ReadingKind.FUSE:
        return f"{1e3 * value:.6g} mV"
    assert kind.unit is not None, "a look is written as it was answered"
    return _amount(value, kind.unit)


def _amount(value: float, unit: Unit) -> str:
    if unit is Unit.OHMS and value > MOST_OHMS:
        return OVER_RANGE
    return format_typed(value, unit)


def _yes_or_no(is_so: bool) -> str:
    return "yes" if is_so else "no"


def _must(must: Must) -> str:
    content: dict[str, str] = {}
    if must.advice:
        content["advice"] = must.advice
    if must.rank:
        content["rank"] = str(must.rank)
    if must.probability:
        content["probability"] = f"{must.probability:g}"
    return _flow(content)


def _flow(content: dict[str, str]) -> str:
    return "{" + ", ".join(f"{key}: {value}" for key, value in content.items()) + "}"


def _scalar(text: str) -> str:
    """Return text as YAML, in quotes unless it can't be misread."""
    if _PLAIN.fullmatch(text) and text.lower() not in _WORDS_OF_OTHER_TYPES:
        return text
    return json.dumps(text, ensure_ascii=False)


def _comment(text: str, indent: str) -> Iterator[str]:
    start = f"{indent}# "
    yield from textwrap.wrap(
        text,
        width=WIDTH,
        initial_indent=start,
        subsequent_indent=start,
        break_on_hyphens=False,
    )
