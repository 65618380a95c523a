"""Opens the questions for a car: a new file's, or what an existing file lacks."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path
from typing import Any

from diagnose.errors import DiagnoseError
from diagnose.files.car.writing.additions import with_entries
from diagnose.files.car.writing.car_text import car_text
from diagnose.files.car.writing.wire_list import read_wire_list
from diagnose.files.file_text import read_text
from diagnose.files.kept_answers import KeptAnswers
from diagnose.files.knowledge.layouts import Layouts, load_layouts
from diagnose.files.yaml_positions import read_document
from diagnose.paperwork.asking.added_circuits import added_entries, ask_added
from diagnose.paperwork.asking.car_questions import ask_car
from diagnose.paperwork.asking.entries.car_entries import car_entries
from diagnose.paperwork.asking.entries.wire_list_entries import listed_entries
from diagnose.paperwork.asking.plan import CarPlan
from diagnose.paperwork.asking.questions import Interview
from diagnose.paperwork.asking.wire_list_questions import ask_wire_list
from diagnose.terminal.faces.line_face import run_lines, write_page
from diagnose.terminal.new_car.asked_car import AskedCar
from diagnose.terminal.new_car.finished_car import FinishedCar, MakeText
from diagnose.terminal.pages.page import Page, Tone, say

# The narrowest page. [characters] Own choice, as of a diagnosis.
NARROWEST = 40

# Before anyone follows a wire. Own words; common practice in workshops.
BEFORE = (
    "Look at the wiring with the key off, the engine cold and nothing on the battery's "
    "posts but its cables. Never under a car that only a jack holds. The maker's "
    "manual comes before anything said here."
)

# What an existing file can be given, and what it can't. Own words.
CONTINUED = (
    "This car has a file: what you answer is added to it, and nothing in it is "
    "touched, comments included. To change or take out what is there, edit the file."
)


# What a list of wires leaves open. Own words.
LISTED = (
    "A list says which wires there are; what is at their ends is asked for. What "
    "neither says takes its usual value and has `assumed` behind it in the file: "
    "positions of switches, what controllers do, which switches are on in a state. "
    "Look those over."
)


def ask_for_car(
    path: Path, *, wire_list: Path | None, is_plain: bool, width: int
) -> None:
    """Ask for a car until its file is written or the person leaves.

    Parameters
    ----------
    path : Path
        The car file; added to when it is there.
    wire_list : Path or None
        A list of wires that a new file begins with.
    is_plain : bool
        Whether lines are wanted where there is a screen.
    width : int
        Longest line; 0 for the terminal's own. [characters]

    Raises
    ------
    DiagnoseError
        If the file or the answers beside it can't be read.
    """
    layouts = load_layouts()
    opening: Page = (say("car", str(path)), say("first", BEFORE, Tone.CAUTION))
    interview, make_text = _asked_of(path, wire_list, layouts)
    if path.exists():
        opening = (*opening, say("mind", CONTINUED))
    elif wire_list is not None:
        opening = (*opening, say("mind", LISTED))
    conversation = AskedCar(
        interview, KeptAnswers.beside(path), FinishedCar(path, make_text)
    )
    count = conversation.restore()
    if count:
        words = f"{count} answers were kept; it goes on behind them."
        opening = (*opening, say("resumed", words, Tone.ASIDE))
    columns = max(width or shutil.get_terminal_size().columns, NARROWEST)
    is_terminal = sys.stdin.isatty() and sys.stdout.isatty()
    if is_plain or not is_terminal or os.environ.get("TERM", "") == "dumb":
        write_page(sys.stdout, opening, columns)
        run_lines(
            conversation,
            source=sys.stdin,
            sink=sys.stdout,
            width=columns,
        )
        return
    _on_screen(conversation, opening, columns)


def _asked_of(
    path: Path, wire_list: Path | None, layouts: Layouts
) -> tuple[Interview[Any], MakeText]:
    """Return the questions for a car, and how its text is made of the answers.

    Raises
    ------
    DiagnoseError
        If a list of wires is given for a file that is there.
    """
    if path.exists():
        if wire_list is not None:
            raise DiagnoseError(f"{path} is there already; name a new file")
        return _continued(path, layouts)
    if wire_list is not None:
        rows = read_wire_list(wire_list)
        return (
            Interview(lambda: ask_wire_list(layouts, rows)),
            lambda listed: car_text(listed_entries(listed, layouts)),
        )
    return (
        Interview(lambda: ask_car(layouts, {})),
        lambda plan: car_text(car_entries(plan, layouts)),
    )


def _continued(path: Path, layouts: Layouts) -> tuple[Interview[Any], MakeText]:
    """Return the questions for a car that has a file, and how that is added to.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with the file: mend that first.
    """
    from diagnose.terminal.preparation.car_files import open_car, published_knowledge

    text = read_text(path, wanted="car file")
    open_car(str(path), published_knowledge())
    data = read_document(path, wanted="car file", text=text).data

    def make_text(plan: CarPlan) -> str:
        now = read_text(path, wanted="car file")
        return with_entries(path, now, list(added_entries(plan)))

    return Interview(lambda: ask_added(layouts, data)), make_text


def _on_screen(conversation: AskedCar, opening: Page, columns: int) -> None:
    """Ask with the notebook and the line editor."""
    from rich.console import Console

    from diagnose.terminal.faces.interactive import run_interactive
    from diagnose.terminal.faces.meanwhile import Meanwhile
    from diagnose.terminal.faces.sheet import Sheet
    from diagnose.terminal.pages.notebook import Notebook, ink_for
    from diagnose.terminal.preparation.kept_cases import data_folder_of

    console = Console(highlight=False, markup=False, emoji=False, width=columns)
    sheet = Sheet(Notebook(console, ink_for(sys.stdout.encoding)))
    sheet.show(opening)
    with Meanwhile(lambda _: None) as meanwhile:
        run_interactive(
            conversation,
            sheet=sheet,
            vocabulary=None,
            history_path=data_folder_of(None) / "typed-answers",
            has_colour=not console.no_color,
            meanwhile=meanwhile,
        )
