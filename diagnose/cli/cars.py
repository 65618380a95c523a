"""The commands on one car: check its file, and print what follows from it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
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

# What the check of a car file finds.
CHECK_HELP = """
    Tells every mistake with its line and column, and warns of what is doubtful, such as
    a fuse that is too big for its wire. The program looks at the whole network: a
    ground strap that the file forgets is a ground strap missing from the car.
"""

# What an expansion is for.
EXPAND_HELP = """
    Lists every part that the file stands for, its terminals and its values, each with
    where it comes from: the car file, or a default that you can overrule when you know
    better.
"""

# How a sheet of expected readings is read.
EXPECT_HELP = """
    Prints the band that each test point reads on a sound car, one column for each
    operating state. --state, --part and --place narrow it, --drops adds the voltage
    along wires, contacts and loads, --lamp what a test lamp shows. --fault sets one
    fault beside it: the rows it changes, or with --all every row. The formats csv, json
    and markdown are for a spreadsheet, a program or a page.

    Below the table stands what the alternator gives and could give in each state with a
    running engine, what the loads take, and where the battery has to help: which loads
    are too many, and how long it lasts. The last line says how many values behind it
    are the program's usual ones; diagnose expand lists them.
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

# What an exported network holds.
EXPORT_HELP = """
    Writes the Bayesian network that a diagnosis starts from, in one of two open formats
    that most programs for such networks read. It has a node for each question of the
    history and one for each part, and what was learned is in it.

    --symptoms writes one node for the cause and one for every symptom instead: one
    fault at a time, and tolerances averaged for each symptom by itself, so it is an
    approximation of what the diagnosis does. --history makes an answer certain.

    --case writes one diagnosis as it stood before the first repair: a node for the
    fault sets looked at, and one for each fact told. With every fact set to as_told,
    the fault sets have the probabilities that the program shows.
"""

# What the schemas are for.
SCHEMA_HELP = """
    An editor that knows JSON Schema then completes a car file as you type it and marks
    what is wrong. --lines and --closed-cases describe what start --json speaks and what
    cases --export writes, for programs of your own.
"""


def add_check(commands: Commands) -> None:
    """Add the command `check`."""
    parser = add_command(
        commands,
        "check",
        run=_check,
        says="say what is wrong with a car file",
        about=CHECK_HELP,
    )
    add_car(parser)


def add_expand(commands: Commands) -> None:
    """Add the command `expand`."""
    parser = add_command(
        commands,
        "expand",
        run=_expand,
        says="show every part and value, and where each value comes from",
        about=EXPAND_HELP,
    )
    add_car(parser)


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


def add_export(commands: Commands) -> None:
    """Add the command `export`."""
    parser = add_command(
        commands,
        "export",
        run=_export,
        says="write the network of a car or of a case for other programs",
        about=EXPORT_HELP,
    )
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument(
        "car",
        nargs="?",
        metavar="CAR",
        help="a car file, or the name of a car that comes with it",
    )
    what.add_argument(
        "--case", default="", metavar="CASE", help="a stored case and its facts instead"
    )
    parser.add_argument(
        "--format", choices=("bif", "xmlbif"), default="bif", help="default: bif"
    )
    parser.add_argument(
        "--symptoms",
        action="store_true",
        help="one fault at a time, with every symptom",
    )
    add_history(parser)
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="default: standard output"
    )
    add_data_folder(parser)


def add_schema(commands: Commands) -> None:
    """Add the command `schema`."""
    parser = add_command(
        commands,
        "schema",
        run=_schema,
        says="print the JSON Schema of a car file",
        about=SCHEMA_HELP,
    )
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--lines", action="store_true", help="that of the JSON lines instead"
    )
    which.add_argument(
        "--closed-cases",
        action="store_true",
        help="that of a line of closed cases instead",
    )


def _check(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.listings import check_car_file

    check_car_file(options.car, sys.stdout)


def _expand(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.listings import list_expansion

    list_expansion(options.car, sys.stdout)


def _expect(options: argparse.Namespace) -> None:
    from diagnose.session.sheets.expected_readings import Choice
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
    from diagnose.terminal.history import history_of
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


def _export(options: argparse.Namespace) -> None:
    from diagnose.terminal.car_files import open_car, published_knowledge
    from diagnose.terminal.history import history_of
    from diagnose.terminal.learned_shares import knowledge_in_use
    from diagnose.terminal.prepared_car import prepared_model
    from diagnose.terminal.reports import network_listing
    from diagnose.terminal.safe_text import clean

    folder = data_folder(options)
    knowledge, remarks = knowledge_in_use(folder, published_knowledge())
    sys.stderr.writelines(f"diagnose: {clean(remark)}\n" for remark in remarks)
    facts = None
    if options.case:
        car, facts = network_listing.stored_facts(options.case, folder, knowledge)
    else:
        car = open_car(options.car, knowledge)
    wanted = network_listing.NetworkOptions(
        form=options.format,
        has_symptoms=options.symptoms,
        history=history_of(options.history),
        facts=facts,
        out=options.out,
    )
    network_listing.write_network(
        car,
        knowledge,
        wanted,
        open_model=lambda: prepared_model(car, knowledge, folder),
        sink=sys.stdout,
    )


def _schema(options: argparse.Namespace) -> None:
    if options.lines:
        from diagnose.terminal.faces.json_face import lines_schema

        sys.stdout.write(lines_schema())
        return
    import json

    from diagnose.files.car.car_file import car_json_schema
    from diagnose.files.cases.case_lines import line_json_schema

    schema = line_json_schema() if options.closed_cases else car_json_schema()
    sys.stdout.write(json.dumps(schema, indent=2) + "\n")
