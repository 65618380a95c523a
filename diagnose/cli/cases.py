"""The commands on many cases: list them, pool them with others', learn from them."""

from __future__ import annotations

import argparse
import contextlib
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.cli.options import add_cluster, add_command, add_data_folder, data_folder

if TYPE_CHECKING:
    from diagnose.cli.options import Commands

# What a closed case is, and what an exported file holds.
CASES_HELP = """
    A case is closed once its complaint was tested after a repair and is gone; the last
    repair before that test is taken for the one that cured it.

    --export writes the closed cases for a club or a shop to pool, one line of JSON
    each, and --import takes such a file in. Files are joined by putting one behind the
    other, and no case counts twice. A line holds how many parts of each kind the car
    has, the complaint, the answers about its history, and what was mended: no names, no
    dates, no readings, no car file.
"""

# How far closed cases move what the program starts from.
LEARN_HELP = """
    Counts the closed cases by kind of part and fault, beside how many the published
    rates would have given on the same cars, and moves the rates accordingly. The
    published shares count as 200 cases, so ten cases move at most a twentieth of the
    probability, and a rare fault is never made or unmade by one. The next start uses
    what was learned.

    Learning takes your word for what cured the car, one fault a case; a fault that
    owners rarely notice makes fewer cases than it is common.

    --cluster has the cases counted on a Dask cluster, with the same figures. It needs
    this program installed with its extra (pip install ".[cluster]"), in the same
    version on every worker.
"""


def add_cases(commands: Commands) -> None:
    """Add the command `cases`."""
    parser = add_command(
        commands,
        "cases",
        run=_cases,
        says="list the stored cases, or pool the closed ones as files",
        about=CASES_HELP,
    )
    pooling = parser.add_mutually_exclusive_group()
    pooling.add_argument(
        "--export",
        type=Path,
        metavar="FILE",
        dest="export_to",
        help="write the closed cases to a file: no names, dates or readings",
    )
    pooling.add_argument(
        "--import",
        type=Path,
        metavar="FILE",
        dest="import_from",
        help="take in the closed cases of such a file",
    )
    pooling.add_argument(
        "--drop-import",
        action="store_true",
        help="take the latest imported file out again",
    )
    add_data_folder(parser)


def add_learn(commands: Commands) -> None:
    """Add the command `learn`."""
    parser = add_command(
        commands,
        "learn",
        run=_learn,
        says="learn from the closed cases which faults are common",
        about=LEARN_HELP,
    )
    way = parser.add_mutually_exclusive_group()
    way.add_argument(
        "--show", action="store_true", help="show what is learned; learn nothing"
    )
    way.add_argument("--undo", action="store_true", help="go back to what held before")
    add_cluster(parser)
    parser.add_argument("--json", action="store_true", help="as one JSON object")
    add_data_folder(parser)


def _cases(options: argparse.Namespace) -> None:
    folder = data_folder(options)
    if not (options.export_to or options.import_from or options.drop_import):
        from diagnose.terminal.reports.case_listing import list_cases

        list_cases(folder, sys.stdout)
        return
    from diagnose.terminal.preparation.car_files import published_knowledge
    from diagnose.terminal.reports import closed_cases

    if options.export_to:
        closed_cases.export_cases(
            folder, published_knowledge(), out=options.export_to, sink=sys.stdout
        )
    elif options.import_from:
        closed_cases.import_cases(
            folder, published_knowledge(), source=options.import_from, sink=sys.stdout
        )
    else:
        closed_cases.drop_import(folder, sys.stdout)


def _learn(options: argparse.Namespace) -> None:
    from diagnose.terminal.preparation.car_files import published_knowledge
    from diagnose.terminal.reports import learn_listing

    folder = data_folder(options)
    if options.undo:
        learn_listing.undo(folder, sys.stdout)
        return
    if options.show:
        learn_listing.show_learned(
            folder, published_knowledge(), is_json=options.json, sink=sys.stdout
        )
        return
    from diagnose.terminal.progress import Progress

    act = learn_listing.learn
    if options.cluster:
        act = partial(learn_listing.learn_there, address=options.cluster)
    with contextlib.ExitStack() as stack:
        progress = None
        if sys.stderr.isatty():
            progress = stack.enter_context(Progress(sys.stderr, about="learning"))
        act(
            folder,
            published_knowledge(),
            is_json=options.json,
            sink=sys.stdout,
            progress=progress,
        )
