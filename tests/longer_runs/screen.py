"""A diagnosis in a pseudo-terminal of its own, for runs that are longer than tests."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CAR = ROOT / "tests" / "cars" / "hill-climber.yaml"

# A screen wide enough that no value is cut in two by the end of a line.
ROWS, COLUMNS = 50, 200

# What a terminal is told and does not show: colours, places of the cursor, titles.
_CONTROL = re.compile(rb"\x1b\[[0-9;?]*[ -/]*[@-~]|\x1b\][^\x07]*\x07|\x1b[@-Z\\-_]")

# The question of a program where the cursor is, and an answer to it.
_WHERE_IS_THE_CURSOR = b"\x1b[6n"
_THE_CURSOR_IS = b"\x1b[1;1R"


class Screen:
    """One process of the program with a terminal, as a person would have started it.

    Parameters
    ----------
    arguments : str
        Words behind the program's name.
    folder : Path
        Holds the data, the cache and the settings of all processes of a run.
    """

    def __init__(self, *arguments: str, folder: Path) -> None:
        self.shown = b""
        self.process, self.master = pty.fork()
        if self.process == 0:
            self._become(arguments, folder)
        size = struct.pack("HHHH", ROWS, COLUMNS, 0, 0)
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, size)
        self.exit_status: int | None = None

    @staticmethod
    def _become(arguments: tuple[str, ...], folder: Path) -> None:
        """Turn the child into the program."""
        os.chdir(ROOT)
        surroundings = os.environ | {
            "TERM": "xterm-256color",
            "XDG_CACHE_HOME": str(folder / "cache"),
            "XDG_DATA_HOME": str(folder / "data"),
            "XDG_CONFIG_HOME": str(folder / "config"),
            "OPENBLAS_NUM_THREADS": "1",
        }
        words = [sys.executable, "-m", "diagnose", *arguments]
        os.execve(words[0], words, surroundings)

    def type(self, keys: bytes) -> None:
        """Press keys; nothing happens once the program has ended."""
        sent = 0
        while sent < len(keys):
            self.read(0.0)
            if self.has_ended():
                return
            try:
                sent += os.write(self.master, keys[sent : sent + 256])
            except OSError:
                return

    def read(self, seconds: float) -> bool:
        """Take in what is shown within some seconds, at most until the first of it.

        Returns
        -------
        bool
            Whether anything was shown.
        """
        ready, _, _ = select.select([self.master], [], [], seconds)
        if not ready:
            return False
        try:
            found = os.read(self.master, 1 << 16)
        except OSError:  # the other end is closed
            return False
        self.shown += found
        if _WHERE_IS_THE_CURSOR in found:
            os.write(self.master, _THE_CURSOR_IS)
        return bool(found)

    def text(self) -> str:
        """Return what was shown, without what only the terminal sees."""
        return _CONTROL.sub(b"", self.shown).decode(errors="replace")

    def wait_for(self, words: str, seconds: float, *, since: int = 0) -> bool:
        """Return whether some words are shown in time.

        Parameters
        ----------
        words : str
            What is waited for.
        seconds : float
            The longest wait.
        since : int
            How many bytes shown before are left out.
        """
        until = time.monotonic() + seconds
        while True:
            text = _CONTROL.sub(b"", self.shown[since:]).decode(errors="replace")
            if words in text:
                return True
            if time.monotonic() > until or self.has_ended():
                return False
            self.read(0.05)

    def has_ended(self) -> bool:
        """Return whether the program has ended, its last words taken in."""
        if self.exit_status is None:
            done, status = os.waitpid(self.process, os.WNOHANG)
            if done:
                while self.read(0.0):
                    pass
                self.exit_status = os.waitstatus_to_exitcode(status)
        return self.exit_status is not None

    def kill(self) -> None:
        """End the program as a flat battery would."""
        if not self.has_ended():
            os.kill(self.process, signal.SIGKILL)
            _, status = os.waitpid(self.process, 0)
            while self.read(0.0):
                pass
            self.exit_status = os.waitstatus_to_exitcode(status)

    def close(self) -> None:
        """Kill what still runs and give the terminal back."""
        self.kill()
        os.close(self.master)
