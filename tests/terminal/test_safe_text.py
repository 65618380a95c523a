"""No file and no person can send control codes to the screen."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.terminal.safe_text import clean, to_ascii


@pytest.mark.parametrize(
    ("hostile", "shown"),
    [
        ("pump\x1b[31m.plus", "pump.plus"),
        ("\x1b]0;new window title\x07pump", "pump"),
        ("\x1b]8;;http://example.test\x1b\\pump", "pump"),
        ("\x9b2Jpump", "pump"),
        ("pump\x07\x08\x00", "pump"),
        ("pu\u202emp", "pump"),
        ("pu\u200bmp", "pump"),
        ("one\r\ntwo\tthree", "one two three"),
        ("pump\ud800", "pump"),
        ("[bold]pump[/bold]", "[bold]pump[/bold]"),
    ],
)
def test_control_codes_are_taken_out(hostile: str, shown: str) -> None:
    assert clean(hostile) == shown


@given(st.text())
def test_nothing_invisible_is_left(text: str) -> None:
    kinds = {unicodedata.category(letter) for letter in clean(text)}

    assert not kinds & {"Cc", "Cf", "Cs"}


def test_what_ascii_does_not_know_is_written_out() -> None:
    assert to_ascii("20 °C, 0.4 Ω – “größer”") == '20  deg C, 0.4 ohm - "gro?er"'
