"""The command line: options in, one command run, one exit code out.

0: done. 1: a mistake the user can mend, told in one message. 2: a wrong command line.
Each command stands with its options and its help in a module of its kind. Everything
heavy is imported by the command that needs it: `--help` loads none of it.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Sequence

from diagnose.cli.parser import build_parser
from diagnose.errors import DiagnoseError, InvalidFileError

# Exit code of a command that did what it was asked for.
EXIT_DONE = 0

# Exit code after a mistake that the user can mend.
EXIT_USER_MISTAKE = 1

# Exit code after Ctrl-C: 128 + SIGINT, as shells report a command stopped by it
# (POSIX.1-2017, Shell & Utilities, section 2.8.2).
EXIT_INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line.

    Parameters
    ----------
    arguments : Sequence[str] or None
        Words behind the program's name; None for those of the process.

    Returns
    -------
    int
        The exit code.
    """
    options = build_parser().parse_args(arguments)
    # Read when numpy is imported: for matrices of this size one thread is the quickest.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _carry_on_at_strange_letters()
    try:
        options.run(options)
        sys.stdout.flush()
    except InvalidFileError as error:
        # each line begins with its file and line, as editors expect
        sys.stderr.write(f"{_safe(str(error))}\n")
        return EXIT_USER_MISTAKE
    except DiagnoseError as error:
        for line in _safe(str(error)).splitlines():
            sys.stderr.write(f"diagnose: {line}\n")
        return EXIT_USER_MISTAKE
    except BrokenPipeError:
        # The reader had enough. Python flushes once more at exit: into nothing.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        sys.stderr.write("\nStopped; what was told is kept.\n")
        return EXIT_INTERRUPTED
    return EXIT_DONE


def _carry_on_at_strange_letters() -> None:
    """Make input and output go on at bytes or letters they can't represent."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            with contextlib.suppress(ValueError):
                reconfigure(errors="replace")


def _safe(message: str) -> str:
    """Return a message without control codes: a file may have put some in."""
    from diagnose.terminal.safe_text import clean_lines

    return "\n".join(clean_lines(message))
