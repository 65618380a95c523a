"""What moves on the screen while a diagnosis opens: from the first moment on.

Begun before anything heavy is imported, so it knows nothing but the screen. On a
terminal one line is written over, with a needle that swings and what is being worked
out; for a screen reader a line is written when that changes, and none is written over.
What is typed meanwhile does not mix into that line.
"""

from __future__ import annotations

import contextlib
import gc
import sys
import threading
import time
from collections.abc import Callable, Iterator
from types import TracebackType
from typing import Self, TextIO

from diagnose.terminal.safe_text import clean, to_ascii
from diagnose.terminal.terminal_modes import echo_off

# Between one move of the needle and the next. Own choice: half of what feels still. [s]
TICK_SECONDS = 0.25

# The needle of a meter, left to right.
_NEEDLE = ("\\", "|", "/", "|")

# Room for the line, which is written over. Own choice. [characters]
MOST_CHARACTERS = 78

# What a screen reader is told of a share: quarters are enough. Own choice. [1]
TOLD_SHARE = 0.25


class Opening:
    """Says that the program is at work, until it is cleared.

    Parameters
    ----------
    sink : TextIO or None
        A terminal; None for nothing to be shown.
    is_plain : bool
        Nothing is written over.
    """

    def __init__(self, sink: TextIO | None, *, is_plain: bool = False) -> None:
        self._sink = sink
        self._is_plain = is_plain
        self._words = "opening the car"
        self._told = ""
        self._began = time.monotonic()
        self._length = 0
        self._is_over = False
        self._count = 0
        self._needle: _Needle | None = None
        self._modes = contextlib.ExitStack()

    def __enter__(self) -> Self:
        self._modes.enter_context(_garbage_left())
        if self._sink is None:
            return self
        self._tell(0)
        if not self._is_plain:
            self._modes.enter_context(echo_off())
            self._begin_to_swing()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.clear()
        gc.unfreeze()

    def show(self, fraction: float, words: str) -> None:
        """Show how far it is, where the car is worked out for the first time.

        Parameters
        ----------
        fraction : float
            Done so far, 0 to 1.
        words : str
            What is being done.
        """
        if fraction >= 1.0:
            return
        share = TOLD_SHARE * (fraction // TOLD_SHARE) if self._is_plain else fraction
        doing = to_ascii(clean(words))
        self._words = f"first time with this car: {share:4.0%}  {doing}"
        if self._sink is not None and self._is_plain:
            self._tell(0)

    @contextlib.contextmanager
    def put_aside(self) -> Iterator[None]:
        """Have the line away while a page is shown; it goes on below that."""
        if self._needle is None or self._is_over:
            yield
            return
        with self._needle.at_rest():
            self._wipe()
            yield

    def clear(self) -> None:
        """Take the line away; nothing more is shown."""
        if self._is_over:
            return
        self._is_over = True
        if self._needle is not None:
            self._needle.stop()
            self._wipe()
        self._modes.close()

    def _wipe(self) -> None:
        """Write over the line, so that nothing of it is left."""
        assert self._sink is not None
        self._sink.write("\r" + " " * self._length + "\r")
        self._sink.flush()
        self._length = 0

    def _begin_to_swing(self) -> None:
        self._needle = _Needle(self._swing, again=self._begin_to_swing)
        self._needle.start()

    def _swing(self) -> None:
        self._count += 1
        self._tell(self._count)

    def _tell(self, count: int) -> None:
        """Write the line, over the one before or below it."""
        assert self._sink is not None
        if self._is_plain:
            if self._words != self._told:
                self._sink.write(f"{self._words[0].upper()}{self._words[1:]}.\n")
                self._told = self._words
        else:
            seconds = int(time.monotonic() - self._began)
            since = f"  {seconds} s" if seconds else ""
            line = f"{_NEEDLE[count % len(_NEEDLE)]} {self._words}{since}"
            line = line[:MOST_CHARACTERS]
            self._sink.write("\r" + line.ljust(self._length))
            self._length = len(line)
        self._sink.flush()


@contextlib.contextmanager
def _garbage_left() -> Iterator[None]:
    """Look for no garbage meanwhile, and later not among what is there by then.

    Nearly all that is made while a car opens stays; to look through it over and over
    takes a fifth of the time up to the first page (measured).
    """
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if was_enabled:
            gc.enable()


class _Needle(threading.Thread):
    """Does something every moment until it is stopped, and can rest meanwhile.

    `again` begins another, for a thread can't be started twice.
    """

    def __init__(self, swing: Callable[[], None], *, again: Callable[[], None]) -> None:
        super().__init__(daemon=True)
        self._swing, self._again = swing, again
        self._has_to_stop = threading.Event()

    def run(self) -> None:
        """Go on until it has to stop."""
        while not self._has_to_stop.wait(TICK_SECONDS):
            self._swing()

    def stop(self) -> None:
        """End it, and wait until it has ended."""
        self._has_to_stop.set()
        self.join()

    @contextlib.contextmanager
    def at_rest(self) -> Iterator[None]:
        """Have no such thread while a second process begins."""
        self.stop()
        try:
            yield
        finally:
            self._again()


def opening(*, is_plain: bool, is_json: bool) -> Opening:
    """Return what is shown while a diagnosis opens on this terminal.

    Parameters
    ----------
    is_plain, is_json : bool
        The face asked for; other programs get none of it.
    """
    is_shown = not is_json and sys.stderr.isatty()
    return Opening(sys.stderr if is_shown else None, is_plain=is_plain)
