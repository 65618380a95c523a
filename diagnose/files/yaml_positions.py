"""YAML 1.2 files as plain data that remembers the line and column of everything.

The one door to YAML: every way a file can fail to be such data is a `FileProblem`.
Repeated keys, anchors and tags are told here, unreadable files by `file_text`, text
that is no YAML by `yaml_nodes`. Leaves what the data means to the grammar of each kind
of file.
"""

from __future__ import annotations

import pathlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from diagnose.errors import FileProblem
from diagnose.files.file_text import CONTROL, invalid_file, read_text
from diagnose.files.yaml_nodes import TAG, Node, compose

# What one scalar can be.
Scalar = str | int | float | bool | None

# What a file holds, without its positions.
Plain = Scalar | list["Plain"] | dict[str, "Plain"]

# Keys and list indices from the top of a file down to an entry.
Location = tuple[str | int, ...]

# The longest whole number that is read as one; a longer one is a number with digits
# that are not kept. [characters] Derived: every number of 15 digits is exact as a float
# (IEEE 754 binary64), and a sign.
MOST_DIGITS = 16

# How deep entries may nest: car and knowledge files nest five deep, and Python's
# recursion limit is far off. [1] Own choice.
MOST_DEPTH = 20


class Position(NamedTuple):
    """Line and column, both counted from 1; thousands are made at every start."""

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

        Returns
        -------
        Position
            The top of the file when nothing around the entry is in it.
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
        """Return a problem with the position of an entry.

        Parameters
        ----------
        location : Location
            The entry.
        message : str
            What was found, what was expected, and what to do.
        of_key : bool
            True when its key is meant, not its value.
        """
        position = self.position(location, of_key=of_key)
        return FileProblem(
            path=self.path, line=position.line, column=position.column, message=message
        )


def read_document(
    path: pathlib.Path, *, wanted: str, text: str | None = None
) -> Document:
    """Read a YAML 1.2 file whose top level is a mapping.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    wanted : str
        What the file should be, for messages: ``car file``.
    text : str or None
        What stands in it, where that was read before.

    Returns
    -------
    Document
        Its data with positions.

    Raises
    ------
    InvalidFileError
        If the file can't be read, is not text, not YAML, empty, or not a mapping.
    """
    if text is None:
        text = read_text(path, wanted=wanted)
    root = compose(path, text, wanted=wanted)
    reader = _Reader(path=str(path))
    data = reader.plain(root, ())
    if not isinstance(data, dict) or not data:
        raise invalid_file(
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
        tag = str(node.tag).removeprefix(TAG)
        if tag == "null":
            return None
        if tag == "bool":
            return text.lower() == "true"
        if tag in {"int", "float"}:
            return _number(text)
        escaped = CONTROL.search(text)
        if escaped is not None:
            code = f"U+{ord(escaped[0]):04X}"
            self._report(
                node, f"control character {code}, written as an escape; delete it"
            )
            return CONTROL.sub("", text)
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
    """Return the number that a text is; the text itself when it is none."""
    try:
        return int(text) if len(text) <= MOST_DIGITS else float(text)
    except ValueError:
        pass
    try:
        return float(text)
    except ValueError:
        return text
