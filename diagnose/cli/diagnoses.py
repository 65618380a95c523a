"""The commands that hold a diagnosis: begin one, go on with one."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from diagnose.cli.options import (
    add_car,
    add_command,
    add_data_folder,
    add_face,
    add_owner,
)
from diagnose.terminal.opening import opening

if TYPE_CHECKING:
    from diagnose.cli.options import Commands
    from diagnose.terminal.evening import Options

# What an owner may say once for all his cases; the command line says it for one.
OWNER_HELP = """
    What you lack, and what takes you longer than the program thinks, you can say once
    for all your cases, in owner.yaml in your config folder or in the file named by
    --owner. It holds two lines, either of which may be missing: "without: [clamp,
    helper]" (also: test-lamp, lift), and "takes: {tank: 15, cranking: 3}", the minutes
    for a place, an operating state or a cause.

    --without says it for one case. Either way it is kept with the case and holds when
    you resume it. Nothing is asked for that needs what you lack, or its extra minutes
    count; without a clamp, small amps with the key off can still be read in series.
"""

# How facts are kept, and how other programs take part.
KEEPING_HELP = """
    Every fact is on disk before its answer is shown, so you can walk away, lose power,
    or kill the program, and resume. On a screen the program answers at once and goes on
    working while you are at the car; the command next then shows what it found since.

    --plain writes text only, for screen readers and pipes. --json speaks JSON, one
    object a line in and one a line out; diagnose schema --lines describes them.
"""


def add_start(commands: Commands) -> None:
    """Add the command that begins a diagnosis."""
    parser = add_command(
        commands,
        "start",
        run=_start,
        says="begin a diagnosis on a car",
        about=OWNER_HELP
        + """
    --prestart, or prestart typed in a diagnosis, asks for the readings to take before
    the first start one by one, searches for the cause when one is outside its limits,
    and comes back to the list after the repair; diagnose prestart prints the list.
"""
        + KEEPING_HELP,
    )
    add_car(parser)
    parser.add_argument("--case", default="", metavar="NAME", help="name for the case")
    add_owner(parser)
    parser.add_argument(
        "--prestart",
        action="store_true",
        help="go through the readings before the first start",
    )
    add_face(parser)
    add_data_folder(parser)


def add_resume(commands: Commands) -> None:
    """Add the command that goes on with a diagnosis."""
    parser = add_command(
        commands,
        "resume",
        run=_resume,
        says="go on with a stored case",
        about=KEEPING_HELP,
    )
    parser.add_argument(
        "case", nargs="?", default="", metavar="CASE", help="default: the latest"
    )
    add_face(parser)
    add_data_folder(parser)


def _start(options: argparse.Namespace) -> None:
    with opening(is_plain=options.plain, is_json=options.json) as shown:
        from diagnose.terminal.evening import start

        start(options.car, options.case, _evening_options(options), shown)


def _resume(options: argparse.Namespace) -> None:
    with opening(is_plain=options.plain, is_json=options.json) as shown:
        from diagnose.terminal.evening import resume

        resume(options.case, _evening_options(options), shown)


def _evening_options(options: argparse.Namespace) -> Options:
    """Return how a diagnosis is shown and kept; some only a new case can be told."""
    from diagnose.terminal.evening import Options

    return Options(
        is_plain=options.plain,
        is_json=options.json,
        width=options.width,
        data_folder=options.data_folder,
        is_prestart=getattr(options, "prestart", False),
        without=tuple(getattr(options, "without", ())),
        owner_file=getattr(options, "owner", None),
    )
