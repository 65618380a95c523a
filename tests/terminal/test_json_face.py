"""The JSON face speaks as its published schema says, and survives every line."""

from __future__ import annotations

import json
import math
from io import StringIO
from typing import Any

import jsonschema
import pytest

from diagnose.session.casebook import Casebook
from diagnose.session.facts import ReadingFact
from diagnose.terminal.faces.json_face import lines_schema, run_json, to_json

SCHEMA = json.loads(lines_schema())
LINES: tuple[dict[str, Any], ...] = (
    {"ask": "vocabulary"},
    {"complaint": "no-crank"},
    {"context": "wiring", "answer": "fresh"},
    {"symptom": "starter-clicks-only", "present": False},
    {
        "reading": {
            "kind": "volts",
            "state": "key-on",
            "red": "battery.plus",
            "black": "battery.minus",
            "value": 12.4,
        }
    },
    {
        "reading": {
            "kind": "volts",
            "state": "key-on",
            "red": "starter-solenoid.86",
            "black": "battery.minus",
            "value": "20 mV",
        }
    },
    {
        "reading": {
            "kind": "look",
            "state": "key-off",
            "red": "fuel-pump-fuse",
            "value": "sound",
        }
    },
    {
        "reading": {
            "kind": "ohms",
            "state": "isolated",
            "red": "starter-solenoid.86",
            "black": "battery.minus",
            "value": "OL",
        }
    },
    {"swap": "starter-solenoid", "symptom": "engine-cranks", "present": False},
    {
        "bridge": ["battery.minus", "engine.block"],
        "symptom": "engine-cranks",
        "present": False,
    },
    {
        "unplug": "fuel-pump",
        "reading": {
            "kind": "look",
            "state": "key-off",
            "red": "fuel-pump-fuse",
            "value": "sound",
        },
    },
    {"ask": "expect", "step": "swap|starter-solenoid|symptom|engine-cranks"},
    {"ask": "answer"},
    {"ask": "term", "term": "feed end"},
    {"ask": "expect", "step": "volts|cranking|starter.plus|battery.minus"},
    {"skip": "symptom|something-at-key-on"},
    {"strike": 3},
    {"undo": True},
    {"without": "clamp"},
    {"with": "clamp"},
    {"takes": "tank", "minutes": 15},
    {"prestart": True},
)


def validator(direction: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(
        {**SCHEMA, "anyOf": [{"$ref": f"#/$defs/{direction}"}]}
    )


def replies(casebook: Casebook, *lines: object) -> list[dict[str, Any]]:
    """Return the object that answers each line, the opening one left out."""
    texts = [line if isinstance(line, str) else json.dumps(line) for line in lines]
    sink = StringIO()
    source = StringIO("\n".join(texts))
    run_json(casebook, car_title="hill climber", source=source, sink=sink)
    return [json.loads(line) for line in sink.getvalue().splitlines()][1:]


@pytest.mark.parametrize("line", LINES, ids=[" ".join(line) for line in LINES])
def test_lines_of_the_tests_follow_the_schema(line: dict[str, Any]) -> None:
    validator("input").validate(line)


def test_every_line_is_answered_by_one_object_of_the_schema(
    casebook: Casebook,
) -> None:
    answers = replies(casebook, *LINES)

    assert [answer for answer in answers if "error" in answer] == []
    assert len(answers) == len(LINES)
    for answer in answers:
        validator("output").validate(answer)


def test_the_first_line_opens_the_case(casebook: Casebook) -> None:
    sink = StringIO()
    run_json(casebook, car_title="hill climber", source=StringIO(""), sink=sink)

    opened = json.loads(sink.getvalue())
    validator("output").validate(opened)
    assert opened["opened"]["case"] == "sunday"
    assert opened["opened"]["safety_note"].startswith("Work on a car can hurt")


def test_why_is_a_cause_of_the_schema(casebook: Casebook) -> None:
    told = replies(casebook, {"complaint": "no-crank"})
    cause = told[0]["answer"]["causes"][0]["name"]
    (why,) = replies(casebook, {"ask": "why", "cause": cause})

    validator("output").validate(why)
    assert why["why"]["name"] == cause


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("rubbish", "not a JSON line"),
        ("[1]", "a line must be one JSON object"),
        ('{"value": NaN}', "not a JSON line: NaN is not JSON"),
        ("{}", "nothing known in this line; give one of: ask, strike, complaint"),
        ({"complaint": "gremlins"}, 'no complaint "gremlins"'),
        ({"complaint": 7}, '"complaint" must be text, found 7'),
        ({"bridge": ["battery.plus"]}, '"bridge" must be two test points'),
        ({"swap": "starter-solenoid"}, 'what was seen: "symptom" with "present"'),
        ({"symptom": "engine-cranks"}, '"present" must be true or false'),
        ({"ask": "the time"}, "can't be asked"),
        ({"strike": 4}, "there is no fact 4"),
        ({"undo": False}, '"undo" must be true'),
        ({"undo": True}, "there is nothing to take back"),
        ({"reading": 12}, '"reading" must be an object'),
        (
            {
                "reading": {
                    "kind": "volts",
                    "state": "key-on",
                    "red": "battery.plus",
                    "black": "battery.minus",
                    "value": 900,
                }
            },
            "900 V can't be",
        ),
        ("[" * 100_000, "not a JSON line"),
    ],
    ids=str,
)
def test_a_bad_line_is_an_error_object_and_the_next_is_heard(
    casebook: Casebook, line: object, message: str
) -> None:
    error, after = replies(casebook, line, {"ask": "answer"})

    validator("output").validate(error)
    assert message in error["error"]
    assert "answer" in after


def test_a_symptom_told_both_ways_is_an_error(casebook: Casebook) -> None:
    _, error = replies(
        casebook,
        {"symptom": "engine-cranks", "present": True},
        {"symptom": "engine-cranks", "present": False},
    )

    assert error["error_kind"] == "ContradictionError"
    assert casebook.answer.facts == ("engine-cranks: yes",)


def test_a_reading_without_its_black_lead_is_against_the_battery(
    casebook: Casebook,
) -> None:
    reading = {"kind": "volts", "state": "key-on", "red": "fuel-pump.plus", "value": 12}

    replies(casebook, {"reading": reading})
    (fact,) = casebook.standing
    assert isinstance(fact, ReadingFact)
    assert fact.reading.black == "battery.minus"


def test_infinity_is_written_as_over_range() -> None:
    assert to_json({"high": math.inf}) == {"high": "OL"}


def test_over_range_is_heard_as_infinity(casebook: Casebook) -> None:
    replies(casebook, LINES[7])

    (fact,) = casebook.standing
    assert isinstance(fact, ReadingFact)
    assert fact.value == math.inf
