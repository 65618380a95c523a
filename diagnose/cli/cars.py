"""The commands on one car: its file checked and laid open, its network, the schemas."""

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
    data_folder,
)

if TYPE_CHECKING:
    from diagnose.cli.options import Commands

# What the check of a car file finds.
CHECK_HELP = """
    Tells every mistake with its line and column, and warns of what is doubtful, such as
    a fuse that is too big for its wire. The program looks at the whole network: a
    ground strap that the file forgets is a ground strap missing from the car.

    Complaints go by what a part is for, its role. The check says which names were
    taken for a role, and which complaints can't be diagnosed as nothing has theirs;
    write `role: fuel-pump` in a part's entry to say it.
"""

# What an expansion is for.
EXPAND_HELP = """
    Lists every part that the file stands for, its terminals and its values, each with
    where it comes from: the car file, or a default that you can overrule when you know
    better.

    As CSV it lists the wires alone, for a spreadsheet and for new --from, and says
    beside the list what that leaves out.
"""


# What the list of causes is for.
CAUSES_HELP = """
    Lists every way in which this car can fail that the program knows, one a line: the
    name that expect --fault, draw --fault, record --fault and, in a diagnosis, why,
    done and takes want, and what it is in words.
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
    parser.add_argument(
        "--format", choices=("table", "csv"), default="table", help="default: table"
    )


def add_causes(commands: Commands) -> None:
    """Add the command `causes`."""
    parser = add_command(
        commands,
        "causes",
        run=_causes,
        says="list every cause by the name that other commands take",
        about=CAUSES_HELP,
    )
    add_car(parser)


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
    from diagnose.terminal.reports.listings import list_expansion, list_wires

    if options.format == "csv":
        list_wires(options.car, sys.stdout, sys.stderr)
    else:
        list_expansion(options.car, sys.stdout)


def _causes(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.listings import list_causes

    list_causes(options.car, sys.stdout)


def _export(options: argparse.Namespace) -> None:
    from diagnose.terminal.preparation.car_files import open_car, published_knowledge
    from diagnose.terminal.preparation.history import history_of
    from diagnose.terminal.preparation.learned_shares import knowledge_in_use
    from diagnose.terminal.preparation.prepared_car import prepared_model
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
        open_model=lambda: prepared_model(car, knowledge),
        sink=sys.stdout,
    )


def _schema(options: argparse.Namespace) -> None:
    if options.lines:
        from diagnose.terminal.faces.json_face import lines_schema

        sys.stdout.write(lines_schema())
        return
    import json

    from diagnose.files.car.grammar.entries import car_json_schema
    from diagnose.files.cases.case_lines import line_json_schema

    schema = line_json_schema() if options.closed_cases else car_json_schema()
    sys.stdout.write(json.dumps(schema, indent=2) + "\n")
