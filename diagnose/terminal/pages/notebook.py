"""Pages on a screen: an auto electrician's notebook, with a margin and a ruled line.

The margin says what a paragraph is about, the ruled line holds the page together, and
strokes show how likely a cause is. Colour only repeats what the words say already.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from rich.console import Console, RenderableType
from rich.control import Control
from rich.segment import ControlType
from rich.style import Style
from rich.table import Table
from rich.text import Text

from diagnose.terminal.pages.page import (
    Chance,
    Line,
    Page,
    Pair,
    Paragraph,
    Tone,
    Words,
)
from diagnose.terminal.safe_text import clean, to_ascii
from diagnose.units import format_probability

# Room for the longest word in the margin. Own choice. [characters]
MARGIN_WIDTH = 9

# The widest page: longer lines are hard to follow across a bench. Own
# choice. [characters]
WIDEST = 104

# The narrowest text beside the margin, however narrow the screen. Own
# choice. [characters]
NARROWEST_TEXT = 20

# On a screen this wide the strokes of a chance are twice as long. Own
# choice. [characters]
WIDE_FROM = 100

# Strokes that stand for certainty, on a narrow screen. Own choice: one for each 10 %.
STROKES = 10

# The ruled line, red as in a school notebook.
_RULE = Style(color="red", dim=True)

# Words in the margin, and whatever else is not part of the text.
_MARGIN = Style(italic=True, dim=True)

# What is drawn of a chance.
_STROKE = Style(color="blue")

# How each tone looks. Colour only repeats what the words say.
_STYLES = {
    Tone.PLAIN: Style(),
    Tone.STRONG: Style(bold=True),
    Tone.ASIDE: Style(dim=True),
    Tone.CAUTION: Style(bold=True, color="yellow"),
    Tone.PROBLEM: Style(bold=True, color="red"),
    Tone.GOOD: Style(bold=True, color="green"),
}

# Said before a line whose tone must not be lost where there is no colour.
_SPOKEN = {Tone.CAUTION: "CAUTION: "}


@dataclass(frozen=True, slots=True, kw_only=True)
class Ink:
    """The signs a screen can show.

    Parameters
    ----------
    rule : str
        The ruled line beside the margin.
    drawn, faint : str
        A stroke of a chance, and one that is left over.
    is_ascii : bool
        Nothing but ASCII can be shown.
    """

    rule: str
    drawn: str
    faint: str
    is_ascii: bool


# For a screen that knows line-drawing characters.
UNICODE_INK = Ink(rule="│", drawn="━", faint="╌", is_ascii=False)

# For every other screen.
ASCII_INK = Ink(rule="|", drawn="=", faint=".", is_ascii=True)


def ink_for(encoding: str | None) -> Ink:
    """Return the signs for an output's encoding; ASCII for anything but UTF-8."""
    plain = (encoding or "").lower().replace("-", "").replace("_", "")
    return UNICODE_INK if plain == "utf8" else ASCII_INK


class Notebook:
    """Draws pages on a rich console.

    Parameters
    ----------
    console : Console
        Where to draw.
    ink : Ink
        The signs to draw with.
    """

    def __init__(self, console: Console, ink: Ink) -> None:
        self._console = console
        self._ink = ink

    def draw(self, page: Page) -> None:
        """Draw a page under what is on the screen already."""
        for line in self._lines(page):
            self._print(line)

    def rule_off(self) -> None:
        """Leave room under the last page for the typed line."""
        self._print(self._ruled("", Text()))

    @contextmanager
    def waiting(self, words: str) -> Iterator[None]:
        """Show a few words on the last line while something takes its time."""
        if not self._console.is_terminal:
            yield
            return
        self._console.print(self._ruled("", Text(words, style=_MARGIN)), end="")
        try:
            yield
        finally:
            self._console.control(
                Control(ControlType.CARRIAGE_RETURN, (ControlType.ERASE_IN_LINE, 2))
            )

    def margin(self, word: str) -> str:
        """Return the start of a line with a word in the margin, for a prompt."""
        return f"{self._safe(word):>{MARGIN_WIDTH}} {self._ink.rule} "

    def _print(self, line: Text) -> None:
        self._console.print(line, no_wrap=True, overflow="ignore", crop=False)

    def _lines(self, page: Page) -> Iterator[Text]:
        for paragraph in page:
            if not paragraph.is_close:
                yield self._ruled("", Text())
            margin = paragraph.margin
            for line in self._content(paragraph):
                yield self._ruled(margin, line)
                margin = ""

    def _ruled(self, margin: str, content: Text) -> Text:
        """Return one screen line: margin word, rule, content."""
        line = Text(end="")
        line.append(f"{self._safe(margin):>{MARGIN_WIDTH}}", style=_MARGIN)
        line.append(f" {self._ink.rule} ", style=_RULE)
        line.append_text(content)
        line.rstrip()
        return line

    @property
    def _content_width(self) -> int:
        return max(min(self._console.width, WIDEST) - MARGIN_WIDTH - 3, NARROWEST_TEXT)

    def _content(self, paragraph: Paragraph) -> Iterator[Text]:
        """Lay out the lines of a paragraph, wrapped, as screen lines."""
        for group in _groups(paragraph.lines):
            yield from self._wrapped(self._table(group))

    def _wrapped(self, renderable: RenderableType) -> Iterator[Text]:
        options = self._console.options.update(width=self._content_width)
        for segments in self._console.render_lines(renderable, options, pad=False):
            line = Text(end="")
            for segment in segments:
                line.append(segment.text, style=segment.style)
            yield line

    def _table(self, group: tuple[Line, ...]) -> RenderableType:
        """Return lines of one kind with their columns aligned."""
        table = Table.grid(padding=(0, 2, 0, 0))
        if isinstance(group[0], Words):
            table.add_column()
        elif isinstance(group[0], Pair):
            table.add_column(max_width=self._content_width // 2)
            table.add_column()
        else:
            for justify in ("right", "right", "left"):
                table.add_column(justify=justify, no_wrap=True)
            table.add_column()
        for line in group:
            table.add_row(*self._cells(line))
        return table

    def _cells(self, line: Line) -> tuple[Text, ...]:
        match line:
            case Words():
                text = _SPOKEN.get(line.tone, "") + line.text
                return (self._text(text, _STYLES[line.tone]),)
            case Pair():
                style = _STYLES[line.tone]
                return (self._text(line.name, style), self._text(line.text, style))
            case Chance():
                return (
                    self._text(f"{line.number}", _MARGIN),
                    self._text(format_probability(line.probability), Style()),
                    self._strokes(line.probability),
                    self._text(line.text, Style()),
                )

    def _strokes(self, probability: float) -> Text:
        """Return a probability as drawn strokes on a faint line."""
        length = 2 * STROKES if self._console.width >= WIDE_FROM else STROKES
        drawn = round(probability * length)
        strokes = Text(self._ink.drawn * drawn, style=_STROKE)
        strokes.append(self._ink.faint * (length - drawn), style=_MARGIN)
        return strokes

    def _text(self, text: str, style: Style) -> Text:
        return Text(self._safe(text), style=style)

    def _safe(self, text: str) -> str:
        safe = clean(text)
        return to_ascii(safe) if self._ink.is_ascii else safe


def _groups(lines: tuple[Line, ...]) -> Iterator[tuple[Line, ...]]:
    """Give runs of lines of one kind, which share their columns."""
    start = 0
    for end in range(1, len(lines) + 1):
        if end == len(lines) or type(lines[end]) is not type(lines[start]):
            yield lines[start:end]
            start = end
