"""An evening at the car: opens car, store and model, and hands over to a face.

Knows the order of things and nothing else; `cli` reads the options. On a screen an
answer comes at once and is completed in the pauses; in lines and JSON it is complete.

Decision that binds this module: the first page, with what can hurt, needs no more than
the car's file, so it is shown before the car is made ready, and read meanwhile. What
that needs is imported behind it.
"""

from __future__ import annotations

import contextlib
import os
import shlex
import shutil
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.circuit.car import Car
from diagnose.errors import InvalidFileError, StoreError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.car_file import WANTED, load_car
from diagnose.files.file_text import read_text
from diagnose.store.case_rows import StoredCase
from diagnose.store.case_store import CaseNameError, CaseStore, text_digest
from diagnose.store.journal import Journal
from diagnose.terminal.faces.line_face import run_lines, write_page
from diagnose.terminal.opening import Opening
from diagnose.terminal.pages.page import Page, Tone, say
from diagnose.terminal.pages.questions import opening_page
from diagnose.terminal.preparation.car_files import car_file, published_knowledge
from diagnose.terminal.preparation.kept_cases import (
    data_folder_of,
    opened_store,
    stored_car,
)
from diagnose.terminal.preparation.learned_shares import knowledge_in_use
from diagnose.terminal.preparation.owner import told_of_owner

if TYPE_CHECKING:
    from diagnose.session.casebook import Casebook
    from diagnose.session.facts import Fact
    from diagnose.terminal.dialogue.conversation import Conversation
    from diagnose.terminal.faces.sheet import Sheet

# The narrowest page, whatever the terminal says. Own choice: the margin and a few
# words beside it. [characters]
NARROWEST = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """How a diagnosis is shown and kept.

    Parameters
    ----------
    is_plain, is_json : bool
        The face asked for; with neither, a terminal gets the notebook.
    width : int
        Longest line; 0 for the terminal's own. [characters]
    data_folder : Path or None
        Where cases are kept; None for the user's data folder.
    is_prestart : bool
        A new case begins with the readings before the first start.
    without : tuple[str, ...]
        What the owner lacks, for a new case.
    owner_file : Path or None
        Where he says so for all his cases; None for the one in his config folder.
    """

    is_plain: bool = False
    is_json: bool = False
    width: int = 0
    data_folder: Path | None = None
    is_prestart: bool = False
    without: tuple[str, ...] = ()
    owner_file: Path | None = None

    @property
    def folder(self) -> Path:
        """Where cases are kept."""
        return data_folder_of(self.data_folder)


def start(car_name: str, case_name: str, options: Options, opening: Opening) -> None:
    """Begin a case on a car and hold the diagnosis.

    Parameters
    ----------
    car_name : str
        Path of a car file, or name of a shipped car.
    case_name : str
        Name for the case; empty: one is made.
    options : Options
        How it is shown and kept.
    opening : Opening
        What is shown meanwhile.

    Raises
    ------
    DiagnoseError
        If the car file is wrong, or the case's name is taken.
    """
    knowledge, remarks = knowledge_in_use(options.folder, published_knowledge())
    with car_file(car_name) as path:
        # read once: a pipe gives its text to the first reader
        text = read_text(path, wanted=WANTED)
        car = load_car(path, knowledge, text=text)
    owner_facts, owner_remarks = told_of_owner(
        car, knowledge, without=options.without, path=options.owner_file
    )
    with _store_or_none(options.folder) as (store, failure):
        journal = _new_journal(
            store, failure, name=case_name, path=str(path.resolve()), text=text
        )
        page = _first_page(car, knowledge, journal, remarks=(*remarks, *owner_remarks))
        sheet = _shown_first(page, options, opening)
        casebook = _casebook(car, knowledge, options, journal, opening)
        for fact in (*owner_facts, *_prestart_facts(knowledge, options)):
            casebook.tell(fact)
        opening.clear()
        _hold(casebook, car, options, sheet)


def resume(case_name: str, options: Options, opening: Opening) -> None:
    """Go on with a stored case.

    Parameters
    ----------
    case_name : str
        Name of the case; empty: the one worked on latest.
    options : Options
        How it is shown and kept.
    opening : Opening
        What is shown meanwhile.

    Raises
    ------
    DiagnoseError
        If there is no such case, or its car file no longer loads.
    """
    knowledge, notes = knowledge_in_use(options.folder, published_knowledge())
    with opened_store(options.folder) as store:
        case = store.find(case_name)
        rows = store.facts(case.name)
        remarks = _car_file_remarks(case)
        car = stored_car(store, case, knowledge)
        journal = Journal(store, name=case.name, fact_count=len(rows))
        page = _first_page(car, knowledge, journal, remarks=(*notes, *remarks))
        sheet = _shown_first(page, options, opening)
        casebook = _casebook(car, knowledge, options, journal, opening)
        refused = casebook.restore(rows)
        left_out = _remarks([f"left out: {reason}" for reason in refused])
        if left_out:
            page = left_out if sheet is None else (*page, *left_out)
            sheet = _shown_first(page, options, opening, sheet)
        opening.clear()
        _hold(casebook, car, options, sheet, resumed_at=case.at_step)


@contextlib.contextmanager
def _store_or_none(folder: Path) -> Iterator[tuple[CaseStore | None, str]]:
    """Give the store, or None and why there is none."""
    try:
        store = opened_store(folder)
    except StoreError as error:
        yield None, str(error)
        return
    with store:
        yield store, ""


def _new_journal(
    store: CaseStore | None, failure: str, *, name: str, path: str, text: str
) -> Journal:
    """Return the journal of a new case; one in memory when the disk refuses it."""
    if store is None:
        return Journal(None, failure=failure)
    try:
        case = store.create(name=name, car_path=path, car_text=text)
    except CaseNameError:
        raise
    except StoreError as error:
        return Journal(None, failure=str(error))
    return Journal(store, name=case.name)


def _car_file_remarks(case: StoredCase) -> tuple[str, ...]:
    """Say when the car file has changed since the case began."""
    try:
        text = read_text(Path(case.car_path), wanted=WANTED)
    except InvalidFileError:
        return (f"{case.car_path} is gone; this case goes on with the copy it kept.",)
    if text_digest(text) == case.car_digest:
        return ()
    return (
        f"{case.car_path} has changed since this case began; the case goes on with "
        "the copy it kept. For the new file, start a new case.",
    )


def _casebook(
    car: Car,
    knowledge: Knowledge,
    options: Options,
    journal: Journal,
    opening: Opening,
) -> Casebook:
    """Return a new diagnosis of a car, saying how far its preparation is."""
    from diagnose.session.casebook import Casebook
    from diagnose.session.diagnosis import Diagnosis
    from diagnose.terminal.preparation.prepared_car import prepared_model

    model = prepared_model(car, knowledge, opening=opening)
    diagnosis = Diagnosis(model)
    return Casebook(diagnosis, journal, at_once=_is_on_screen(options))


def _prestart_facts(knowledge: Knowledge, options: Options) -> tuple[Fact, ...]:
    """Return what a case begins with that goes through the readings before a start."""
    if not options.is_prestart:
        return ()
    from diagnose.session.sheets.first_start import prestart_facts

    return tuple(prestart_facts(knowledge))


def _first_page(
    car: Car, knowledge: Knowledge, journal: Journal, *, remarks: Sequence[str]
) -> Page:
    """Return the page that is shown while the car is made ready."""
    page = opening_page(car.title, journal.name, knowledge.safety_note)
    return (*page, *_remarks(remarks))


def _remarks(remarks: Sequence[str]) -> Page:
    """Return what the person should know before he begins."""
    return tuple(say("mind", remark, Tone.PROBLEM) for remark in remarks)


def _shown_first(
    page: Page, options: Options, opening: Opening, sheet: Sheet | None = None
) -> Sheet | None:
    """Show a page while the car is made ready; return the sheet of a screen.

    Parameters
    ----------
    sheet : Sheet or None
        The sheet that an earlier page is on; what of that did not fit is given up.
    """
    if options.is_json:
        return None
    with opening.put_aside():
        if not _is_on_screen(options):
            write_page(sys.stdout, page, _width(options))
            sys.stdout.flush()
            return None
        sheet = sheet or _sheet(options)
        sheet.show(page)
        return sheet


def _sheet(options: Options) -> Sheet:
    """Return what pages are shown on at a screen."""
    # Only a screen needs these, and they take a while to import.
    from rich.console import Console

    from diagnose.terminal.faces.sheet import Sheet
    from diagnose.terminal.pages.notebook import Notebook, ink_for

    # a width asked for holds; otherwise the screen may change while it is in use
    width = max(options.width, NARROWEST) if options.width else None
    console = Console(highlight=False, markup=False, emoji=False, width=width)
    return Sheet(Notebook(console, ink_for(sys.stdout.encoding)))


def _hold(
    casebook: Casebook,
    car: Car,
    options: Options,
    sheet: Sheet | None,
    *,
    resumed_at: str | None = None,
) -> None:
    """Hold the diagnosis with the face that suits the terminal and the options."""
    if options.is_json:
        from diagnose.terminal.faces.json_face import run_json

        run_json(casebook, car_title=car.title, source=sys.stdin, sink=sys.stdout)
        return
    from diagnose.terminal.dialogue.conversation import Conversation

    kept_where = ""
    if options.data_folder is not None:
        kept_where = f"--data-folder {shlex.quote(str(options.data_folder))}"
    conversation = Conversation(casebook, kept_where=kept_where, resumed_at=resumed_at)
    if sheet is None:
        run_lines(
            conversation, source=sys.stdin, sink=sys.stdout, width=_width(options)
        )
        return
    _hold_on_screen(conversation, casebook, sheet, options)


def _hold_on_screen(
    conversation: Conversation, casebook: Casebook, sheet: Sheet, options: Options
) -> None:
    """Hold the diagnosis with the notebook, and work on in the pauses."""
    from diagnose.terminal.faces.interactive import HISTORY_FILE, run_interactive
    from diagnose.terminal.faces.meanwhile import Meanwhile

    with Meanwhile(casebook.diagnosis.look_ahead) as meanwhile:
        run_interactive(
            conversation,
            sheet=sheet,
            vocabulary=casebook.diagnosis.vocabulary,
            history_path=options.folder / HISTORY_FILE,
            has_colour=sheet.notebook.has_colour,
            meanwhile=meanwhile,
        )


def _is_on_screen(options: Options) -> bool:
    """Return whether a person is at a screen, and not lines in a pipe."""
    if options.is_json or options.is_plain:
        return False
    is_terminal = sys.stdin.isatty() and sys.stdout.isatty()
    return is_terminal and os.environ.get("TERM", "") != "dumb"


def _width(options: Options) -> int:
    """Return the longest line of a page. [characters]."""
    width = options.width or shutil.get_terminal_size().columns
    return max(width, NARROWEST)
