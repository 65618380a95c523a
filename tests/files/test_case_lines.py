"""Closed cases as lines: what they say, what they keep to themselves, what is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from diagnose.errors import InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.cases.case_lines import (
    LONGEST_LINE,
    MOST_PROBLEMS,
    case_of,
    line_json_schema,
    line_of,
    read_case_lines,
)
from diagnose.inference.learning.closed_cases import ClosedCase

CASE = ClosedCase(
    case_id="0123456789abcdef" * 2,
    complaint="no-crank",
    history={"water": "wet"},
    parts={("fuse", ""): 12, ("wire", "ground-strap"): 2},
    group=("wire", "ground-strap"),
    mode="cable_high_resistance_a",
)
GOOD = line_of(CASE)


def problems(text: str, tmp_path: Path, knowledge: Knowledge) -> list[str]:
    path = tmp_path / "pool.jsonl"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InvalidFileError) as caught:
        list(read_case_lines(path, knowledge))
    return [f"{p.line}:{p.column}: {p.message}" for p in caught.value.problems]


def test_line_comes_back_as_the_same_case() -> None:
    assert case_of(line_of(CASE)) == CASE


def test_line_is_plain_json_with_these_keys() -> None:
    # The whole line: nothing in it names a person, a car or a day.
    assert json.loads(GOOD) == {
        "closed-case": 1,
        "id": "0123456789abcdef0123456789abcdef",
        "complaint": "no-crank",
        "history": {"water": "wet"},
        "parts": {"fuse": 12, "wire ground-strap": 2},
        "mended": {"part": "wire ground-strap", "mode": "cable_high_resistance_a"},
    }


def test_schema_takes_a_line_and_no_unknown_key() -> None:
    schema = line_json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    checker = jsonschema.Draft202012Validator(schema)

    assert checker.is_valid(json.loads(GOOD))
    assert not checker.is_valid({**json.loads(GOOD), "owner": "Ann"})


def test_files_are_pooled_by_joining_them(tmp_path: Path, knowledge: Knowledge) -> None:
    path = tmp_path / "pool.jsonl"
    path.write_text(f"{GOOD}\n\n{GOOD}\n", encoding="utf-8")

    assert list(read_case_lines(path, knowledge)) == [CASE, CASE]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('"closed-case": 1', '"closed-case": 2', "1:2: closed-case: found 2, exp"),
        ('"id": "0', '"id": "Z', "1:20: id: expected 32 digits of 0-9 and a-f"),
        ('"no-crank"', '"no-crnk"', '"no-crnk" is no known complaint (did you mean'),
        ('"wet"', '"damp"', '1:99: "damp" is no answer to water; known: dry, wet'),
        ('"water"', '"watr"', '"watr" is no question about the history (did you'),
        ('"fuse": 12', '"fuze": 12', '"fuze" is no known kind of part (did you mean'),
        ('"fuse": 12', '"fuse": 1.5', "fuse: found 1.5, expected a whole number"),
        ('"fuse": 12', '"fuse": 0', "fuse: found 0, expected a number of at least 1"),
        ("ground-strap", "strap", '"strap" is no known role'),
        (
            '"part": "wire ground-strap"',
            '"part": "wire"',
            'mended "wire", but the car has no such part',
        ),
        ("cable_high_resistance_a", "blown", '"blown" is no known fault of wire'),
        ('"complaint"', '"complain"', '"complain'),
        ('"history": {"water": "wet"}, ', "", '1:1: "history" is missing'),
        ('{"closed', '["closed', "1:15: not JSON: expecting ',' delimiter"),
    ],
)
def test_each_problem_has_one_message_with_its_place(
    old: str, new: str, expected: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    assert old in GOOD

    (found,) = problems(GOOD.replace(old, new), tmp_path, knowledge)

    assert expected in found


def test_all_problems_of_a_file_are_told_at_once(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    text = f"{GOOD}\nnot a case\n{GOOD}\n[1]\n"

    found = problems(text, tmp_path, knowledge)

    assert [problem.split(":")[0] for problem in found] == ["2", "4"]


def test_another_kind_of_file_is_not_read_to_its_end(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    found = problems("a line of prose\n" * 1000, tmp_path, knowledge)

    assert len(found) == MOST_PROBLEMS


def test_endless_line_is_refused_without_reading_it_whole(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    found = problems("[" * (10 * LONGEST_LINE), tmp_path, knowledge)

    assert found == [f"1:1: longer than {LONGEST_LINE} letters: not a closed case"]


def test_missing_file_is_a_problem(tmp_path: Path, knowledge: Knowledge) -> None:
    with pytest.raises(InvalidFileError, match="No such file"):
        list(read_case_lines(tmp_path / "none.jsonl", knowledge))


def test_file_that_is_no_text_is_a_problem(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    path = tmp_path / "pool.jsonl"
    path.write_bytes(b"\xff\xfe\x00")

    with pytest.raises(InvalidFileError, match="not UTF-8 text"):
        list(read_case_lines(path, knowledge))


@pytest.mark.parametrize(
    "line",
    [
        '{"closed-case": ' + "9" * 5000 + "}",
        '{"closed-case": ' + "9" * 400 + "}",
        '{"closed-case": 1e999}',
        '{"closed-case": 1, "complaint": "\\ud800"}',
        '{"\\ud800": 1}',
        "[" * 19_000,
        "9" * 5000,
    ],
)
def test_numbers_and_letters_that_are_none_are_problems(
    tmp_path: Path, knowledge: Knowledge, line: str
) -> None:
    found = problems(line + "\n", tmp_path, knowledge)

    assert len(found) == 1
    assert found[0].startswith("1:")


@pytest.mark.parametrize("digits", [400, 4000, 5000])
def test_a_number_of_parts_is_never_endless(
    tmp_path: Path, knowledge: Knowledge, digits: int
) -> None:
    line = json.dumps({"closed-case": 1, "parts": {"fuse": 0}})
    found = problems(line.replace("0}", "9" * digits + "}"), tmp_path, knowledge)

    assert len(found) == 1
