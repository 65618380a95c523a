"""What several commands share: options of the same name, and help in paragraphs."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    Commands = argparse._SubParsersAction[argparse.ArgumentParser]

# Longest line of a help text. Own choice: as argparse has it on a screen of 80
# columns. [characters]
HELP_WIDTH = 78


def add_command(
    commands: Commands,
    name: str,
    *,
    run: Callable[[argparse.Namespace], int | None],
    says: str,
    about: str = "",
) -> argparse.ArgumentParser:
    """Return the parser of a new command.

    Parameters
    ----------
    commands : Commands
        Where it is added.
    name : str
        As it is typed.
    run : Callable
        Called with its options; returns the exit code where that is not 0.
    says : str
        What it does, in one line of the list of commands.
    about : str
        What there is to know, below its options; blank lines part its paragraphs.
    """
    parser = commands.add_parser(
        name,
        help=says,
        description=f"{says[0].upper()}{says[1:]}.",
        epilog=_paragraphs(about),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    return parser


def _paragraphs(text: str) -> str:
    """Return a text with its paragraphs wrapped."""
    paragraphs = textwrap.dedent(text).strip().split("\n\n")
    return "\n\n".join(
        textwrap.fill(" ".join(words.split()), HELP_WIDTH, break_on_hyphens=False)
        for words in paragraphs
    )


def add_car(parser: argparse.ArgumentParser) -> None:
    """Add the option for the car that a command is about."""
    parser.add_argument(
        "car", metavar="CAR", help="a car file, or the name of a car that comes with it"
    )


def add_owner(parser: argparse.ArgumentParser) -> None:
    """Add the option for what the owner lacks."""
    parser.add_argument(
        "--without",
        action="append",
        default=[],
        metavar="LIMIT",
        help="what you lack: clamp, test-lamp, helper, lift",
    )
    parser.add_argument(
        "--owner",
        type=Path,
        metavar="FILE",
        help="where you say so once for all; default: owner.yaml in your config folder",
    )


def add_history(parser: argparse.ArgumentParser) -> None:
    """Add the option for answers about the car's history."""
    parser.add_argument(
        "--history",
        action="append",
        default=[],
        metavar="CONTEXT=ANSWER",
        help="for instance wiring=fresh",
    )


def add_face(parser: argparse.ArgumentParser) -> None:
    """Add the option for how a diagnosis is shown."""
    face = parser.add_mutually_exclusive_group()
    face.add_argument(
        "--plain", action="store_true", help="text only: for screen readers and pipes"
    )
    face.add_argument(
        "--json", action="store_true", help="JSON lines: for other programs"
    )
    add_width(parser)


def add_width(parser: argparse.ArgumentParser) -> None:
    """Add the option for the longest line."""
    parser.add_argument(
        "--width", type=int, default=0, metavar="N", help="longest line, in characters"
    )


def add_data_folder(parser: argparse.ArgumentParser) -> None:
    """Add the option for where cases are kept."""
    parser.add_argument(
        "--data-folder",
        type=Path,
        metavar="FOLDER",
        help="where cases are kept; default: your data folder",
    )


def add_cluster(parser: argparse.ArgumentParser) -> None:
    """Add the option for where else to work."""
    parser.add_argument(
        "--cluster",
        default="",
        metavar="ADDRESS",
        help="work on a Dask cluster, for instance tcp://host:8786",
    )


def data_folder(options: argparse.Namespace) -> Path:
    """Return where cases are kept: the folder given, or the user's own."""
    from diagnose.terminal.preparation.kept_cases import data_folder_of

    return data_folder_of(options.data_folder)
