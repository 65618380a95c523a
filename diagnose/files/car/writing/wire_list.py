"""Lists of wires as spreadsheets keep them, read: one wire a row, CSV.

Leaves what the ends of the wires are to whoever knows the car, and writing a car's list
to `car_wires`.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from diagnose.errors import FileProblem, InvalidFileError, did_you_mean
from diagnose.files.car.grammar.load_sizes import parse_fuse
from diagnose.files.car.grammar.sizes import parse_colour, parse_wire
from diagnose.files.common_words import as_meant
from diagnose.files.file_text import read_text

# The columns, those that every list needs first.
COLUMNS = ("from", "to", "size", "length", "colour", "fuse", "plug", "name", "note")

# What stands in the column size where two ends sit on one another, without a wire.
NO_WIRE = "none"

# Columns without which a row is no wire.
_NEEDED = COLUMNS[:4]

# Other words that people put above a column. Own choice, from common use.
_OTHER_WORDS = {
    "color": "colour",
    "gauge": "size",
    "start": "from",
    "end": "to",
    "connector": "plug",
}

# An end of a wire: a terminal, or a stud, splice or metal alone.
_END = re.compile(r"[a-z][a-z0-9-]*(\.[a-z0-9-]+)?")

# A name of a wire.
_NAME = re.compile(r"[a-z][a-z0-9-]*")

# A plug, with the pin where several wires share one.
_PLUG = re.compile(r"[a-z][a-z0-9-]*(\.[a-z0-9-]+)?")

# What others sit on and what itself sits on nothing: the metal, and what is bolted to
# it.
_NEVER_ON = ("body", "engine", "frame", "battery", "alternator", "starter")


@dataclass(frozen=True, slots=True, kw_only=True)
class WireRow:
    """One wire of a list, or two ends that sit on one another.

    Parameters
    ----------
    name : str
        Its own; made from its row where the list has none.
    start, end : str
        The terminals it joins.
    wire : str
        Size, length and colour, as a car file has them; empty where the start sits
        right on the end.
    fuse : str
        At its start, or empty.
    plugs : tuple[str, ...]
        The plugs it goes through, each with its pin where several wires share that.
    note : str
        The owner's, or empty.
    is_named : bool
        Whether the list has a name for it.
    """

    name: str
    start: str
    end: str
    wire: str
    fuse: str = ""
    plugs: tuple[str, ...] = ()
    note: str = ""
    is_named: bool = True


def read_wire_list(path: Path) -> tuple[WireRow, ...]:
    """Read a list of wires.

    Parameters
    ----------
    path : Path
        CSV with a header; commas, semicolons or tabs between the columns.

    Returns
    -------
    tuple[WireRow, ...]
        In its order.

    Raises
    ------
    InvalidFileError
        With everything that is wrong, by row and column.
    """
    text = read_text(path, wanted="list of wires").lstrip("\ufeff")
    header = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=header.count)
    rows = _cells(path, text, delimiter)
    columns = _columns(path, rows[0] if rows else [])
    found, problems = [], []
    names: dict[str, int] = {}
    for number, cells in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        # where commas part no cells they are decimal ones
        told = (
            cells if delimiter == "," else [_DECIMAL.sub(".", cell) for cell in cells]
        )
        row = _Row(number, columns, told)
        wire = row.read()
        if wire is not None:
            row.check_name(wire.name, names.setdefault(wire.name, number))
        problems.extend(row.problems)
        found.extend([wire] if wire else [])
    if problems:
        raise _broken(path, problems)
    if not found:
        raise _broken(path, [(1, 1, "holds no wires below its header")])
    return tuple(found)


# A decimal comma.
_DECIMAL = re.compile(r"(?<=\d),(?=\d)")


def _cells(path: Path, text: str, delimiter: str) -> list[list[str]]:
    """Return the cells of every row.

    Raises
    ------
    InvalidFileError
        With the row, where a quote opens and does not close.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    try:
        for row in reader:
            rows.append(row)
    except csv.Error as error:
        number = len(rows) + 1
        told = f"row {number}: a quote opens here and does not close, or closes inside"
        raise _broken(path, [(number, 1, f"{told} a cell ({error})")]) from error
    return rows


# Row, column and what is wrong there.
_Problem = tuple[int, int, str]


def _broken(path: Path, problems: Iterable[_Problem]) -> InvalidFileError:
    return InvalidFileError(
        tuple(
            FileProblem(path=str(path), line=row, column=column, message=message)
            for row, column, message in problems
        )
    )


def _columns(path: Path, header: Sequence[str]) -> dict[str, int]:
    """Return where each column stands."""
    words = [cell.strip().lower() for cell in header]
    names = [_OTHER_WORDS.get(word, word) for word in words]
    problems: list[_Problem] = []
    for index, name in enumerate(names, start=1):
        if name and name not in COLUMNS:
            problems.append(
                (
                    1,
                    index,
                    f'row 1: there is no column "{name}"{did_you_mean(name, COLUMNS)}; '
                    f"known: {', '.join(COLUMNS)}",
                )
            )
        elif name and names.index(name) != index - 1:
            problems.append((1, index, f'row 1: column "{name}" is there twice'))
    problems.extend(
        (1, 1, f'row 1: column "{name}" is missing')
        for name in _NEEDED
        if name not in names
    )
    if problems:
        raise _broken(path, problems)
    return {name: index for index, name in enumerate(names) if name}


class _Row:
    """One row while it is read."""

    def __init__(
        self, number: int, columns: dict[str, int], cells: Sequence[str]
    ) -> None:
        self._number = number
        self._columns = columns
        self._cells = cells
        self.problems: list[_Problem] = []
        if len(cells) > len(columns) and any(c.strip() for c in cells[len(columns) :]):
            words = f"row {number}: more cells than columns; quote a cell with commas"
            self.problems.append((number, len(columns) + 1, words))

    def read(self) -> WireRow | None:
        """Return the wire of the row; None where something of it is wrong."""
        start = self._cell("from", _read_end)
        end = self._cell("to", _read_end)
        colour = self._cell("colour", parse_colour, is_needed=False)
        wire = f"{self._size_and_length()} {colour}".strip()
        fuse = self._cell("fuse", _read_fuse, is_needed=False)
        plugs = self._cell("plug", _read_plugs, is_needed=False)
        name = self._cell("name", _read_name, is_needed=False)
        if start and start == end:
            self._wrong("to", f"is {end}, as from is; a wire has two ends")
        if not wire:
            self._check_sitting(start, fuse)
        if self.problems:
            return None
        return WireRow(
            name=name or f"wire-{self._number - 1}",
            start=start,
            end=end,
            wire=wire,
            fuse=fuse,
            plugs=tuple(plugs.split()),
            note=self._text("note"),
            is_named=bool(name),
        )

    def check_name(self, name: str, first: int) -> None:
        """Note a name that a wire of a row before has."""
        if first != self._number:
            self._wrong("name", f'"{name}" is the name of row {first} too; rename one')

    def _size_and_length(self) -> str:
        """Return both as a car file has them, empty where there is no wire."""
        size = as_meant(self._text("size"))
        if size.lower() == NO_WIRE:
            return ""
        self._cell("size", lambda text: _read_size(text, "1 m"))
        self._cell("length", lambda text: _read_size("14 AWG", text))
        return f"{size} {as_meant(self._text('length'))}"

    def _check_sitting(self, start: str, fuse: str) -> None:
        """Note what can't be without a wire: on metal, or what a wire alone has."""
        if not fuse and start.partition(".")[0] in _NEVER_ON:
            reason = f"{start} sits on nothing else; exchange from and to"
            self._wrong("from", reason)
        for column in ("length", "colour", "plug"):
            if self._text(column):
                self._wrong(column, f"is of no use where size is {NO_WIRE}")

    def _text(self, column: str) -> str:
        index = self._columns.get(column)
        if index is None or index >= len(self._cells):
            return ""
        return self._cells[index].strip()

    def _cell(
        self, column: str, read: Callable[[str], str], *, is_needed: bool = True
    ) -> str:
        """Return what a cell says, empty where it is wrong or left empty."""
        text = self._text(column)
        if not text and not is_needed:
            return ""
        try:
            return read(text) if text else self._wrong(column, "is empty")
        except ValueError as error:
            return self._wrong(column, str(error))

    def _wrong(self, column: str, reason: str) -> str:
        """Note what is wrong with a cell."""
        place = self._columns.get(column, 0) + 1
        words = f"row {self._number}, column {column}: {reason}"
        self.problems.append((self._number, place, words))
        return ""


def _read_end(text: str) -> str:
    end = as_meant(text).lower().replace(" ", "-").replace("_", "-")
    if not _END.fullmatch(end):
        raise ValueError(f'"{text}" is no end of a wire, such as battery.plus or body')
    return end


def _read_size(size: str, length: str) -> str:
    wire = f"{as_meant(size)} {as_meant(length)}"
    if re.fullmatch(r"[\d./]+", size):
        raise ValueError(f'"{size}" has no unit; write {size} AWG, SAE or mm2')
    parse_wire(wire)
    return wire


def _read_fuse(text: str) -> str:
    if text.lower() in {"none", "no", "-"}:
        return ""
    meant = as_meant(text)
    parse_fuse(meant)
    return meant


def _read_plugs(text: str) -> str:
    names = text.lower().replace(",", " ").replace("_", "-").split()
    for name in names:
        if not _PLUG.fullmatch(name):
            raise ValueError(
                f'"{text}" is no plug: a name, and the pin where wires share one, such '
                "as rear-plug or rear-plug.4"
            )
    return " ".join(names)


def _read_name(text: str) -> str:
    name = re.sub(r"[\s_]+", "-", text.lower())
    if not _NAME.fullmatch(name):
        raise ValueError(f'"{text}" is no name: letters, digits, hyphens')
    return name
