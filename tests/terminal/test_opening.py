"""Something moves from the first moment on, and is gone when the diagnosis begins."""

from __future__ import annotations

import gc
import subprocess
import sys
import time
from io import StringIO
from pathlib import Path

from diagnose.terminal.opening import TICK_SECONDS, Opening

ROOT = Path(__file__).resolve().parents[2]

# A process of its own, for whoever runs the tests may have threads that can't rest.
FORKING = """
import os, time
from io import StringIO
from diagnose.faults.predictions.second_process import can_fork, start_in_child
from diagnose.terminal.opening import TICK_SECONDS, Opening

is_possible, sink = can_fork(), StringIO()
with Opening(sink):
    assert can_fork() == is_possible
    worked_in = start_in_child(os.getpid)()
    before = sink.getvalue()
    time.sleep(3 * TICK_SECONDS)
    moves_on = sink.getvalue() != before
print(is_possible, worked_in != os.getpid(), moves_on)
"""


def test_the_first_line_is_there_at_once() -> None:
    sink = StringIO()
    with Opening(sink):
        assert sink.getvalue() == "\r\\ opening the car"


def test_the_line_moves_by_itself_and_says_what_is_worked_out() -> None:
    sink = StringIO()
    with Opening(sink) as opening:
        opening.show(0.42, "working out\x1b[2J every fault")
        time.sleep(3 * TICK_SECONDS)
        shown = sink.getvalue()

    assert "| first time with this car:  42%  working out every fault" in shown
    assert shown.count("\r") > 2


def test_the_line_moves_on_beside_a_second_process() -> None:
    shown = subprocess.run(
        [sys.executable, "-c", FORKING],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )

    can_fork, is_elsewhere, moves_on = shown.stdout.split()
    assert can_fork == is_elsewhere
    assert moves_on == "True"


def test_the_line_is_wiped_before_the_first_page() -> None:
    sink = StringIO()
    with Opening(sink) as opening:
        opening.clear()
        wiped = sink.getvalue()

    assert wiped.endswith("\r" + " " * len("| opening the car") + "\r")
    assert sink.getvalue() == wiped


def test_the_line_makes_room_for_a_page_and_goes_on_below_it() -> None:
    sink = StringIO()
    with Opening(sink) as opening:
        with opening.put_aside():
            sink.write("page\n")
            time.sleep(3 * TICK_SECONDS)
            beside = sink.getvalue()
        time.sleep(3 * TICK_SECONDS)
        shown = sink.getvalue()

    assert beside.endswith("\r" + " " * len("| opening the car") + "\rpage\n")
    assert shown.removeprefix(beside).startswith("\r")
    assert "opening the car" in shown.removeprefix(beside)


def test_garbage_is_looked_for_again_once_it_is_open() -> None:
    with Opening(None) as opening:
        meanwhile = gc.isenabled()
        opening.clear()
        assert gc.isenabled()
    assert not meanwhile
    assert gc.get_freeze_count() == 0


def test_a_screen_reader_hears_what_changes_and_nothing_is_written_over() -> None:
    sink = StringIO()
    with Opening(sink, is_plain=True) as opening:
        for share in (0.0, 0.1, 0.2, 0.3, 1.0):
            opening.show(share, "working out every fault")

    assert sink.getvalue() == (
        "Opening the car.\n"
        "First time with this car:   0%  working out every fault.\n"
        "First time with this car:  25%  working out every fault.\n"
    )


def test_another_program_gets_none_of_it() -> None:
    with Opening(None) as opening:
        opening.show(0.5, "working out every fault")
