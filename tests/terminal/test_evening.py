"""Whole evenings: piped, killed, resumed, on a screen, without a disk.

A process of its own where a pipe, a signal or a terminal is what counts.
"""

from __future__ import annotations

import io
import json
import os
import pty
import re
import select
import shutil
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.store.case_store import CaseStore
from tests.terminal.conftest import CAR, clock

ROOT = Path(__file__).resolve().parents[2]


def command(*words: str | Path) -> list[str]:
    return [sys.executable, "-m", "diagnose", *map(str, words)]


def hold(
    *words: str | Path, text_in: str | bytes = "", encoding: str = "utf-8"
) -> subprocess.CompletedProcess[bytes]:
    """Run a command in this process, on streams such as a process gets."""
    raw = text_in.encode() if isinstance(text_in, str) else text_in
    streams = [
        io.TextIOWrapper(io.BytesIO(given), encoding=encoding)
        for given in (raw, b"", b"")
    ]
    with pytest.MonkeyPatch.context() as patch:
        for name, stream in zip(("stdin", "stdout", "stderr"), streams, strict=True):
            patch.setattr(sys, name, stream)
        code = main([str(word) for word in words])
    shown = []
    for stream in streams[1:]:
        stream.flush()
        assert isinstance(stream.buffer, io.BytesIO)
        shown.append(stream.buffer.getvalue())
    return subprocess.CompletedProcess(words, code, stdout=shown[0], stderr=shown[1])


# Says of each page whether the car was being made ready when it was written.
WATCHED = """
import io, sys
from diagnose.cli import main

class Watched(io.StringIO):
    def write(self, text):
        is_ready = "diagnose.session.ready_car" in sys.modules
        print(text.split(":")[0], is_ready, file=sys.stderr)
        return len(text)

sys.stdin, sys.stdout = io.StringIO(""), Watched()
sys.exit(main(sys.argv[1:]))
"""


def stored_kinds(folder: Path) -> list[str]:
    with CaseStore(folder, clock=clock) as store:
        return [row.kind for row in store.facts(store.find().name)]


def test_piped_lines_end_well_and_keep_the_case(data_folder: Path) -> None:
    text_in = "1\n\n\n\nread fuel-pump.plus key-on 12.2\n"

    result = subprocess.run(
        command("start", CAR, "--data-folder", data_folder),
        cwd=ROOT,
        input=text_in.encode(),
        capture_output=True,
        check=False,
    )
    assert (result.returncode, result.stderr) == (0, b"")
    assert stored_kinds(data_folder) == ["complaint", "reading"]


def test_a_fact_that_no_longer_holds_is_told_behind_the_first_page(
    data_folder: Path,
) -> None:
    where = ("--data-folder", data_folder)
    hold("start", CAR, *where, text_in="1\n\n\n\nread fuel-pump.plus key-on 12.2\n")
    with (
        CaseStore(data_folder, clock=clock) as store,
        store.transaction() as connection,
    ):
        connection.execute(
            "UPDATE facts SET content = replace(content, 'fuel-pump.plus', 'gone.plus')"
        )

    shown = hold("resume", *where).stdout.decode()

    assert shown.count("Work on a car can hurt or kill") == 1
    assert shown.index("First:") < shown.index("Mind:\n  left out: ")
    assert "gone.plus" in shown


def test_what_can_hurt_is_shown_before_the_car_is_made_ready(
    data_folder: Path,
) -> None:
    asked = ("start", CAR, "--data-folder", data_folder)
    shown = subprocess.run(
        [sys.executable, "-c", WATCHED, *map(str, asked)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )

    assert shown.stderr.splitlines()[:2] == ["Car False", "Trouble True"]


def test_the_safety_note_comes_first(data_folder: Path) -> None:
    shown = hold("start", CAR, "--data-folder", data_folder).stdout.decode()

    assert shown.startswith("Car:\n  ")
    assert "\nFirst:\n  Caution: Work on a car can hurt or kill" in shown
    assert shown.index("First:") < shown.index("Trouble:")


def test_a_case_can_be_named_and_resumed(data_folder: Path) -> None:
    where = ("--data-folder", data_folder)
    hold("start", CAR, "--case", "sunday", *where, text_in="1\n")

    resumed = hold("resume", "sunday", *where, text_in="facts\n").stdout.decode()
    assert "case sunday" in resumed
    assert "Facts:\n  1. complaint: It cranks but does not start\n" in resumed


def test_a_taken_name_is_a_mistake(data_folder: Path) -> None:
    where = ("--case", "sunday", "--data-folder", data_folder)
    hold("start", CAR, *where)

    again = hold("start", CAR, *where)
    assert again.returncode == 1
    assert b"diagnose resume sunday" in again.stderr


def test_a_killed_process_loses_nothing_that_was_answered(data_folder: Path) -> None:
    lines = (
        {"complaint": "no-crank"},
        {"symptom": "starter-clicks-only", "present": False},
        {
            "reading": {
                "kind": "volts",
                "state": "key-on",
                "red": "battery.plus",
                "black": "battery.minus",
                "value": 12.4,
            }
        },
    )
    killed = subprocess.Popen(
        command("start", CAR, "--json", "--data-folder", data_folder),
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with killed:
        assert killed.stdin is not None
        assert killed.stdout is not None
        killed.stdout.readline()
        answer = ""
        for line in lines:
            killed.stdin.write(json.dumps(line) + "\n")
            killed.stdin.flush()
            answer = killed.stdout.readline()
        killed.send_signal(signal.SIGKILL)

    resumed = hold(
        "resume", "--json", "--data-folder", data_folder, text_in='{"ask": "answer"}\n'
    )
    assert killed.returncode == -signal.SIGKILL
    assert json.loads(resumed.stdout.splitlines()[-1]) == json.loads(answer)


def test_without_a_data_folder_the_diagnosis_goes_on_and_says_so_once(
    tmp_path: Path, data_folder: Path
) -> None:
    # The store's own file is a folder: nothing can be written there.
    (data_folder / "cases.sqlite3").mkdir()
    text_in = "1\n\n\n\nread fuel-pump.plus key-on 12.2\n"

    result = hold("start", CAR, "--data-folder", data_folder, text_in=text_in)
    text = result.stdout.decode()
    assert result.returncode == 0
    assert text.count("can't be saved") == 1
    assert "Noted:\n  12.2 V at fuel-pump.plus, key-on\n" in text
    assert text.rstrip().endswith("This case is not saved.")
    assert tmp_path in data_folder.parents


def test_a_changed_car_file_is_told_and_the_kept_copy_used(
    data_folder: Path, tmp_path: Path
) -> None:
    car = tmp_path / "hill-climber.yaml"
    shutil.copy(CAR, car)
    hold("start", car, "--data-folder", data_folder, text_in="1\n")
    car.write_text("car-file: 1\n")

    resumed = hold("resume", "--data-folder", data_folder).stdout.decode()
    assert "has changed since this case began" in " ".join(resumed.split())
    assert "Suspects:\n" in resumed


def test_a_car_file_from_a_pipe_is_kept_as_it_was_read(
    data_folder: Path, tmp_path: Path
) -> None:
    car = tmp_path / "hill-climber.yaml"
    os.mkfifo(car)
    writer = threading.Thread(target=car.write_text, args=(CAR.read_text(),))
    writer.start()
    hold("start", car, "--data-folder", data_folder, text_in="1\n")
    writer.join()
    car.unlink()

    resumed = hold("resume", "--data-folder", data_folder)
    assert resumed.returncode == 0
    assert "Suspects:\n" in resumed.stdout.decode()


def test_a_second_window_is_refused_and_nothing_is_said_to_be_lost(
    data_folder: Path,
) -> None:
    where = ("--json", "--data-folder", data_folder)
    first = subprocess.Popen(
        command("start", CAR, *where), stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert first.stdin is not None
    assert first.stdout is not None
    first.stdout.readline()
    hold("resume", *where, text_in='{"complaint": "no-crank"}\n')
    answer, _ = first.communicate(b'{"complaint": "no-crank"}\n{"ask": "answer"}\n')
    refused, asked = map(json.loads, answer.splitlines())

    assert refused["error_kind"] == "CaseChangedError"
    assert "nothing more is taken in here" in refused["error"]
    assert asked["answer"]["facts"] == []
    assert stored_kinds(data_folder) == ["complaint"]


def test_a_car_file_can_not_send_control_codes(
    data_folder: Path, tmp_path: Path
) -> None:
    car = tmp_path / "hill-climber.yaml"
    title = 'title: "Invented \\e[2J\\e]0;window\\a car"'
    car.write_text(re.sub("title: .*", lambda _: title, CAR.read_text()))

    result = hold("start", car, "--data-folder", data_folder)
    assert result.returncode == 1
    assert b"\x1b" not in result.stdout + result.stderr


def test_bytes_that_are_no_text_are_heard_as_a_mistake(data_folder: Path) -> None:
    result = hold(
        "start", CAR, "--data-folder", data_folder, text_in=b"\xff\xfe\x00\n1\n"
    )

    assert result.returncode == 0
    assert stored_kinds(data_folder) == ["complaint"]


def test_an_ascii_pipe_gets_text_it_can_show(data_folder: Path) -> None:
    result = hold(
        *("start", CAR, "--data-folder", data_folder),
        text_in="1\n\n\n\nread fuel-pump.plus isolated 4 Ω\n",
        encoding="ascii",
    )

    assert result.returncode == 0
    assert result.stdout.isascii()


def screen_of(
    turns: tuple[tuple[str, str], ...], *words: str | Path, **environment: str
) -> tuple[int, str]:
    """Run a command on a terminal of its own.

    Parameters
    ----------
    turns : tuple[tuple[str, str], ...]
        What to wait for, and what to type then.

    Returns
    -------
    tuple[int, str]
        The exit code, and all that was written.
    """
    ours, theirs = pty.openpty()
    settings = {"TERM": "xterm", "COLUMNS": "80", "PROMPT_TOOLKIT_NO_CPR": "1"}
    process = subprocess.Popen(
        command(*words),
        cwd=ROOT,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
        env={**os.environ, **settings, **environment},
    )
    os.close(theirs)
    written = ""
    for awaited, keys in turns:
        written += read_until(ours, awaited)
        os.write(ours, keys.encode())
    written += read_until(ours, None)
    os.close(ours)
    return process.wait(timeout=60), written


def read_until(terminal: int, awaited: str | None) -> str:
    """Return what a terminal shows up to some text, or all until it is closed."""
    found = b""
    while awaited is None or awaited not in found.decode(errors="replace"):
        ready, _, _ = select.select([terminal], [], [], 60)
        assert ready, f"waited for {awaited!r}, shown was: {found!r}"
        try:
            piece = os.read(terminal, 65536)
        except OSError:  # the program has ended
            break
        if not piece:
            break
        found += piece
    return found.decode(errors="replace")


# The line editor switches bracketed paste on once it listens (xterm, mode 2004).
LISTENING = "\x1b[?2004h"
# Enter below the safety note, then an empty line is left.
LEAVING = ((LISTENING, "\r"), (LISTENING, "\x04"))


def test_a_terminal_gets_the_notebook(data_folder: Path) -> None:
    code, screen = screen_of(LEAVING, "start", CAR, "--data-folder", data_folder)

    assert code == 0
    assert "│" in screen
    assert "Case hill-climber-1 is kept." in screen


def test_a_terminal_that_knows_no_utf_8_gets_ascii(data_folder: Path) -> None:
    code, screen = screen_of(
        LEAVING,
        *("start", CAR, "--data-folder", data_folder),
        PYTHONIOENCODING="ascii",
    )

    assert (code, screen.isascii()) == (0, True)
    assert " trouble | " in re.sub(r"\x1b\[[\d;]*m", "", screen)


def test_no_color_is_honoured(data_folder: Path) -> None:
    _, screen = screen_of(
        LEAVING, "start", CAR, "--data-folder", data_folder, NO_COLOR="1"
    )

    # SGR 30-37, 90-97 and 38 set a foreground colour (ECMA-48, 8.3.117).
    coloured = re.findall(r"\x1b\[(?:\d+;)*(?:3[0-8]|9[0-7])(?:;\d+)*m", screen)
    assert coloured == []


def test_plain_can_be_asked_for_on_a_terminal(data_folder: Path) -> None:
    turns = (("number? ", "1\r"), ("number? ", "\x04"))

    code, screen = screen_of(
        turns, "start", CAR, "--plain", "--data-folder", data_folder
    )

    assert (code, "│" in screen, "\x1b" in screen) == (0, False, False)
    assert "number? " in screen
