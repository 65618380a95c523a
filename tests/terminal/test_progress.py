"""A long computation is one line, and none when it is quick."""

from __future__ import annotations

import time
from io import StringIO

from diagnose.terminal.progress import QUIET_SECONDS, Progress


def test_a_short_wait_shows_nothing() -> None:
    sink = StringIO()
    with Progress(sink, about="played") as progress:
        progress.show(0.5, "working out every fault")

    assert sink.getvalue().strip() == ""


def test_a_long_wait_shows_one_line_and_wipes_it() -> None:
    sink = StringIO()
    with Progress(sink, about="played") as progress:
        time.sleep(QUIET_SECONDS + 0.01)
        progress.show(0.5, "working out\x1b[2J every fault")

    shown = "played:  50%  working out every fault"
    assert sink.getvalue() == f"\r{shown}\r{' ' * len(shown)}\r"


def test_a_line_that_was_cleared_is_wiped_before_the_end() -> None:
    sink = StringIO()
    with Progress(sink, about="learning") as progress:
        time.sleep(QUIET_SECONDS + 0.01)
        progress.show(0.25, "2000 of 8000 cases")
        progress.clear()

        shown = "learning:  25%  2000 of 8000 cases"
        assert sink.getvalue() == f"\r{shown}\r{' ' * len(shown)}\r"
