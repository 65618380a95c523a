"""Pages as plain text: append-only, no colour, no boxes; for pipes and screen readers.

Everything is told in words and in order, so nothing is lost when read aloud.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from diagnose.terminal.pages.page import (
    Chance,
    Field,
    Line,
    Page,
    Pair,
    Paragraph,
    Tone,
)
from diagnose.terminal.safe_text import clean
from diagnose.units import format_probability

# Said before a line whose tone must not be lost where nothing is coloured.
_SPOKEN = {Tone.CAUTION: "Caution: "}


def plain_text(page: Page, *, width: int) -> str:
    """Return a page as text that ends with a line feed.

    Parameters
    ----------
    page : Page
        What to show.
    width : int
        Longest line. [characters]
    """
    lines: list[str] = []
    for paragraph in page:
        if paragraph.is_only_beside:
            continue
        if lines and not paragraph.is_close:
            lines.append("")
        lines.extend(_paragraph(paragraph, width))
    return "\n".join(lines) + "\n" if lines else ""


def _paragraph(paragraph: Paragraph, width: int) -> Iterator[str]:
    """Give the margin word as a heading, then the lines set in by two."""
    margin = clean(paragraph.margin)
    if margin:
        yield f"{margin[0].upper()}{margin[1:]}:"
    for line in paragraph.lines:
        yield from textwrap.wrap(
            clean(_sentence(line)),
            width=width,
            initial_indent="  ",
            subsequent_indent="    ",
            break_on_hyphens=False,
        ) or [""]


def _sentence(line: Line) -> str:
    """Return a line of a page as it would be read aloud."""
    match line:
        case Chance():
            chance = format_probability(line.probability)
            return f"{line.number}. {chance}: {line.text}"
        case Pair():
            separator = " " if line.name.endswith((".", ")")) else ": "
            return f"{line.name}{separator}{line.text}"
        case Field():
            name = line.spoken or line.name
            return f"{name[:1].upper()}{name[1:]}: {line.text}"
        case _:
            return _SPOKEN.get(line.tone, "") + line.text
