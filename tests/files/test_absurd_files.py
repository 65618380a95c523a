"""A file as long as any that is read, whatever stands in it, is refused at once."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from diagnose.errors import (
    LONGEST_LINE_TOLD,
    MOST_PROBLEMS_TOLD,
    InvalidFileError,
)
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import load_car
from diagnose.files.file_text import MOST_BYTES

START = "car-file: 1\n"
# Each is cut to the longest file.
ABSURD = {
    "control characters": "\x01" * MOST_BYTES,
    "control characters on lines": "\x01\n" * MOST_BYTES,
    "unknown keys": START + "".join(f"k{n}: 1\n" for n in range(MOST_BYTES // 6)),
    "keys without values": START + "".join(f"k{n}:\n" for n in range(MOST_BYTES // 6)),
    "one key again and again": START * MOST_BYTES,
    "one endless line": "a" * MOST_BYTES,
    "one endless value": "car-file: " + "a" * MOST_BYTES,
    "one endless key": START + '"' + "a" * (MOST_BYTES - 20) + '": 1',
    "one endless number": "car-file: " + "9" * MOST_BYTES,
    "one endless list": "car-file: [" + "a," * (MOST_BYTES // 2 - 10) + "]",
    "nothing but opening brackets": "[" * MOST_BYTES,
    "wires that are none": START
    + "wires:\n"
    + "".join(f"  w{n}: 3\n" for n in range(MOST_BYTES // 8)),
}


# From here on it hangs: what grows with the square of the file takes minutes, and each
# of these takes a second or two of one processor. [s]
HANGS_SECONDS = 20.0


@pytest.mark.parametrize("name", ABSURD)
def test_an_absurd_file_is_refused_quickly_and_in_few_lines(
    name: str, knowledge: Knowledge, tmp_path: Path
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text(ABSURD[name][:MOST_BYTES])
    begin = time.process_time()
    with pytest.raises(InvalidFileError) as caught:
        load_car(path, knowledge)
    lines = caught.value.lines

    assert time.process_time() - begin < HANGS_SECONDS
    assert 1 <= len(lines) <= MOST_PROBLEMS_TOLD + 1
    assert max(map(len, lines)) < LONGEST_LINE_TOLD + 200  # with the file's name
    assert str(caught.value) == "\n".join(lines)


def test_the_problems_that_are_not_told_are_counted(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    path = tmp_path / "car.yaml"
    path.write_text("\x01" * 25)
    with pytest.raises(InvalidFileError) as caught:
        load_car(path, knowledge)

    # By hand: 25 characters, 20 of them told.
    assert caught.value.lines[-1] == f"{path}: and 5 more"


def test_no_more_of_a_device_is_read_than_of_a_file(knowledge: Knowledge) -> None:
    with pytest.raises(InvalidFileError, match="too long for a car file"):
        load_car(Path("/dev/zero"), knowledge)


def test_a_file_full_of_nothing_is_told_by_its_size(
    knowledge: Knowledge, tmp_path: Path
) -> None:
    path = tmp_path / "car.yaml"
    path.touch()
    os.truncate(path, 20 << 30)
    with pytest.raises(InvalidFileError, match="21474836480 bytes is too long"):
        load_car(path, knowledge)
