"""What is typed before it can be read is neither echoed nor taken for an answer."""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Iterator
from io import StringIO

import pytest

from diagnose.terminal.opening import Opening
from diagnose.terminal.terminal_modes import LOCAL_MODES, forget_typed_ahead

pty = pytest.importorskip("pty")
termios = pytest.importorskip("termios")

# How long a key takes to the other end at most. Own choice. [s]
PATIENCE_SECONDS = 2.0


@pytest.fixture
def keys(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Return where keys are typed for a terminal that is standard input."""
    person, program = pty.openpty()
    with os.fdopen(program, encoding="utf-8") as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        yield person
    os.close(person)


def is_echoing(person: int) -> bool:
    return bool(termios.tcgetattr(person)[LOCAL_MODES] & termios.ECHO)


def has_typed(seconds: float) -> bool:
    return bool(select.select([sys.stdin], [], [], seconds)[0])


def test_nothing_is_echoed_into_the_line_that_moves(keys: int) -> None:
    assert is_echoing(keys)
    with Opening(StringIO()):
        assert not is_echoing(keys)
    assert is_echoing(keys)


def test_an_enter_from_before_the_question_is_forgotten(keys: int) -> None:
    os.write(keys, b"\n")
    assert has_typed(PATIENCE_SECONDS)

    forget_typed_ahead()

    assert not has_typed(0.0)


def test_without_a_terminal_nothing_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", StringIO("1\n"))

    forget_typed_ahead()
    with Opening(StringIO()):
        pass
