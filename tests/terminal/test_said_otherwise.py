"""What is wrong, in the words that people have for it, is found without being asked."""

from __future__ import annotations

import pytest

from diagnose.session.ready_car import Model
from diagnose.session.words.vocabulary import Vocabulary, vocabulary_of
from diagnose.terminal.pages import complaints
from diagnose.terminal.pages.plain import plain_text


@pytest.fixture(scope="module")
def words(sedan_model: Model) -> Vocabulary:
    return vocabulary_of(sedan_model)


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("it turns over slowly", "cranks-slowly"),
        ("turns over but won't fire", "first-start-fails"),
        ("the starter does not turn", "no-crank"),
        ("it just clicks", "starter-clicks-only"),
        ("battery is dead every morning", "battery-goes-flat"),
        ("dies when the fan comes on", "stalls-when-fan-cuts-in"),
        ("the battery light stays on", "charge-lamp-stays-lit"),
        ("headlights are dead", "headlamps-dead"),
        ("cooling fan never comes on", "fan-does-not-run"),
        ("fan doesnt come on when hot", "fan-does-not-run"),
    ],
)
def test_other_words_name_a_complaint(
    typed: str, expected: str, words: Vocabulary
) -> None:
    place = complaints.meant(typed, words)

    assert place is not None
    assert list(words.complaints)[place] == expected


def test_what_may_mean_two_things_is_asked(words: Vocabulary) -> None:
    typed = "my car won't start"

    shown = plain_text(complaints.matches_page(typed, words), width=100)

    assert complaints.meant(typed, words) is None
    assert "It cranks but does not start" in shown
    assert "It does not crank" in shown
