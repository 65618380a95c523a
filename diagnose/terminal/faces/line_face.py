"""The plain face: lines in, append-only text out; for pipes and screen readers.

No carriage returns, no boxes, no colour; ends well at the end of its input. On a
terminal Ctrl-C clears the line, or stops what is being computed; a pipe it ends.
"""

from __future__ import annotations

from typing import TextIO

from diagnose.terminal.pages.page import Page, Partner
from diagnose.terminal.pages.plain import plain_text
from diagnose.terminal.safe_text import clean


def run_lines(
    conversation: Partner,
    *,
    source: TextIO,
    sink: TextIO,
    width: int,
) -> None:
    """Hold a conversation line by line until leave or the end of input.

    What comes first, such as a safety note, was written before.

    Parameters
    ----------
    conversation : Conversation
        New, or going on.
    source, sink : TextIO
        Where lines come from and text goes to. When `source` is no terminal each
        line is written back, so that the output reads as a record of the evening.
    width : int
        Longest line. [characters]
    """
    write_page(sink, conversation.open(), width)
    is_echoing = not source.isatty()
    while not conversation.is_over:
        try:
            if not is_echoing:
                sink.write(f"{conversation.prompt}? ")
            sink.flush()
            line = source.readline()
            if not line:
                break
            if is_echoing:
                sink.write(f"> {clean(line)}\n\n")
            write_page(sink, conversation.hear(line), width)
        except KeyboardInterrupt:
            if is_echoing:
                raise
            sink.write("\n")
            write_page(sink, conversation.interrupted(), width)
    write_page(sink, conversation.farewell(), width)
    sink.flush()


def write_page(sink: TextIO, page: Page, width: int) -> None:
    """Write a page as text, if there is anything on it.

    Parameters
    ----------
    sink : TextIO
        Where it goes to.
    page : Page
        Any page.
    width : int
        Longest line. [characters]
    """
    text = plain_text(page, width=width)
    if text:
        sink.write(text + "\n")
