"""The program keeps to itself: no network, no other program, no shell, no pickle.

Python tells a hook of every such act (PEP 578); here the hook ends the process.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CAR = ROOT / "tests" / "cars" / "hill-climber.yaml"

# Runs commands one after the other under the hook. What the first argument says is
# forbidden; a pickle is made of classes, and these it may not look up, except where a
# forked child hands its result to its parent through the pipe between them.
UNDER_GUARD = """
import sys

FORBIDDEN = ("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn",
    "os.spawn", "os.startfile", "pty.spawn", "pickle.find_class", "ftplib.", "http.",
    "imaplib.", "smtplib.", "telnetlib.", "urllib.", "webbrowser.", "shelve", "dbm")

def from_own_child(frame):
    pipe = "multiprocessing/connection.py"
    while frame and not frame.f_code.co_filename.endswith(pipe):
        frame = frame.f_back
    return frame is not None

def guard(event, arguments):
    if event == "pickle.find_class" and from_own_child(sys._getframe()):
        return
    if event.startswith(FORBIDDEN):
        import os, traceback
        sys.stderr.write(f"{event} {arguments!r}\\n")
        traceback.print_stack()
        sys.stderr.flush()
        os._exit(99)

sys.addaudithook(guard)
from diagnose.cli import main
for words in sys.argv[1].split("|"):
    if words.startswith("import "):
        exec(words)
        continue
    try:
        status = main(words.split())
    except SystemExit as error:
        status = error.code
    if status:
        sys.exit(status)
"""


def under_guard(commands: str, *, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "ignore", "-c", UNDER_GUARD, commands],
        input=typed,
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )


@pytest.mark.parametrize(
    "act",
    [
        "import socket; socket.create_connection(('127.0.0.1', 9), 1)",
        "import subprocess; subprocess.run(['true'])",
        "import os; os.system('true')",
        "import pickle, decimal; pickle.loads(pickle.dumps(decimal.Decimal(1)))",
    ],
)
def test_the_guard_sees_what_is_forbidden(act: str) -> None:
    assert under_guard(act).returncode == 99


def test_no_command_leaves_the_program(tmp_path: Path) -> None:
    data = tmp_path / "data"
    out = tmp_path / "out.bif"
    commands = [
        f"check {CAR}",
        f"expand {CAR}",
        f"expect {CAR}",
        f"prestart {CAR}",
        f"export {CAR} --out {out}",
        f"start {CAR} --case evening --plain --data-folder {data}",
        f"resume evening --plain --data-folder {data}",
        f"cases --data-folder {data}",
        "schema --lines",
    ]
    done = under_guard(
        "|".join(commands), typed="1\nskip all\nread battery.plus key-off 12.4\nfacts\n"
    )

    assert (done.returncode, done.stderr[-3000:]) == (0, "")
    assert "12.4 V at battery.plus, key-off" in done.stdout
    assert out.stat().st_size > 1000
