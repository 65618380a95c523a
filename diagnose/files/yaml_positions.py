"""YAML 1.2 files as plain data that remembers the line and column of everything.

Every way a file can fail to be such data is a `FileProblem`: unreadable, not text,
control characters, not YAML, repeated keys, anchors and tags. Leaves what the data
means to the grammar of each kind of file.

Decisions that bind this module:

- PyYAML's reader in C splits the text into nodes, each with its line and column. It is
  the only YAML library here, because knowledge/ is read at every start: 150 kB take it
  0.02 s, a reader in Python 0.4 s (measured).
- That reader types scalars as YAML 1.1 does: ``on`` would be true, ``1e-3`` text and
  ``012`` ten. So its rules are replaced by those of YAML 1.2 (`_CORE_SCHEMA`).
- It lets a repeated key win in silence; here each one is a problem with its line.
- Nothing is written back through it. Whoever adds to a file by program can put lines
  where `Document.position` says and leaves every other byte, comments included.
"""

from __future__ import annotations

import pathlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

import yaml

from diagnose.errors import FileProblem, InvalidFileError

# What one scalar can be.
Scalar = str | int | float | bool | None

# What a file holds, without its positions.
Plain = Scalar | list["Plain"] | dict[str, "Plain"]

# Keys and list indices from the top of a file down to an entry.
Location = tuple[str | int, ...]

# A node of the library, which ships no types: mapping, sequence or scalar.
Node = Any

# The longest file that is read: a car file is a few kilobytes, the longest file of
# knowledge/ a hundred. [byte] Own choice.
MOST_BYTES = 1_000_000

# How deep entries may nest: car and knowledge files nest five deep, and Python's
# recursion limit is far off. [1] Own choice.
MOST_DEPTH = 20

# Control characters: what YAML 1.2.2, section 5.1 (character set), does not call
# printable, without tab, line feed and carriage return; DEL and C1 controls too, for
# the screen's sake.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffe\uffff]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """Line and column, both counted from 1."""

    line: int
    column: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A YAML file as plain data with positions.

    Parameters
    ----------
    path : str
        The file as the user named it.
    data : dict[str, Plain]
        The content; every key is text (``30:`` gives ``"30"``).
    keys, values : Mapping[Location, Position]
        Where each key and each value stands.
    problems : tuple[FileProblem, ...]
        What was wrong but left the rest readable, such as a repeated key.
    repeated : tuple[Plain, ...]
        The values of repeated keys after the first.
    """

    path: str
    data: dict[str, Plain]
    keys: Mapping[Location, Position]
    values: Mapping[Location, Position]
    problems: tuple[FileProblem, ...]
    repeated: tuple[Plain, ...] = ()

    def position(self, location: Location, *, of_key: bool = False) -> Position:
        """Return where an entry stands, or the nearest entry around it.

        Parameters
        ----------
        location : Location
            The entry. When it is not in the file, the key of the nearest entry around
            it that is.
        of_key : bool
            True for the position of the entry's key instead of its value.
        """
        if not of_key and location in self.values:
            return self.values[location]
        for length in range(len(location), 0, -1):
            for table in (self.keys, self.values):
                if location[:length] in table:
                    return table[location[:length]]
        return Position(line=1, column=1)

    def problem(
        self, location: Location, message: str, *, of_key: bool = False
    ) -> FileProblem:
        """Return a problem with the position of an entry."""
        position = self.position(location, of_key=of_key)
        return FileProblem(
            path=self.path, line=position.line, column=position.column, message=message
        )


def read_document(path: pathlib.Path, *, wanted: str) -> Document:
    """Read a YAML 1.2 file whose top level is a mapping.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    wanted : str
        What the file should be, for messages: ``car file``.

    Returns
    -------
    Document
        Its data with positions.

    Raises
    ------
    InvalidFileError
        If the file can't be read, is not text, not YAML, empty, or not a mapping.
    """
    text = _read_text(path, wanted=wanted)
    root = _compose(path, text, wanted=wanted)
    reader = _Reader(path=str(path))
    data = reader.plain(root, ())
    if not isinstance(data, dict) or not data:
        raise _invalid(
            path,
            1,
            1,
            f"found {_kind_words(data)}, expected a {wanted}: "
            "keys with values, such as `title: my car`",
        )
    return Document(
        path=str(path),
        data=data,
        keys=reader.keys,
        values=reader.values,
        problems=tuple(reader.problems),
        repeated=tuple(reader.repeated),
    )


def _invalid(
    path: pathlib.Path, line: int, column: int, message: str
) -> InvalidFileError:
    """Return the error of one problem."""
    problem = FileProblem(path=str(path), line=line, column=column, message=message)
    return InvalidFileError((problem,))


def _read_text(path: pathlib.Path, *, wanted: str) -> str:
    """Return the file's text without control characters, or say why not."""
    if path.is_dir():
        raise _invalid(path, 0, 0, f"is a folder, expected a {wanted}")
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise _invalid(path, 0, 0, f"no such file, expected a {wanted}") from error
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise _invalid(path, 0, 0, f"can't be read: {reason}") from error
    if len(content) > MOST_BYTES:
        raise _invalid(
            path, 0, 0, f"{len(content)} bytes is too long for a {wanted}; "
            f"the limit is {MOST_BYTES}",
        )  # fmt: skip
    if b"\x00" in content:
        raise _invalid(path, 0, 0, f"is a binary file, expected a {wanted} in YAML")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line, column = _line_and_column(
            content[: error.start].decode("utf-8", errors="replace")
        )
        raise _invalid(
            path, line, column, "is not UTF-8 text; save the file as UTF-8"
        ) from error
    _refuse_control_characters(path, text)
    if not text.strip():
        raise _invalid(path, 0, 0, f"is empty, expected a {wanted}")
    return text


def _line_and_column(before: str) -> tuple[int, int]:
    """Return the position that follows a text, counted from 1."""
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def _refuse_control_characters(path: pathlib.Path, text: str) -> None:
    """Refuse characters that a screen would act on, all of them at once."""
    problems = []
    for found in _CONTROL.finditer(text):
        line, column = _line_and_column(text[: found.start()])
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


# The common start of the standard tags (YAML 1.2.2, chapter 10).
_TAG = "tag:yaml.org,2002:"

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


class _NodeReader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """The library's reader, in Python where it was built without C; types by 1.2."""

    yaml_implicit_resolvers: ClassVar[dict[str, list[tuple[str, re.Pattern[str]]]]] = {}


for _kind, _pattern, _starts in _CORE_SCHEMA:
    _NodeReader.add_implicit_resolver(_TAG + _kind, _pattern, _starts)


def _compose(path: pathlib.Path, text: str, *, wanted: str) -> Node:
    """Return the file's node tree, or say why there is none."""
    try:
        root = yaml.compose(text, Loader=_NodeReader)
    except yaml.MarkedYAMLError as error:
        raise _not_yaml(path, text, error) from error
    except yaml.YAMLError as error:
        raise _invalid(path, 1, 1, f"is not YAML: {error}") from error
    except RecursionError as error:
        raise _invalid(path, 1, 1, _TOO_DEEP) from error
    if root is None:
        raise _invalid(path, 0, 0, f"holds only comments, expected a {wanted}")
    return root


def _not_yaml(
    path: pathlib.Path, text: str, error: yaml.MarkedYAMLError
) -> InvalidFileError:
    """Return the error of text that is no YAML, with the reader's place and reason."""
    reason = error.problem or error.context or "not understood"
    if reason.startswith("exceeded maximum nesting depth"):
        return _invalid(path, 1, 1, _TOO_DEEP)
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line, mark.column) if mark else (0, 0)
    if _character_at(text, line, column) == "\t":
        reason = "a tab; indent with spaces"
    words = f"is not YAML here: {_yaml_reason(reason)}"
    return _invalid(path, line + 1, column + 1, words)


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


def _kind_words(data: Plain) -> str:
    """Return what kind of data was found, in words."""
    if isinstance(data, dict):
        return "an empty mapping"
    if isinstance(data, list):
        return "a list"
    return "one piece of text" if isinstance(data, str) else f"only {data}"


@dataclass(slots=True, kw_only=True)
class _Reader:
    """Turns nodes into plain data while noting positions and problems."""

    path: str
    keys: dict[Location, Position] = field(default_factory=dict)
    values: dict[Location, Position] = field(default_factory=dict)
    problems: list[FileProblem] = field(default_factory=list)
    repeated: list[Plain] = field(default_factory=list)
    seen: set[int] = field(default_factory=set)

    def plain(self, node: Node, location: Location) -> Plain:
        """Return a node's plain data."""
        self.values[location] = _position(node)
        if id(node) in self.seen:
            self._report(node, "an alias (`*name`) is not used here; write it out")
            return None
        self.seen.add(id(node))
        if len(location) > MOST_DEPTH:
            self._report(node, f"is nested more than {MOST_DEPTH} deep")
            return None
        if node.id == "mapping":
            return self._mapping(node, location)
        if node.id == "sequence":
            return [
                self.plain(item, (*location, index))
                for index, item in enumerate(node.value)
            ]
        return self._scalar(node, str(node.value))

    def _mapping(self, node: Node, location: Location) -> dict[str, Plain]:
        """Return a mapping with text keys, reporting repeated ones."""
        result: dict[str, Plain] = {}
        for key_node, value_node in node.value:
            if key_node.id != "scalar":
                self._report(key_node, "a key must be one word, not a list or mapping")
                continue
            key = str(key_node.value)
            place = (*location, key)
            if key in result:
                first = self.keys[place].line
                self._report(
                    key_node,
                    f'key "{key}" is repeated; it stands in line {first} already',
                )
                self.repeated.append(self.plain(value_node, (*place, "repeated")))
                continue
            self.keys[place] = _position(key_node)
            result[key] = self.plain(value_node, place)
        return result

    def _scalar(self, node: Node, text: str) -> Scalar:
        """Return a scalar by its YAML 1.2 core type."""
        tag = str(node.tag).removeprefix(_TAG)
        if tag == "null":
            return None
        if tag == "bool":
            return text.lower() == "true"
        if tag in {"int", "float"}:
            return _number(text)
        escaped = _CONTROL.search(text)
        if escaped is not None:
            code = f"U+{ord(escaped[0]):04X}"
            self._report(
                node, f"control character {code}, written as an escape; delete it"
            )
            return _CONTROL.sub("", text)
        if tag != "str":
            self._report(node, f'tag "{node.tag}" is not used here; delete it')
        return text

    def _report(self, node: Node, message: str) -> None:
        """Add a problem at a node."""
        position = _position(node)
        self.problems.append(
            FileProblem(
                path=self.path,
                line=position.line,
                column=position.column,
                message=message,
            )
        )


def _position(node: Node) -> Position:
    """Return where a node starts, counted from 1."""
    return Position(line=node.start_mark.line + 1, column=node.start_mark.column + 1)


def _number(text: str) -> Scalar:
    """Return a number, or the text where a tag calls something else one."""
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text
