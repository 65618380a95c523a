"""The commands on how a car is built: asked for, audited, and drawn."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.cli.options import add_car, add_command, add_width

if TYPE_CHECKING:
    from diagnose.cli.options import Commands

# Exit code of an audit that found more than advice; 1 and 2 are mistakes. Own choice.
EXIT_FOUND = 3

# How a car is asked for.
NEW_HELP = """
    Asks how a car is wired, in plain words, one page a question with a usual answer for
    each, and writes its file: ready to check, to draw, to audit and to diagnose. It
    begins with layouts that may be combined, such as an injection conversion with a
    fuse panel, and asks for every circuit on one page. A ? says that you don't know;
    the usual value then stands in the file, marked as assumed, and a wire is reckoned
    with a wider tolerance.

    Every answer is on disk at once, in FILE.answers beside the car file, so you can
    leave and go on by the same command. back asks the question before again, undo takes
    the latest answer back. Through a pipe it takes one answer a line.

    On a file that is there it asks what was added and puts that into the file's
    sections. Nothing else in the file is touched, comments and your own edits included;
    it can't change or take out what is there.

    --from reads a list of wires as CSV and asks what is at their ends. The first row
    names its columns, in any order: from, to, size, length, and if you like colour,
    fuse (at the wire's start), plug (the plugs on its way, rear-plug.4 with its pin),
    name and note. from and to are terminals such as battery.plus, fan-relay.87,
    fan.minus or body. Where something sits right on a terminal, its size is none: a
    relay on a panel, a load on the body, a stud on its metal, or a clamp, which is a
    name of its own, on a post. expand --format csv writes the wires of a car in the
    same form, and says what such a list leaves out.
"""

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

# How a diagram is read.
DRAW_HELP = """
    Draws the circuit as current paths side by side, the supply above and the grounds
    below, on sheets of A4. Each path has a number at its foot; where a point goes on
    elsewhere, the numbers of those paths stand beside it. A dashed line joins a relay's
    coil to its contacts. Contacts are drawn at rest, terminals have their numbers, and
    wires their size, length and colour.

    Several sheets of SVG or PNG become several numbered files, those of PDF one. PDF
    and PNG need the program installed with its extra (pip install ".[drawing]").

    --state writes volts against the battery's grounded post and amps; --fault sets what
    they are with that fault behind a slash, in red where the fault moves them.
"""


def add_new(commands: Commands) -> None:
    """Add the command `new`."""
    parser = add_command(
        commands,
        "new",
        run=_new,
        says="ask how a car is wired, and write its file",
        about=NEW_HELP,
    )
    parser.add_argument(
        "file",
        nargs="?",
        type=Path,
        default=Path("car.yaml"),
        metavar="FILE",
        help="the car file; default: car.yaml",
    )
    parser.add_argument(
        "--from",
        dest="wire_list",
        type=Path,
        metavar="CSV",
        help="a list of wires to begin with",
    )
    parser.add_argument(
        "--plain", action="store_true", help="text only: for screen readers and pipes"
    )
    add_width(parser)


def _new(options: argparse.Namespace) -> None:
    from diagnose.terminal.new_car.new_car import ask_for_car

    ask_for_car(
        options.file,
        wire_list=options.wire_list,
        is_plain=options.plain,
        width=options.width,
    )


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


def add_draw(commands: Commands) -> None:
    """Add the command `draw`."""
    parser = add_command(
        commands,
        "draw",
        run=_draw,
        says="draw the wiring diagram of a car",
        about=DRAW_HELP,
    )
    add_car(parser)
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="a file ending in .svg, .pdf or .png; default: the car's name with .svg",
    )
    parser.add_argument(
        "--state",
        default="",
        metavar="NAME",
        help="write the volts and amps of this operating state onto it",
    )
    parser.add_argument(
        "--fault",
        default="",
        metavar="CAUSE",
        help="set those with this fault beside them, and mark the part",
    )
    parser.add_argument(
        "--probe",
        nargs=2,
        default=[],
        metavar=("RED", "BLACK"),
        help="mark the points that the two leads are on",
    )


def _draw(options: argparse.Namespace) -> None:
    from diagnose.terminal.reports.diagram_files import write_diagram

    write_diagram(
        options.car,
        out=options.out,
        state=options.state,
        fault=options.fault,
        probes=options.probe,
        sink=sys.stdout,
    )
