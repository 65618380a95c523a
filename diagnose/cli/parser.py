"""The parser of the command line, with every command."""

from __future__ import annotations

import argparse

from diagnose import __version__
from diagnose.cli import cars, cases, designs, diagnoses, sheets, trials


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with every command, in the order of the help page."""
    parser = argparse.ArgumentParser(
        prog="diagnose",
        description="Find the fault in a circuit added to an older car, "
        "one reading at a time.",
        epilog="Read the cautions first; the manuals of the car and of its parts "
        "come before anything said here.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for add in (
        diagnoses.add_start,
        diagnoses.add_resume,
        cases.add_cases,
        cases.add_learn,
        designs.add_new,
        cars.add_check,
        cars.add_expand,
        cars.add_causes,
        designs.add_audit,
        designs.add_draw,
        sheets.add_expect,
        sheets.add_prestart,
        trials.add_replay,
        trials.add_record,
        trials.add_trial,
        cars.add_export,
        cars.add_schema,
    ):
        add(commands)
    return parser
