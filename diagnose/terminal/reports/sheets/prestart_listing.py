"""Writes the readings to take before the first start in the form asked for."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from diagnose.faults.history import check_history
from diagnose.session.sheets.first_start import known_history, prestart
from diagnose.session.steps.prices import Prices
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.preparation.learned_shares import knowledge_in_use
from diagnose.terminal.preparation.owner import told_of_owner
from diagnose.terminal.preparation.prepared_car import prepared_model
from diagnose.terminal.reports.sheets.prestart_data import prestart_json
from diagnose.terminal.reports.sheets.prestart_pages import (
    SHOWN_UNSHOWN,
    prestart_markdown,
    prestart_text,
)

# The narrowest list: a reading and its limits on two lines each. Own
# choice. [characters]
NARROWEST = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class PrestartOptions:
    """What the command line asked for.

    Parameters
    ----------
    car : str
        A path or a shipped car's name.
    form : str
        ``table``, ``markdown`` or ``json``.
    width : int
        Longest line of the table; 0 for the terminal's own. [characters]
    history : Mapping[str, str]
        Context to its answer.
    has_all : bool
        List every cause that no reading shows.
    data_folder : Path
        Where what was learned and compiled cars are kept.
    without : tuple[str, ...]
        What the owner lacks.
    owner_file : Path or None
        Where he says so; None for the one in his config folder.
    """

    car: str
    form: str
    width: int
    history: Mapping[str, str]
    has_all: bool
    data_folder: Path
    without: tuple[str, ...] = ()
    owner_file: Path | None = None


def list_prestart(options: PrestartOptions, sink: TextIO) -> None:
    """Write the readings to take before the first start of a car.

    Raises
    ------
    DiagnoseError
        If the file is wrong, or the history is none that is asked for.
    """
    knowledge, _ = knowledge_in_use(options.data_folder, published_knowledge())
    car = open_car(options.car, knowledge)
    check_history(options.history, knowledge.contexts)
    history = {**known_history(knowledge), **options.history}
    facts, _ = told_of_owner(
        car, knowledge, without=options.without, path=options.owner_file
    )
    model = prepared_model(car, knowledge)
    listed = prestart(model, history=history, prices=Prices(model, facts))
    most = len(listed.unshown) if options.has_all else SHOWN_UNSHOWN
    if options.form == "json":
        sink.write(prestart_json(listed, car_name=options.car))
    elif options.form == "markdown":
        sink.write(prestart_markdown(listed, car_name=options.car, most_unshown=most))
    else:
        columns = options.width or shutil.get_terminal_size().columns
        width = max(columns, NARROWEST)
        text = prestart_text(
            listed, car_name=options.car, width=width, most_unshown=most
        )
        sink.write(text)
