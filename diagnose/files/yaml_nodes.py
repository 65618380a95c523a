"""YAML 1.2 text as a tree of nodes with positions, or why it is none.

Leaves reading the text to `file_text`, and what the nodes hold to `yaml_positions`.

Decisions that bind this module:

- PyYAML's reader in C splits the text into nodes, each with its line and column. It is
  the only YAML library here, because knowledge/ is read at every start: 150 kB take it
  0.02 s, a reader in Python 0.4 s (measured).
- That reader types scalars as YAML 1.1 does: ``on`` would be true, ``1e-3`` text and
  ``012`` ten. So its rules are replaced by those of YAML 1.2 (`_CORE_SCHEMA`).
- Nothing is written back through it. Whoever adds to a file by program can put lines
  where the nodes stand and leaves every other byte, comments included.
"""

from __future__ import annotations

import pathlib
import re
from typing import Any, ClassVar

import yaml

from diagnose.errors import InvalidFileError
from diagnose.files.file_text import invalid_file
from diagnose.files.open_braces import open_brace

# A node of the library, which ships no types: mapping, sequence or scalar.
Node = Any

# The common start of the standard tags (YAML 1.2.2, chapter 10).
TAG = "tag:yaml.org,2002:"

# Kind of scalar, how it is written, and the characters it can start with: the core
# schema of YAML 1.2.2, section 10.3.2. Numbers to other bases, infinity and "not a
# number" are left out: no file means them, so they stay text.
_CORE_SCHEMA = (
    ("null", re.compile(r"(?:~|null|Null|NULL|)\Z"), ["~", "n", "N", ""]),
    ("bool", re.compile(r"(?:true|True|TRUE|false|False|FALSE)\Z"), list("tTfF")),
    ("int", re.compile(r"[-+]?[0-9]+\Z"), list("-+0123456789")),
    (
        "float",
        re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?\Z"),
        list("-+.0123456789"),
    ),
)


class NodeReader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """The library's reader, in Python where it was built without C; types by 1.2."""

    yaml_implicit_resolvers: ClassVar[dict[str, list[tuple[str, re.Pattern[str]]]]] = {}


for _kind, _pattern, _starts in _CORE_SCHEMA:
    NodeReader.add_implicit_resolver(TAG + _kind, _pattern, _starts)


def compose(path: pathlib.Path, text: str, *, wanted: str) -> Node:
    """Return a text's tree of nodes.

    Parameters
    ----------
    path : pathlib.Path
        The file it is from, for messages.
    text : str
        YAML 1.2.
    wanted : str
        What the file should be, for messages: ``car file``.

    Returns
    -------
    Node
        The topmost; each has its kind, its tag and where it starts.

    Raises
    ------
    InvalidFileError
        If the text is no YAML, or holds nothing.

    References
    ----------
    YAML Ain't Markup Language, version 1.2.2, section 10.3 (core schema), 2021.
    """
    try:
        root = yaml.compose(text, Loader=NodeReader)
    except yaml.MarkedYAMLError as error:
        raise _not_yaml(path, text, error) from error
    except yaml.YAMLError as error:
        raise invalid_file(path, 1, 1, f"is not YAML: {error}") from error
    except RecursionError as error:
        raise invalid_file(path, 1, 1, _TOO_DEEP) from error
    if root is None:
        raise invalid_file(path, 0, 0, f"holds only comments, expected a {wanted}")
    return root


def _not_yaml(
    path: pathlib.Path, text: str, error: yaml.MarkedYAMLError
) -> InvalidFileError:
    """Return the error of text that is no YAML, with the reader's place and reason."""
    reason = error.problem or error.context or "not understood"
    if reason.startswith("exceeded maximum nesting depth"):
        return invalid_file(path, 1, 1, _TOO_DEEP)
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line, mark.column) if mark else (0, 0)
    brace = open_brace(text) if error.context else None
    if brace is not None:
        words = f"is not YAML here: {brace.words}"
        return invalid_file(path, brace.line + 1, brace.column + 1, words)
    if _character_at(text, line, column) == "\t":
        reason = "a tab; indent with spaces"
    words = f"is not YAML here: {_yaml_reason(reason)}"
    return invalid_file(path, line + 1, column + 1, words)


def _character_at(text: str, line: int, column: int) -> str:
    """Return the character at a line and column counted from 0, empty past an end."""
    lines = text.split("\n")
    return lines[line][column : column + 1] if line < len(lines) else ""


# What is said of a file that the reader gives up on for its depth. Own words.
_TOO_DEEP = "entries are nested too deeply"

# How a reason of the reader begins, and what a person calls that slip; the words of the
# reader in C and in Python differ. Own words.
_REASONS = {
    "mapping values are not allowed": (
        "a second `: ` in one line; put the value in quotes, or start a new line"
    ),
    "could not find expected ':'": "a key without `: ` and a value",
    "but found another document": "a second document after `---`; use one file each",
}  # fmt: skip


def _yaml_reason(reason: str) -> str:
    """Return the YAML reader's reason, in plainer words where it is a usual slip."""
    plain = (words for start, words in _REASONS.items() if reason.startswith(start))
    return next(plain, reason)
