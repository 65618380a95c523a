"""The commands that print readings of one car: what to expect, what to read first."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from diagnose.cli.options import (
    add_car,
    add_command,
    add_data_folder,
    add_history,
    add_owner,
    add_width,
    data_folder,
)

if TYPE_CHECKING:
    from diagnose.cli.options import Commands

# How a sheet of expected readings is read.
EXPECT_HELP = """
    Prints the band that each test point reads on a sound car, one column for each
    operating state. --state, --part and --place narrow it, --drops adds the voltage
    along wires, contacts and loads, --lamp what a test lamp shows. --fault sets one
    fault beside it: the rows it changes, or with --all every row. The formats csv, json
    and markdown are for a spreadsheet, a program or a page.

    Below the table stands what the alternator gives and could give in each state with a
    running engine, what the loads take, and where the battery has to help: which loads
    are too many, and how long it lasts. Then come the milliamps of each branch with the
    key off, and the millivolts along each fuse. The last line says how many values
    behind it are the program's usual ones; diagnose expand lists them.
"""

# How a list of readings before the first start is read.
PRESTART_HELP = """
    Prints a list of readings, from the battery still disconnected to cranking, with the
    limits that a sound car keeps to, the cautions before the readings they belong to,
    and the minutes. Together they show at least 99 % of the faults, each counted by how
    likely it is, that any reading before the engine runs can show; the end of the list
    names what none of them shows. A reading shows a fault when the meter would then
    stand outside the limits 95 times in 100, the meter's error and the tolerances of
    the parts included.

    The list takes the car as freshly wired; --history says otherwise, and --without
    leaves out what you can't take. diagnose start CAR --prestart asks for the same
    readings one by one.
"""


def add_expect(commands: Commands) -> None:
    """Add the command `expect`."""
    parser = add_command(
        commands,
        "expect",
        run=_expect,
        says="show what every test point should read, sound or with a fault",
        about=EXPECT_HELP,
    )
    add_car(parser)
    for name, about in (
        ("state", "only in this operating state"),
        ("part", "only at the terminals of this part"),
        ("place", "only at this place"),
    ):
        parser.add_argument(
            f"--{name}", action="append", default=[], metavar="NAME", help=about
        )
    parser.add_argument(
        "--fault", default="", metavar="CAUSE", help="set this fault beside it"
    )
    parser.add_argument(
        "--all",
        action="store_true",
        help="with --fault: also the readings that the fault does not change",
    )
    parser.add_argument(
        "--drops", action="store_true", help="also along wires, contacts and loads"
    )
    parser.add_argument(
        "--lamp", action="store_true", help="also what a test lamp shows, engine off"
    )
    parser.add_argument(
        "--format",
        choices=("table", "csv", "json", "markdown"),
        default="table",
        help="default: table",
    )
    add_width(parser)


def add_prestart(commands: Commands) -> None:
    """Add the command `prestart`."""
    parser = add_command(
        commands,
        "prestart",
        run=_prestart,
        says="list the readings to take before the first start",
        about=PRESTART_HELP,
    )
    add_car(parser)
    add_history(parser)
    add_owner(parser)
    parser.add_argument(
        "--all", action="store_true", help="name every cause that no reading shows"
    )
    parser.add_argument(
        "--format",
        choices=("table", "markdown", "json"),
        default="table",
        help="default: table",
    )
    add_width(parser)
    add_data_folder(parser)


def _expect(options: argparse.Namespace) -> None:
    from diagnose.session.sheets.sheet import Choice
    from diagnose.terminal.reports.sheets.sheet_listing import list_expected

    choice = Choice(
        states=tuple(options.state),
        parts=tuple(options.part),
        places=tuple(options.place),
        fault=options.fault,
        has_drops=options.drops,
        has_lamp=options.lamp,
    )
    list_expected(
        options.car,
        choice,
        form=options.format,
        width=options.width,
        sink=sys.stdout,
        has_all_rows=options.all,
    )


def _prestart(options: argparse.Namespace) -> None:
    from diagnose.terminal.preparation.history import history_of
    from diagnose.terminal.reports.sheets.prestart_listing import (
        PrestartOptions,
        list_prestart,
    )

    wanted = PrestartOptions(
        car=options.car,
        form=options.format,
        width=options.width,
        history=history_of(options.history),
        has_all=options.all,
        data_folder=data_folder(options),
        without=tuple(options.without),
        owner_file=options.owner,
    )
    list_prestart(wanted, sys.stdout)
