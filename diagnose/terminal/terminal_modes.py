"""The terminal's modes: keys that are not echoed, and keys that are forgotten.

Knows nothing but the terminal that standard input is; where it is none, and on systems
without such modes, nothing happens.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager

# Which of the terminal's fields has the modes of its input, and which the local ones,
# such as echo. POSIX.1-2017, termios.h.
INPUT_MODES, LOCAL_MODES = 0, 3


def echo_off() -> AbstractContextManager[None]:
    """Keep what is typed off the screen; it stays to be read."""
    return mode_off(LOCAL_MODES, "ECHO")


@contextlib.contextmanager
def mode_off(field: int, name: str) -> Iterator[None]:
    """Switch a mode of the terminal off, where there is one.

    Parameters
    ----------
    field : int
        Which of the terminal's fields has it: `INPUT_MODES` or `LOCAL_MODES`.
    name : str
        The mode.
    """
    try:
        import termios
    except ImportError:  # not a POSIX system
        yield
        return
    if not sys.stdin.isatty():
        yield
        return
    terminal = sys.stdin.fileno()
    before = termios.tcgetattr(terminal)
    changed = list(before)
    changed[field] &= ~getattr(termios, name)
    termios.tcsetattr(terminal, termios.TCSANOW, changed)
    try:
        yield
    finally:
        termios.tcsetattr(terminal, termios.TCSANOW, before)


def forget_typed_ahead() -> None:
    """Forget the keys that were typed and not read yet."""
    try:
        import termios
    except ImportError:  # not a POSIX system
        return
    if sys.stdin.isatty():
        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)
