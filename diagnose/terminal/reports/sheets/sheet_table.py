"""The expected-readings sheet as a table, for a screen or a workshop wall.

Operating states are columns, test points are rows by place. Leaves the numbers to
`session.sheets.expected_readings`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from diagnose.circuit.operating_states import OperatingState
from diagnose.measurement.readings import ReadingKind
from diagnose.session.sheets.sheet import Band, Cell, Row, Sheet
from diagnose.session.words.wording import range_words
from diagnose.terminal.reading_kinds import TABLE_DECIMALS
from diagnose.terminal.reports.sheets.branch_words import branch_words
from diagnose.terminal.reports.sheets.charging_words import (
    FAULT_LABEL,
    charging_words,
)
from diagnose.terminal.safe_text import clean

# Stands behind a reading that alone tells the fault from a sound car.
MARK = "*"

# A longer label gets a line of its own. Own choice. [characters]
LONGEST_LABEL = 38

# Between the columns, and before what goes on from the line above.
GAP = "  "

# Told before the table, since the cautions stand behind it: they would push it off.
READ_CAUTIONS = "before the first reading, read the cautions at the end of this sheet."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line of a table: a label and its cells, one for each state."""

    label: str
    cells: tuple[str, ...]


def sheet_text(
    sheet: Sheet, *, width: int, car_name: str, is_shortened: bool = False
) -> str:
    """Return the sheet as plain text.

    Parameters
    ----------
    sheet : Sheet
        What to show.
    width : int
        Longest line. [characters]
    car_name : str
        How the person called the car, for the hint at its defaults.
    is_shortened : bool
        Rows that do not show the fault were left out, which is then said.
    """
    lines = [*_wrapped(title(sheet), width), ""]
    lines.extend((*_wrapped(f"Caution: {READ_CAUTIONS}", width), ""))
    for words in _words_before(sheet, is_shortened=is_shortened):
        lines.extend(_wrapped(words, width))
    if _table_rows(sheet):
        for states in _blocks(sheet, width):
            lines.append("")
            lines.extend(_block(sheet, states))
    for words in charging_words(sheet):
        lines.extend(("", *_wrapped(words, width)))
    branches = list(branch_words(sheet))
    lines.extend(["", "branches"] if branches else [])
    for words in branches:
        lines.extend(_wrapped(words, width))
    lines.extend(("", "cautions"))
    for caution in (sheet.safety_note, *sheet.cautions):
        lines.extend(_wrapped(f"- {caution}", width))
    lines.append("")
    lines.extend(_wrapped(defaults_words(sheet, car_name), width))
    return "\n".join(lines) + "\n"


def sheet_markdown(sheet: Sheet, *, car_name: str, is_shortened: bool = False) -> str:
    """Return the sheet as Markdown, every state a column of one table."""
    lines = [f"# {title(sheet)}", "", f"> Caution: {READ_CAUTIONS}", ""]
    words = _words_before(sheet, is_shortened=is_shortened)
    lines.extend(f"- {clean(text)}" for text in words)
    for place, rows in groupby(_table_rows(sheet), key=lambda row: row.place):
        lines.extend(("", f"## {place}", ""))
        heads = ["test point", *(_head(state) for state in sheet.states)]
        lines.append(f"| {' | '.join(heads)} |")
        lines.append(f"| --- |{' --- |' * len(sheet.states)}")
        for row in rows:
            for line in _row_lines(row, sheet.states):
                cells = " | ".join((line.label, *line.cells))
                lines.append(f"| {cells} |")
    charging = [clean(words) for words in charging_words(sheet)]
    if charging:
        lines.extend(("", "## charging", "", *(f"- {words}" for words in charging)))
    branches = [clean(words) for words in branch_words(sheet)]
    if branches:
        lines.extend(("", "## branches", "", *(f"- {words}" for words in branches)))
    lines.extend(("", "## cautions", ""))
    cautions = (sheet.safety_note, *sheet.cautions)
    lines.extend(f"- {clean(caution)}" for caution in cautions)
    lines.extend(("", defaults_words(sheet, car_name)))
    return "\n".join(lines) + "\n"


def title(sheet: Sheet) -> str:
    """Return what the sheet shows, in one line."""
    what = "what it reads when sound"
    if sheet.fault is not None:
        what += f", and with one fault: {sheet.fault.says}"
    return clean(f"{sheet.car.title}: {what}")


def defaults_words(sheet: Sheet, car_name: str) -> str:
    """Return how much of the car was assumed, and how to see it."""
    total = sheet.default_values + sheet.own_values
    return (
        f"{sheet.default_values} of the {total} values behind this sheet are usual "
        f"ones that the car file does not give. They are listed, with where each comes "
        f"from, by: diagnose expand {clean(car_name)}"
    )


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(
        clean(text), width=width, subsequent_indent=GAP, break_on_hyphens=False
    )


def _words_before(sheet: Sheet, *, is_shortened: bool) -> Iterator[str]:
    """Yield what has to be known to read the table."""
    yield from _reading_words(sheet)
    yield from _sign_words(sheet)
    if is_shortened:
        yield "Rows that do not show the fault are left out; with them: --all"
    yield from _state_words(sheet)
    yield from _fuse_words(sheet)


def _reading_words(sheet: Sheet) -> Iterator[str]:
    yield (
        f"Red lead on the test point, black lead on {sheet.car.reference} where no "
        "other point is named. Nine of ten sound cars of this file read inside the "
        "band; the meter's own error comes on top."
    )
    if sheet.fault is None:
        return
    yield (
        f'A second line, "{FAULT_LABEL}", stands where the fault changes the reading '
        f"by more than the meter's error; {MARK} where this reading alone tells the "
        "faulty car from a sound one."
    )
    if not _table_rows(sheet):
        yield "The fault changes none of the readings asked for."
    if sheet.unreached:
        yield (
            "With the fault the car hardly gets into these states: "
            f"{', '.join(sheet.unreached)}."
        )
    if sheet.unsteady:
        yield (
            "With the fault something keeps switching on and off in these states, so "
            f"the readings jump: {', '.join(sheet.unsteady)}."
        )


def _sign_words(sheet: Sheet) -> Iterator[str]:
    if sheet.car.is_positive_ground:
        yield (
            "Positive ground: the readings against the battery's positive post are "
            "negative, as a meter shows them."
        )


def _state_words(sheet: Sheet) -> Iterator[str]:
    for state in sheet.states:
        yield f"{state.name}: {state.label}"


def _fuse_words(sheet: Sheet) -> Iterator[str]:
    """Return what the fuses look like with the fault."""
    looks = [row for row in sheet.rows if row.is_look]
    if not looks:
        return
    blown = [row.red for row in looks if row.cells[0].differs]
    if blown:
        yield f"{FAULT_LABEL}: {', '.join(blown)} blown, the other fuses sound"
    else:
        yield f"{FAULT_LABEL}: every fuse sound"


def _table_rows(sheet: Sheet) -> list[Row]:
    return [row for row in sheet.rows if not row.is_look]


def _head(state: OperatingState) -> str:
    return f"{state.name} [V]" if state.is_battery_connected else f"{state.name} [ohm]"


def _blocks(sheet: Sheet, width: int) -> Iterator[tuple[OperatingState, ...]]:
    """Yield as many states as fit side by side, over and over."""
    room = width - _label_width(sheet)
    block: list[OperatingState] = []
    used = 0
    for state in sheet.states:
        size = _column_width(sheet, state) + len(GAP)
        if block and used + size > room:
            yield tuple(block)
            block, used = [], 0
        block.append(state)
        used += size
    yield tuple(block)


def _label_width(sheet: Sheet) -> int:
    labels = [len(_label(row)) for row in _table_rows(sheet)]
    short = [length for length in labels if length <= LONGEST_LABEL]
    return max((*short, len(FAULT_LABEL) + len(GAP)))


def _column_width(sheet: Sheet, state: OperatingState) -> int:
    cells = [
        line.cells[0]
        for row in _table_rows(sheet)
        for line in _row_lines(row, (state,))
    ]
    return max(len(_head(state)), *(len(cell) for cell in cells))


def _block(sheet: Sheet, states: Sequence[OperatingState]) -> Iterator[str]:
    """Yield the lines of the table for some states."""
    widths = [_column_width(sheet, state) for state in states]
    first = _label_width(sheet)

    def joined(label: str, cells: Sequence[str]) -> str:
        padded = [f"{c:<{width}}" for c, width in zip(cells, widths, strict=True)]
        return GAP.join((f"{label:<{first}}", *padded)).rstrip()

    yield joined("", [_head(state) for state in states])
    for place, rows in groupby(_table_rows(sheet), key=lambda row: row.place):
        shown = [row for row in rows if any(row.cell(s.name) for s in states)]
        if shown:
            yield f"-- {place}"
        for row in shown:
            for line in _row_lines(row, states):
                if len(line.label) > first:
                    yield line.label
                    yield joined("", line.cells)
                else:
                    yield joined(line.label, line.cells)


def _row_lines(row: Row, states: Sequence[OperatingState]) -> Iterator[_Line]:
    """Yield the line of a row, and a second where the fault changes something."""
    cells = [row.cell(state.name) for state in states]
    yield _Line(
        label=_label(row),
        cells=tuple(_words(c.healthy, c.kind) if c else "" for c in cells),
    )
    changed = tuple(_changed_words(cell) for cell in cells)
    if any(changed):
        yield _Line(label=f"{GAP}{FAULT_LABEL}", cells=changed)


def _label(row: Row) -> str:
    if row.is_ac:
        return f"{row.red}, AC"
    if row.is_lamp:
        return f"{row.red} to {row.black}, lamp"
    return f"{row.red} to {row.black}" if row.is_drop else row.red


def _changed_words(cell: Cell | None) -> str:
    """Return the reading with the fault where it differs, else nothing."""
    if cell is None or cell.faulty is None or not cell.differs:
        return ""
    return _words(cell.faulty, cell.kind) + (MARK if cell.tells else "")


def _words(band: Band, kind: ReadingKind) -> str:
    if kind is ReadingKind.LAMP:
        return range_words(band.low, band.high, kind)
    decimals = TABLE_DECIMALS[kind]
    low, high = round(band.low, decimals), round(band.high, decimals)
    return range_words(low, high, kind).removesuffix(" V")
