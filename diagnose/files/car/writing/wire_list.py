"""Lists of wires as spreadsheets keep them: one wire a row, CSV.

Leaves what the ends of the wires are to whoever knows the car.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from diagnose.circuit.car import Car, Part
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.wires import METRES_PER_FOOT, awg_area_mm2, sae_area_mm2
from diagnose.errors import FileProblem, InvalidFileError, did_you_mean
from diagnose.files.car.grammar.load_sizes import parse_fuse
from diagnose.files.car.grammar.sizes import parse_colour, parse_wire
from diagnose.files.common_words import as_meant
from diagnose.files.file_text import read_text

# The columns, those that every list needs first.
COLUMNS = ("from", "to", "size", "length", "colour", "fuse", "name", "note")

# Columns without which a row is no wire.
_NEEDED = COLUMNS[:4]

# Other words that people put above a column. Own choice, from common use.
_OTHER_WORDS = {"color": "colour", "gauge": "size", "start": "from", "end": "to"}

# An end of a wire: a terminal, or a stud, splice or metal alone.
_END = re.compile(r"[a-z][a-z0-9-]*(\.[a-z0-9-]+)?")

# A name of a wire.
_NAME = re.compile(r"[a-z][a-z0-9-]*")

# Gauges that are tried when a wire is written back. [AWG] 4/0 to 30.
_GAUGES = range(-3, 31)

# How near an area must be to a gauge's to be that gauge. [1] Rounding alone.
_SAME = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class WireRow:
    """One wire of a list.

    Parameters
    ----------
    name : str
        Its own; made from its row where the list has none.
    start, end : str
        The terminals it joins.
    wire : str
        Size, length and colour, as a car file has them.
    fuse : str
        At its start, or empty.
    note : str
        The owner's, or empty.
    """

    name: str
    start: str
    end: str
    wire: str
    fuse: str = ""
    note: str = ""


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
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise _broken(path, [(1, 1, f"is no CSV: {error}")]) from error
    columns = _columns(path, rows[0] if rows else [])
    found, problems = [], []
    for number, cells in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        row = _Row(number, columns, cells)
        wire = row.read()
        problems.extend(row.problems)
        found.extend([wire] if wire else [])
    names: dict[str, int] = {}
    for wire in found:
        names[wire.name] = names.get(wire.name, 0) + 1
    twice = [name for name, count in names.items() if count > 1]
    problems += [(1, 1, f'two wires are called "{name}"; rename one') for name in twice]
    if problems:
        raise _broken(path, problems)
    if not found:
        raise _broken(path, [(1, 1, "holds no wires below its header")])
    return tuple(found)


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
        size = as_meant(self._text("size"))
        length = as_meant(self._text("length"))
        self._cell("size", lambda text: _read_size(text, "1 m"))
        self._cell("length", lambda text: _read_size("14 AWG", text))
        colour = self._cell("colour", parse_colour, is_needed=False)
        fuse = self._cell("fuse", _read_fuse, is_needed=False)
        name = self._cell("name", _read_name, is_needed=False)
        if self.problems:
            return None
        return WireRow(
            name=name or f"wire-{self._number - 1}",
            start=start,
            end=end,
            wire=f"{size} {length} {colour}".strip(),
            fuse=fuse,
            note=self._text("note"),
        )

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
        place = self._columns[column] + 1
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


def _read_name(text: str) -> str:
    name = re.sub(r"[\s_]+", "-", text.lower())
    if not _NAME.fullmatch(name):
        raise ValueError(f'"{text}" is no name: letters, digits, hyphens')
    return name


def wire_list(car: Car) -> str:
    """Return the wires of a car as CSV, with the fuse that sits at a wire's start.

    Parameters
    ----------
    car : Car
        The car.
    """
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(_rows(car))
    return sink.getvalue()


def _rows(car: Car) -> Iterator[tuple[str, ...]]:
    """Yield the cells of each wire."""
    fuses = {p.terminals["b"]: p for p in car.parts if p.kind in PROTECTIVE_KINDS}
    told: set[str] = set()
    for wire in (part for part in car.parts if part.kind == "wire"):
        start, end = wire.terminals["a"], wire.terminals["b"]
        stem = wire.name.removesuffix("-wire")
        if end in fuses or (stem != wire.name and start.startswith(f"{stem}.")):
            start, end = end, start  # from the feed to what is fed
        name, fuse = wire.name, ""
        before = fuses.get(start)
        if before is not None and before.name not in told:
            told.add(before.name)
            start = before.terminals["a"]
            kind = "" if before.kind == "fuse" else f" {before.kind}"
            rating = before.values["rating_amps"].distribution.nominal
            fuse = f"{rating:g} A{kind}"
            is_own = before.name == f"{stem}-fuse" and not end.startswith(f"{stem}.")
            name = stem if is_own else name
        size, length = _size(wire), _length(wire)
        ends = (_short(start), _short(end))
        yield (*ends, size, length, wire.colour, fuse, name, wire.note)


def _short(node: str) -> str:
    """Return a terminal as a list names it: metal, studs and splices alone."""
    assembly, _, terminal = node.partition(".")
    is_alone = terminal in {"stud", "splice", "metal"} or assembly in {"body", "engine"}
    return assembly if is_alone else node


def _size(wire: Part) -> str:
    """Return a wire's size: its gauge where it is one, else its area or its ohms."""
    if "area_mm2" not in wire.values:
        ohms = wire.values["wire_ohms"].distribution.nominal
        metres = wire.values["length_m"].distribution.nominal
        return f"{ohms / metres:.6g} ohm/m"
    area = wire.values["area_mm2"].distribution.nominal
    for series, area_of in (("AWG", awg_area_mm2), ("SAE", sae_area_mm2)):
        for gauge in _GAUGES:
            try:
                is_same = abs(area_of(gauge) / area - 1.0) < _SAME
            except ValueError:
                continue
            if is_same:
                return f"{gauge if gauge > 0 else f'{1 - gauge}/0'} {series}"
    return f"{area:.6g} mm2"


def _length(wire: Part) -> str:
    """Return a wire's length: in feet where those are round, else in metres."""
    metres = wire.values["length_m"].distribution.nominal
    feet = metres / METRES_PER_FOOT
    is_round = abs(feet * 12 - round(feet * 12)) < _SAME
    return f"{feet:.6g} ft" if is_round else f"{metres:.6g} m"
