"""Work in the pauses of a conversation."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from diagnose.terminal.faces.meanwhile import Meanwhile


def test_work_is_told_to_leave_off_and_has_ended_before_a_line_is_heard() -> None:
    has_begun, ended = threading.Event(), []

    def work(is_over: Callable[[], bool]) -> None:
        has_begun.set()
        while not is_over():
            pass
        ended.append(True)

    with Meanwhile(work) as meanwhile:
        meanwhile.begin()
        has_begun.wait()
        meanwhile.end()

        assert ended == [True]


def test_it_begins_anew_in_each_pause_and_once_in_a_pause() -> None:
    begun: list[int] = []
    with Meanwhile(lambda _is_over: begun.append(1)) as meanwhile:
        for _ in range(2):
            meanwhile.begin()
            meanwhile.begin()
            meanwhile.end()

    assert len(begun) == 2


def test_a_bug_in_the_work_shows_when_the_next_line_is_heard() -> None:
    def work(_is_over: Callable[[], bool]) -> None:
        raise ZeroDivisionError

    with Meanwhile(work) as meanwhile:
        meanwhile.begin()

        with pytest.raises(ZeroDivisionError):
            meanwhile.end()
