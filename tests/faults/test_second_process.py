"""Work in a forked child; a process of its own, because a fork wants no threads."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from diagnose.faults.second_process import start_in_child

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
import os
from diagnose.faults.second_process import start_in_child, can_fork, shared_array

shared = shared_array((2,), float)

def work():
    shared[1] = 12.5
    return os.getpid() != parent

def fail():
    raise KeyError("pump")

parent = os.getpid()
is_elsewhere = start_in_child(work)()
try:
    start_in_child(fail)()
except KeyError as error:
    raised = error.args[0]
print(can_fork(), is_elsewhere, *shared.tolist(), raised)
"""


def test_a_child_works_writes_to_shared_arrays_and_hands_on_what_it_raised() -> None:
    shown = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )

    can, is_elsewhere, *rest = shown.stdout.split()
    assert can == is_elsewhere
    assert rest == ["0.0", "12.5", "pump"]


def test_beside_other_threads_the_work_is_done_in_this_process() -> None:
    with ThreadPoolExecutor(max_workers=1) as pool:
        wait = pool.submit(start_in_child, os.getpid).result()

    assert wait() == os.getpid()
