"""Writes the expected-readings sheet of a car in the form asked for."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TextIO

from diagnose.session.sheets.expected_readings import expected_sheet
from diagnose.session.sheets.sheet import Choice, Sheet
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.reports.sheets.sheet_data import sheet_csv, sheet_json
from diagnose.terminal.reports.sheets.sheet_table import sheet_markdown, sheet_text

# The narrowest table: the longest name of a test point with one column beside it. Own
# choice. [characters]
NARROWEST = 60


def list_expected(
    name: str,
    choice: Choice,
    *,
    form: str,
    width: int,
    sink: TextIO,
    has_all_rows: bool = False,
) -> None:
    """Write what every test point of a car should read.

    Parameters
    ----------
    name : str
        Path of a car file, or name of a shipped car.
    choice : Choice
        Which readings, and with which fault.
    form : str
        ``table``, ``csv``, ``json`` or ``markdown``.
    width : int
        Longest line of the table; 0 for the terminal's own. [characters]
    sink : TextIO
        Where it is written.
    has_all_rows : bool
        With a fault, also the rows it does not change.

    Raises
    ------
    DiagnoseError
        If the file is wrong, or the choice names something the car does not have.
    """
    knowledge = published_knowledge()
    car = open_car(name, knowledge)
    sheet = expected_sheet(car, knowledge, choice)
    is_shortened = bool(choice.fault) and not has_all_rows
    if is_shortened:
        sheet = changed_rows(sheet, has_looks=form in {"table", "markdown"})
    if form == "csv":
        sink.write(sheet_csv(sheet))
    elif form == "json":
        sink.write(sheet_json(sheet, car_name=name))
    elif form == "markdown":
        sink.write(sheet_markdown(sheet, car_name=name, is_shortened=is_shortened))
    else:
        columns = max(width or shutil.get_terminal_size().columns, NARROWEST)
        sink.write(
            sheet_text(sheet, width=columns, car_name=name, is_shortened=is_shortened)
        )


def changed_rows(sheet: Sheet, *, has_looks: bool) -> Sheet:
    """Return the sheet with only the rows that show the fault.

    Those with a reading that alone tells it; where no row has one, those that differ.

    Parameters
    ----------
    sheet : Sheet
        With a fault.
    has_looks : bool
        Keep the looks at all fuses; a table sums them up in one line.
    """
    telling = [row for row in sheet.rows if any(cell.tells for cell in row.cells)]
    if all(row.is_look for row in telling):
        telling = [row for row in sheet.rows if any(cell.differs for cell in row.cells)]
    rows = tuple(
        row for row in sheet.rows if row in telling or (row.is_look and has_looks)
    )
    cautions = dict.fromkeys(caution for row in rows for caution in row.cautions)
    return replace(sheet, rows=rows, cautions=tuple(cautions))
