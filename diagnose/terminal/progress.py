"""How far a long computation is: one line on a terminal, gone when it is done."""

from __future__ import annotations

import time
from types import TracebackType
from typing import Self, TextIO

from diagnose.terminal.safe_text import clean, to_ascii

# A wait shorter than this needs no words. Own choice. [s]
QUIET_SECONDS = 0.5

# Room for the words on what is being done, on a line that is written over. Own choice:
# with what stands before them they fit into 80. [characters]
MOST_CHARACTERS = 40


class Progress:
    """One line that is written over.

    Parameters
    ----------
    sink : TextIO
        A terminal.
    about : str
        Stands before the share.
    """

    def __init__(self, sink: TextIO, about: str) -> None:
        self._sink = sink
        self._about = about
        self._began = time.monotonic()
        self._shown_length = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.clear()

    def clear(self) -> None:
        """Take the line away, for others to write in its place."""
        self._write("")
        self._sink.write("\r")
        self._sink.flush()

    def show(self, fraction: float, words: str) -> None:
        """Show how far it is.

        Parameters
        ----------
        fraction : float
            Done so far, 0 to 1.
        words : str
            What is being done.
        """
        if time.monotonic() - self._began > QUIET_SECONDS:
            doing = to_ascii(clean(words))[:MOST_CHARACTERS]
            self._write(f"{self._about}: {fraction:4.0%}  {doing}")

    def _write(self, text: str) -> None:
        self._sink.write("\r" + text.ljust(self._shown_length))
        self._sink.flush()
        self._shown_length = len(text)
