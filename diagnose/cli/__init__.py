"""The command line: options in, one command run, one exit code out.

0: done. 1: a mistake the user can mend, told in one message. 2: a wrong command line.
3: done, and an audit found something.
Each command stands with its options and its help in a module of its kind. Everything
heavy is imported by the command that needs it: `--help` loads none of it.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterable, Sequence

from diagnose.cli.parser import build_parser
from diagnose.errors import DiagnoseError, InvalidFileError, shortened

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
    _open_what_is_closed()
    options = build_parser().parse_args(arguments)
    # Read when numpy is imported: for matrices of this size one thread is the quickest.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _carry_on_at_strange_letters()
    code = EXIT_DONE
    try:
        code = options.run(options) or EXIT_DONE
        sys.stdout.flush()
    except InvalidFileError as error:
        # each line begins with its file and line, as editors expect
        return _told(error.lines, before="")
    except DiagnoseError as error:
        return _told(error.lines)
    except BrokenPipeError:
        _write_no_more()  # the reader had enough
    except OSError as error:
        # a disk that is full, a folder that may not be read: never a slip of ours
        _write_no_more()
        where = f"{error.filename}: " if error.filename else ""
        return _told((f"{where}{error.strerror or error}",))
    except KeyboardInterrupt:
        sys.stderr.write("\nStopped; what was told is kept.\n")
        return EXIT_INTERRUPTED
    return code


def _told(lines: Iterable[str], *, before: str = "diagnose: ") -> int:
    """Tell of a mistake, each line on one line whatever stands in it."""
    from diagnose.terminal.safe_text import clean

    with contextlib.suppress(OSError):
        sys.stderr.writelines(f"{before}{shortened(clean(line))}\n" for line in lines)
        sys.stderr.flush()
    return EXIT_USER_MISTAKE


def _write_no_more() -> None:
    """Send what is still to be written into nothing: Python flushes at exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _open_what_is_closed() -> None:
    """Give the streams that a shell closed (``>&-``) a place to go."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            # open until the process ends
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: PTH123, SIM115


def _carry_on_at_strange_letters() -> None:
    """Make input and output go on at bytes or letters they can't represent."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            with contextlib.suppress(ValueError):
                reconfigure(errors="replace")
