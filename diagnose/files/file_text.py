"""A file as text, or why it is none: missing, too long, binary, not UTF-8.

Characters that a screen would act on are refused, all of them at once. Leaves what the
text means to `yaml_nodes`.
"""

from __future__ import annotations

import os
import pathlib
import re

from diagnose.errors import FileProblem, InvalidFileError

# The longest file that is read. [byte] Own choice: a car file is a few kilobytes, one
# of 500 wires and the longest file of knowledge/ a hundred; a file as long as this,
# whatever stands in it, is checked in under 2 s.
MOST_BYTES = 300_000

# Control characters: what YAML 1.2.2, section 5.1 (character set), does not call
# printable, without tab, line feed and carriage return; DEL and C1 controls too, for
# the screen's sake.
CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffe\uffff]")


def read_text(path: pathlib.Path, *, wanted: str) -> str:
    """Return a file's text, without control characters.

    Parameters
    ----------
    path : pathlib.Path
        The file, UTF-8.
    wanted : str
        What it should be, for messages: ``car file``.

    Raises
    ------
    InvalidFileError
        If it can't be read, is too long, is no text, or is empty.
    """
    content = _content(path, wanted=wanted)
    if b"\x00" in content:
        raise invalid_file(path, 0, 0, f"is a binary file, expected a {wanted}, a text")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line, column = _line_and_column(
            content[: error.start].decode("utf-8", errors="replace")
        )
        raise invalid_file(
            path, line, column, "is not UTF-8 text; save the file as UTF-8"
        ) from error
    _refuse_control_characters(path, text)
    if not text.strip():
        raise invalid_file(path, 0, 0, f"is empty, expected a {wanted}")
    # the line ends of every system are one
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _content(path: pathlib.Path, *, wanted: str) -> bytes:
    """Return what a file holds, and no more of it than may be read."""
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
            size = os.fstat(file.fileno()).st_size
    except FileNotFoundError as error:
        raise invalid_file(path, 0, 0, f"no such file, expected a {wanted}") from error
    except IsADirectoryError as error:
        raise invalid_file(path, 0, 0, f"is a folder, expected a {wanted}") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise invalid_file(path, 0, 0, f"can't be read: {reason}") from error
    if len(content) > MOST_BYTES:
        # a device has no size
        length = f"{size} bytes is" if size > MOST_BYTES else "what it holds is"
        raise invalid_file(
            path, 0, 0, f"{length} too long for a {wanted}; the limit is {MOST_BYTES}"
        )
    return content


def _line_and_column(before: str) -> tuple[int, int]:
    """Return the position that follows a text, counted from 1."""
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def _refuse_control_characters(path: pathlib.Path, text: str) -> None:
    """Refuse characters that a screen would act on, all of them at once."""
    problems = []
    line, line_start, seen = 1, 0, 0
    for found in CONTROL.finditer(text):
        line += text.count("\n", seen, found.start())
        if (last_end := text.rfind("\n", seen, found.start())) >= 0:
            line_start = last_end + 1
        seen, column = found.start(), found.start() - line_start + 1
        code = f"U+{ord(found[0]):04X}"
        problems.append(
            FileProblem(
                path=str(path),
                line=line,
                column=column,
                message=f"control character {code}; delete it",
            )
        )
    if problems:
        raise InvalidFileError(tuple(problems))


def invalid_file(
    path: pathlib.Path, line: int, column: int, message: str
) -> InvalidFileError:
    """Return the error of one problem.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    line, column : int
        Where, counted from 1; 0 when the file as a whole is meant.
    message : str
        What was found, what was expected, and what to do.
    """
    problem = FileProblem(path=str(path), line=line, column=column, message=message)
    return InvalidFileError((problem,))
