"""Answers about a car's history that no question has are refused in one way."""

from __future__ import annotations

import pytest

from diagnose.faults.history import HistoryError, check_history
from diagnose.measurement.symptoms import Context

WATER = Context(name="water", question="Was it wet?", states={"dry": 0.9, "wet": 0.1})
HEAT = Context(name="heat", question="Was it hot?", states={"hot": 0.5, "cold": 0.5})


def test_answers_that_the_questions_have_pass() -> None:
    check_history({"heat": "cold", "water": "wet"}, (WATER, HEAT))


@pytest.mark.parametrize(
    ("answers", "context", "message"),
    [
        (
            {"heat": "hot", "watr": "wet"},
            "watr",
            '"watr" is no question about the history (did you mean "water"?); '
            "known: water, heat",
        ),
        (
            {"water": "hot"},  # an answer of the other question
            "water",
            '"hot" is no answer to water; known: dry, wet',
        ),
        (
            {"heat": "hott"},
            "heat",
            '"hott" is no answer to heat (did you mean "hot"?); known: hot, cold',
        ),
    ],
)
def test_what_is_wrong_is_said_with_the_nearest_known_name(
    answers: dict[str, str], context: str, message: str
) -> None:
    with pytest.raises(HistoryError) as caught:
        check_history(answers, (WATER, HEAT))

    assert (str(caught.value), caught.value.context) == (message, context)
