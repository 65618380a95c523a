"""Closed cases as lines of JSON, so that a club or a shop can pool them.

A line stands alone: files are pooled by joining them. It holds how many parts of each
kind the car has, the complaint, the answers about its history, and what was mended;
no names, no dates, no readings, no car file. Leaves keeping them to `store`.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Literal, TextIO

from pydantic import Field, StringConstraints, ValidationError

from diagnose.errors import FileProblem, InvalidFileError, did_you_mean
from diagnose.faults.history import HistoryError, check_history
from diagnose.faults.knowledge import Knowledge
from diagnose.files.grammar import Entry, grammar_message, keys_of
from diagnose.inference.learning.closed_cases import ClosedCase, PartGroup, can_have
from diagnose.measurement.of_parts.part_complaints import told_complaint

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

# The longest line that is read. [characters] Own choice: a line has a few hundred.
LONGEST_LINE = 20_000

# A file with more problems than this is not read on: it is another kind of file. [1]
# Own choice.
MOST_PROBLEMS = 20

# The most parts of one kind that a car may have. [1] Own choice: far above any car.
MOST_PARTS = 100_000

# A name in a line.
Word = Annotated[str, StringConstraints(min_length=1, max_length=100)]

# What tells two cases apart: the first 32 digits of a SHA-256.
CaseId = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{32}$")]


class LineEntry(Entry):
    """Any entry of a line."""


class MendedEntry(LineEntry):
    """What was mended."""

    part: Word
    mode: Word


class ClosedCaseEntry(LineEntry):
    """One line."""

    closed_case: Literal[1] = Field(alias="closed-case")
    id: CaseId
    complaint: Word
    history: dict[Word, Word]
    parts: Annotated[
        dict[Word, Annotated[int, Field(ge=1, le=MOST_PARTS)]], Field(min_length=1)
    ]
    mended: MendedEntry


class LineError(ValueError):
    """A line that is no closed case; `key` is where, for its column."""

    def __init__(self, message: str, *, key: str = "", column: int = 0) -> None:
        self.key = key
        self.column = column
        super().__init__(message)


def line_of(case: ClosedCase) -> str:
    """Return a closed case as one line of JSON, without its line feed.

    Parameters
    ----------
    case : ClosedCase
        Complete and checked.
    """
    return json.dumps(
        {
            "closed-case": 1,
            "id": case.case_id,
            "complaint": case.complaint,
            "history": dict(case.history),
            "parts": {_words(group): count for group, count in case.parts.items()},
            "mended": {"part": _words(case.group), "mode": case.mode},
        },
        ensure_ascii=True,
    )


def case_of(line: str) -> ClosedCase:
    """Return the closed case of a line; its names are not checked.

    Parameters
    ----------
    line : str
        With or without its line feed.

    Raises
    ------
    LineError
        With the first thing that is wrong.
    """
    entry = _entry(line)
    return ClosedCase(
        case_id=entry.id,
        complaint=entry.complaint,
        history=MappingProxyType(entry.history),
        parts=MappingProxyType({_group(k): n for k, n in entry.parts.items()}),
        group=_group(entry.mended.part),
        mode=entry.mended.mode,
    )


def line_json_schema() -> dict[str, Any]:
    """Return the JSON Schema of one line."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **ClosedCaseEntry.model_json_schema(by_alias=True),
    }


def read_case_lines(path: Path, knowledge: Knowledge) -> Iterator[ClosedCase]:
    """Yield the closed cases of a file, line by line.

    Parameters
    ----------
    path : Path
        A file of lines; empty lines are passed over.
    knowledge : Knowledge
        Every name in a line has to be one of its names.

    Raises
    ------
    InvalidFileError
        Once the file is read, with its problems, at most `MOST_PROBLEMS`.
    """
    checks = CaseNames(knowledge)
    problems: list[FileProblem] = []
    try:
        with path.open(encoding="utf-8") as source:
            for number, line in enumerate(_lines(source), start=1):
                if not line.strip():
                    continue
                try:
                    case = case_of(line)
                    checks.check(case)
                except LineError as error:
                    problems.append(_problem(path, number, line, error))
                    if len(problems) == MOST_PROBLEMS:
                        break
                else:
                    yield case
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not UTF-8 text"
        problems.append(
            FileProblem(path=str(path), line=0, column=0, message=str(reason))
        )
    if problems:
        raise InvalidFileError(tuple(problems))


def _lines(source: TextIO) -> Iterator[str]:
    """Yield lines, cut when too long, so that no file fills the memory."""
    while line := source.readline(LONGEST_LINE + 1):
        yield line
        while len(line) > LONGEST_LINE and not line.endswith("\n"):
            line = source.readline(LONGEST_LINE + 1)


def _entry(line: str) -> ClosedCaseEntry:
    if len(line) > LONGEST_LINE:
        raise LineError(f"longer than {LONGEST_LINE} letters: not a closed case")
    try:
        data = json.loads(line)
    except (ValueError, RecursionError) as error:
        is_deep = isinstance(error, RecursionError)
        reason = getattr(error, "msg", "nested too deep" if is_deep else str(error))
        column = getattr(error, "colno", 1)
        raise LineError(f"not JSON: {reason.lower()}", column=column) from error
    if not isinstance(data, dict):
        raise LineError('found no object, expected {"closed-case": 1, ...}')
    try:
        return ClosedCaseEntry.model_validate(data)
    except ValidationError as error:
        detail = error.errors(include_url=False)[0]
        raise LineError(_message(detail), key=_key(detail)) from error


def _key(detail: ErrorDetails) -> str:
    """Return the innermost key of the line that an error is about."""
    location = [str(step) for step in detail["loc"] if step != "[key]"]
    if detail["type"] == "missing":
        location.pop()
    return location[-1] if location else ""


def _message(detail: ErrorDetails) -> str:
    if detail["loc"] == ("id",) and detail["type"] == "string_pattern_mismatch":
        return "id: expected 32 digits of 0-9 and a-f"
    return grammar_message(detail, keys_of(LineEntry))


class CaseNames:
    """The names that a closed case may use.

    Parameters
    ----------
    knowledge : Knowledge
        Has all of them.
    """

    def __init__(self, knowledge: Knowledge) -> None:
        self._modes = knowledge.modes
        self._kinds = {mode.kind for mode in knowledge.modes}
        self._roles = knowledge.roles
        self._complaints = knowledge.complaints
        self._contexts = knowledge.contexts
        self._faults: dict[PartGroup, frozenset[str]] = {}

    def check(self, case: ClosedCase) -> None:
        """Refuse a case with a name that is not known.

        Parameters
        ----------
        case : ClosedCase
            As `case_of` gives it.

        Raises
        ------
        LineError
            With the first of them.
        """
        if told_complaint(case.complaint, self._complaints) is None:
            _known(case.complaint, self._complaints, "complaint", key="complaint")
        try:
            check_history(case.history, self._contexts)
        except HistoryError as error:
            raise LineError(str(error), key=error.context) from error
        for group in (*case.parts, case.group):
            if group not in self._faults:
                self._faults[group] = self._faults_of(group)
        if case.group not in case.parts:
            raise LineError(
                f'mended "{_words(case.group)}", but the car has no such part',
                key="mended",
            )
        possible = self._faults[case.group]
        _known(case.mode, possible, f"fault of {_words(case.group)}", key="mode")

    def _faults_of(self, group: PartGroup) -> frozenset[str]:
        """Return the modes that parts of a group can have; refuse an unknown group."""
        kind, role = group
        _known(kind, self._kinds, "kind of part", key=_words(group))
        if role:
            _known(role, self._roles, "role", key=_words(group))
        return frozenset(m.name for m in self._modes if can_have(group, m))


def _known(name: str, known: Collection[str], what: str, *, key: str) -> None:
    if name not in known:
        raise LineError(
            f'"{name}" is no known {what}{did_you_mean(name, known)}', key=key
        )


def _problem(path: Path, number: int, line: str, error: LineError) -> FileProblem:
    place = line.find(json.dumps(error.key)) if error.key else -1
    return FileProblem(
        path=str(path),
        line=number,
        column=error.column or max(place, 0) + 1,
        message=str(error),
    )


def _words(group: PartGroup) -> str:
    """Return a kind and role as one key.

    Examples
    --------
    >>> _words(("wire", "ground-strap"))
    'wire ground-strap'
    """
    kind, role = group
    return f"{kind} {role}" if role else kind


def _group(words: str) -> PartGroup:
    kind, _, role = words.partition(" ")
    return kind, role
