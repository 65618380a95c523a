"""Completion is a pure function of the text before the cursor."""

from __future__ import annotations

import pytest

from diagnose.terminal.dialogue.typed.completion import Suggestion, suggestions
from tests.terminal.sample_records import VOCABULARY


def words(text: str) -> list[str]:
    return [found.word for found in suggestions(text, VOCABULARY)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("rea", ["read"]),
        ("read pump.", ["pump.plus", "pump.minus"]),
        ("read pump.plus idle-", ["idle-loaded"]),
        ("read pump.plus key-on ", []),
        ("read plus", ["battery.plus", "pump.plus"]),
        ("symptom ", ["engine-cranks", "pump-hums"]),
        ("symptom pump-hums ", ["yes", "no"]),
        ("why pump-w", ["pump-wire:open_circuit"]),
        ("look ", ["pump-fuse"]),
        ("look pump-fuse s", ["sound"]),
        ("complaint ", ["no-start"]),
        ("context wiring ", ["fresh", "in_service"]),
        ("undo ", []),
        ("nonsense ", []),
        ("symptom pump-hums yes ", []),
    ],
)
def test_the_words_that_can_stand_here_are_suggested(
    text: str, expected: list[str]
) -> None:
    assert words(text) == expected


def test_an_empty_line_suggests_every_command() -> None:
    assert words("")[:3] == ["read", "look", "symptom"]


def test_the_second_place_of_a_reading_takes_a_lead_or_a_state() -> None:
    assert {"pump.minus", "idle"} <= set(words("read pump.plus "))


def test_a_suggestion_says_what_it_replaces_and_means() -> None:
    assert suggestions("symptom pump", VOCABULARY) == (
        Suggestion(word="pump-hums", replaces=4, says="Does the pump hum at key on?"),
    )
