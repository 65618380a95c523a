"""Writes the expected-readings sheet of a car in the form asked for."""

from __future__ import annotations

import shutil
from typing import TextIO

from diagnose.files.car_file import load_car
from diagnose.files.knowledge_files import load_knowledge
from diagnose.files.resources import knowledge_folder
from diagnose.session.sheet import Choice, expected_sheet
from diagnose.terminal.car_names import car_file
from diagnose.terminal.sheet_data import sheet_csv, sheet_json
from diagnose.terminal.sheet_table import sheet_markdown, sheet_text

NARROWEST = 60
"""The longest name of a test point with one column beside it. [characters]"""


def list_expected(
    name: str, choice: Choice, *, form: str, width: int, sink: TextIO
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

    Raises
    ------
    DiagnoseError
        If the file is wrong, or the choice names something the car does not have.
    """
    knowledge = load_knowledge(knowledge_folder())
    with car_file(name) as path:
        car = load_car(path, knowledge)
    sheet = expected_sheet(car, knowledge, choice)
    if form == "csv":
        sink.write(sheet_csv(sheet))
    elif form == "json":
        sink.write(sheet_json(sheet, car_name=name))
    elif form == "markdown":
        sink.write(sheet_markdown(sheet, car_name=name))
    else:
        columns = max(width or shutil.get_terminal_size().columns, NARROWEST)
        sink.write(sheet_text(sheet, width=columns, car_name=name))
