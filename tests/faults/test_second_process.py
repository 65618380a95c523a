"""Work in a forked child; a process of its own, because a fork wants no threads."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from diagnose.faults.predictions.second_process import can_fork, start_in_child

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
import os
from diagnose.faults.predictions.second_process import can_fork, shared_array
from diagnose.faults.predictions.second_process import start_in_child

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


# A parent that works on while its child does, and says which process that is.
WORKING = """
import multiprocessing, os, signal, sys, time
# whoever runs the tests in the background may have it ignored
signal.signal(signal.SIGINT, signal.default_int_handler)
signal.signal(signal.SIGHUP, signal.SIG_DFL)
from diagnose.faults.predictions.second_process import start_in_child

wait = start_in_child(lambda: time.sleep(600))
print(multiprocessing.active_children()[0].pid, flush=True)
try:
    {work}
except KeyboardInterrupt:
    print("stopped", flush=True)
"""

# How a parent ends: what it does, and what is sent to it and its child.
ENDINGS: dict[str, tuple[str, int | None]] = {
    "killed": ("time.sleep(600)", signal.SIGKILL),
    "terminated": ("time.sleep(600)", signal.SIGTERM),
    "hung up": ("time.sleep(600)", signal.SIGHUP),
    "stopped at work": ("time.sleep(600)", signal.SIGINT),
    "stopped while it waits": ("wait()", signal.SIGINT),
    "leaving": ("pass", None),
    "failing": ("sys.exit(3)", None),
    "leaving at once": ("os._exit(0)", None),
}


# How long a process may take to end, on a machine with much else to do. [s] Own choice.
PATIENCE_SECONDS = 120.0


def is_running(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no /proc to look in")
@pytest.mark.skipif(not can_fork(), reason="no second process on this machine")
@pytest.mark.parametrize("ending", ENDINGS)
def test_a_child_ends_with_its_parent(ending: str) -> None:
    work, sent = ENDINGS[ending]
    parent = subprocess.Popen(
        [sys.executable, "-c", WORKING.format(work=work)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert parent.stdout is not None
    child = int(parent.stdout.readline())
    if sent == signal.SIGINT:  # a terminal sends it to both
        time.sleep(0.3)
        os.killpg(parent.pid, sent)
    elif sent is not None:
        parent.send_signal(sent)
    _, complaints = parent.communicate(timeout=PATIENCE_SECONDS)

    deadline = time.monotonic() + PATIENCE_SECONDS
    while is_running(child) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not is_running(child)
    assert complaints == ""
