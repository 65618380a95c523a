"""What comes from outside and can't be is told in one line, with exit code 1."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.cli import main
from tests.terminal.conftest import CAR
from tests.terminal.test_evening import hold

ROOT = Path(__file__).resolve().parents[2]
LONG = "a" * 5000
NO_UTF_8 = os.fsdecode(b"car\xff\xfe.yaml")
COMPLAINT = ("--complaint", "no-crank")

# Commands that can't be done, in a folder with a file that is called `file`.
REFUSED: dict[str, tuple[str, ...]] = {
    "a car name of 5,000 letters": ("check", LONG),
    "a car name that is no UTF-8": ("check", NO_UTF_8),
    "a car in a file": ("check", "file/car.yaml"),
    "a folder for a car": ("check", "."),
    "a line break in a car name": ("check", "no\nsuch.yaml:1:1: car"),
    "a case of 5,000 letters": ("resume", LONG),
    "a case that is no UTF-8": ("resume", NO_UTF_8),
    "a case name that is no UTF-8": ("start", str(CAR), "--case", NO_UTF_8),
    "a file for the data": ("learn", "--data-folder", "file/data"),
    "a folder of 5,000 letters": ("cases", "--data-folder", LONG),
    "an owner of 5,000 letters": ("start", str(CAR), "--owner", LONG),
    "a folder for the owner": ("start", str(CAR), "--owner", "."),
    "a worked case of 5,000 letters": ("replay", LONG),
    "an import of 5,000 letters": ("cases", "--import", LONG),
    "a trial below zero": ("trial", str(CAR), "--seed", "-1"),
    "a record below zero": (
        *("record", str(CAR), "--fault", "a", "--complaint", "b"),
        *("--seed", "-1", "--out", "case.yaml"),
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_can_not_be_is_told_in_one_line(
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))

    assert main(REFUSED[name]) == 1
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.count("\n") == 1
    assert len(shown.err) < 1500


# What the lines of a terminal or of JSON may hold.
DIGITS = "9" * 5000
PLAIN = (f"{DIGITS}", f"strike {DIGITS}", f"why {DIGITS}", f"done {DIGITS}", "9" * 400)
JSON = (
    f'{{"strike": {DIGITS}}}',
    f'{{"strike": {"9" * 400}}}',
    f'{{"takes": "idle", "minutes": {"9" * 400}}}',
    '{"reading": {"kind": "volts", "state": "key-on", "red": "battery.plus",'
    f' "black": "battery.minus", "value": {"9" * 400}}}}}',
    '{"complaint": "\\ud800"}',
    '{"ask": "why", "cause": "\\ud800"}',
    '{"ask": "\\ud800"}',
    '{"ask": "expect", "step": "reading|\\ud800"}',
    '{"ask": ' + "[" * 100_000,
    "9" * 5000,
)


def held(face: str, lines: tuple[str, ...], folder: Path) -> list[str]:
    """Return what a diagnosis answers to some lines."""
    where = ("start", CAR, face, "--data-folder", folder)
    done = hold(*where, text_in="".join(f"{line}\n" for line in lines))
    assert (done.returncode, done.stderr) == (0, b"")
    return done.stdout.decode().splitlines()


def test_no_typed_number_ends_a_diagnosis(data_folder: Path) -> None:
    shown = held("--plain", ("1", *PLAIN, "facts"), data_folder)

    assert any("Case hill-climber-1 is kept" in line for line in shown)


def test_every_json_line_that_can_not_be_gets_an_error(data_folder: Path) -> None:
    answers = held("--json", (*JSON, '{"ask": "answer"}'), data_folder)

    assert len(answers) == len(JSON) + 2
    assert all(line.startswith('{"error"') for line in answers[1:-1])
    assert answers[-1].startswith('{"answer"')


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk that is full")
def test_a_full_disk_is_told_in_one_line() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "diagnose", "schema"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            check=False,
        )

    assert done.returncode == 1
    assert done.stderr == "diagnose: No space left on device\n"


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_a_closed_stream_is_no_traceback(closed: str) -> None:
    done = subprocess.run(
        ["sh", "-c", f'"{sys.executable}" -m diagnose schema {closed}'],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )

    assert (done.returncode, done.stderr) == (0, "")
