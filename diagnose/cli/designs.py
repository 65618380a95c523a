"""The commands on how a car is built: audited, and drawn."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from diagnose.cli.options import add_car, add_command, add_width

if TYPE_CHECKING:
    from diagnose.cli.options import Commands

# Exit code of an audit that found more than advice; 1 and 2 are mistakes. Own choice.
EXIT_FOUND = 3

# What an audit looks at.
AUDIT_HELP = """
    Says what is wrong with a car by design, before anything is broken: wires against
    their fuses and currents, the drop of each run, fuses against the sum behind them,
    relays and outputs against their ratings, the alternator against the loads, feeds
    that die while cranking, wires without a fuse, grounds that a controller shares, a
    resistor left in a feed, coils that kick back into an output, and a pump that
    nothing stops in a crash. Each finding has its figure, its limit, who says so, and
    what to change.

    The exit code is 0 when nothing or only advice was found, and 3 otherwise; 1 and 2
    stay mistakes in the file and on the command line. The limits stand in
    knowledge/design-limits.yaml. They follow rules for boats and the practice of the
    trade, as nothing is published for cars of this kind; the law where you live comes
    first.
"""


def add_audit(commands: Commands) -> None:
    """Add the command `audit`."""
    parser = add_command(
        commands,
        "audit",
        run=_audit,
        says="say what is wrong with a car by design, before any fault",
        about=AUDIT_HELP,
    )
    add_car(parser)
    parser.add_argument(
        "--rule",
        default="",
        metavar="NAME",
        help="rule for wires and fuses: open-air, engine-space or fuse-below-wire; "
        "default: the car file's `wire-rule`",
    )
    parser.add_argument(
        "--format",
        choices=("table", "markdown", "json"),
        default="table",
        help="default: table",
    )
    add_width(parser)


def _audit(options: argparse.Namespace) -> int:
    from diagnose.terminal.reports.audit_listing import list_audit

    is_wrong = list_audit(
        options.car,
        rule=options.rule,
        form=options.format,
        width=options.width,
        sink=sys.stdout,
    )
    return EXIT_FOUND if is_wrong else 0
