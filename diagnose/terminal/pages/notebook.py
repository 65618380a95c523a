"""Pages on a screen: an auto electrician's job card, with a margin and a ruled line.

The margin says what a line is about, the ruled line holds the page together, and
strokes show how likely a cause is. Colour only repeats what the words say already: red
and black stand on tags like those of the leads. What does not fit a small screen is
drawn closer, then shortened where the page allows it, then left for the next screenful;
on a wide one the suspects stand beside the step.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from rich.console import Console, RenderableType
from rich.control import Control
from rich.segment import ControlType
from rich.style import Style
from rich.table import Table
from rich.text import Text

from diagnose.terminal.pages.page import (
    Chance,
    Field,
    Line,
    Page,
    Pair,
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

# From this width on the suspects stand beside the step, in a column of the second width
# with a gap of the third. Own choice: on 120 characters the step keeps what it has on
# 80.
BESIDE_FROM = 110
BESIDE_WIDTH = 38
BESIDE_GAP = 2

# Lines of a screen that a page leaves to the prompt and to what comes before it. Own
# choice. [lines]
KEPT_LINES = 1

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
    Tone.CAUTION: Style(bold=True),
    Tone.PROBLEM: Style(bold=True, color="red"),
    Tone.GOOD: Style(bold=True, color="green"),
    Tone.RED: Style(bold=True),
    Tone.BLACK: Style(bold=True),
}

# How the name of a line looks in the margin, where it is more than a name. Black is
# drawn on its own ground, so that it is seen on a dark screen too, and a caution is
# lettered like a warning label: yellow letters can't be read on a light screen. Colours
# of their own, for what a terminal's light theme calls white is often a grey.
_TAGS = {
    Tone.RED: Style(bold=True, color="#ffffff", bgcolor="#c00000"),
    Tone.BLACK: Style(bold=True, color="#ffffff", bgcolor="#000000"),
    Tone.CAUTION: Style(bold=True, color="#000000", bgcolor="#ffd700"),
    Tone.GOOD: Style(bold=True, color="green"),
}

# Said before a line whose tone must not be lost where there is no colour.
_SPOKEN = {Tone.CAUTION: "CAUTION:"}


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

    @property
    def has_colour(self) -> bool:
        """False when the person asked for none."""
        return not self._console.no_color

    def draw(self, page: Page) -> None:
        """Draw a page under what is on the screen already, however long it is."""
        for screenful in self.screenfuls(page):
            self.put(screenful)

    def put(self, lines: Sequence[Text]) -> None:
        """Draw lines of `screenfuls`."""
        for line in lines:
            self._print(line)

    def screenfuls(self, page: Page) -> list[list[Text]]:
        """Return the lines of a page, in pieces that each fit the screen.

        Where nobody reads a screen, the page is one piece.
        """
        full = list(self._lines(page))
        if not self._console.is_terminal:
            return [full]
        room = max(self._console.height - KEPT_LINES, NARROWEST_TEXT // 2)
        for closer in (page, *_closer(page)):
            lines = list(self._lines(closer))
            if len(lines) <= room:
                return [lines]
        first = max((n for n, one in enumerate(page, 1) if one.is_first), default=0)
        if 0 < first < len(page):
            return [*self.screenfuls(page[:first]), *self.screenfuls(page[first:])]
        lines = full if len(page) < 2 else lines
        return [lines[n : n + room] for n in range(0, len(lines), room)]

    @property
    def size(self) -> tuple[int, int]:
        """Columns and lines of the screen."""
        return self._console.width, self._console.height

    def clear(self) -> None:
        """Empty the screen, for a page to be drawn anew."""
        self._console.clear()

    def rule_off(self) -> None:
        """Leave room under the last page."""
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
        narrow = tuple(one for one in page if not one.is_only_beside)
        if self._console.width < BESIDE_FROM:
            yield from self._column(narrow, self._content_width)
            return
        beside = [n for n, one in enumerate(page) if one.is_beside]
        if not beside or beside[-1] == len(page) - 1:
            yield from self._column(narrow, self._content_width)
            return
        at = beside[0]
        yield from self._column(page[:at], self._content_width)
        width = min(self._console.width, WIDEST + BESIDE_WIDTH) - MARGIN_WIDTH - 3
        left = width - BESIDE_WIDTH - BESIDE_GAP
        rest = tuple(one for one in page[at:] if not one.is_beside)
        aside = tuple(one for one in page[at:] if one.is_beside)
        yield from self._side_by_side(
            list(self._column(rest, left)), list(self._block(aside)), left
        )

    def _column(self, page: Page, width: int) -> Iterator[Text]:
        """Lay out paragraphs one under the other."""
        for paragraph in page:
            if not paragraph.is_close:
                yield self._ruled("", Text())
            margin, style = paragraph.margin, _MARGIN
            for group in _groups(paragraph.lines):
                if isinstance(group[0], Field):
                    margin = self._safe(group[0].name)
                    style = _TAGS.get(group[0].tone, _MARGIN)
                for line in self._wrapped(self._table(group, width), width):
                    yield self._ruled(margin, line, style)
                    margin, style = "", _MARGIN

    def _block(self, page: Page) -> Iterator[Text]:
        """Lay out paragraphs that stand beside others, their margin word above them."""
        for paragraph in page:
            if not paragraph.lines:
                continue
            yield Text()
            yield Text(self._safe(paragraph.margin), style=_MARGIN)
            for group in _groups(paragraph.lines):
                yield from self._wrapped(self._table(group, BESIDE_WIDTH), BESIDE_WIDTH)

    def _side_by_side(
        self, left: list[Text], right: list[Text], width: int
    ) -> Iterator[Text]:
        column = MARGIN_WIDTH + 3 + width + BESIDE_GAP
        for number in range(max(len(left), len(right))):
            line = left[number] if number < len(left) else self._ruled("", Text())
            if number < len(right):
                line.append(" " * max(column - line.cell_len, 1))
                line.append_text(right[number])
                line.rstrip()
            yield line

    def _ruled(self, margin: str, content: Text, style: Style = _MARGIN) -> Text:
        """Return one screen line: margin word, rule, content."""
        line = Text(end="")
        word = self._safe(margin)
        if style is _MARGIN:
            line.append(f"{word:>{MARGIN_WIDTH}}", style=style)
        else:
            # a tag covers its word alone
            line.append(" " * (MARGIN_WIDTH - len(word)))
            line.append(word, style=style)
        line.append(f" {self._ink.rule} ", style=_RULE)
        line.append_text(content)
        line.rstrip()
        return line

    @property
    def _content_width(self) -> int:
        return max(min(self._console.width, WIDEST) - MARGIN_WIDTH - 3, NARROWEST_TEXT)

    def _wrapped(self, renderable: RenderableType, width: int) -> Iterator[Text]:
        options = self._console.options.update(width=width)
        for segments in self._console.render_lines(renderable, options, pad=False):
            line = Text(end="")
            for segment in segments:
                line.append(segment.text, style=segment.style)
            yield line

    def _table(self, group: tuple[Line, ...], width: int) -> RenderableType:
        """Return lines of one kind with their columns aligned."""
        table = Table.grid(padding=(0, 2, 0, 0))
        if isinstance(group[0], Words | Field):
            table.add_column()
        elif isinstance(group[0], Pair):
            table.add_column(max_width=width // 2)
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
                words = Text()
                if line.tone in _SPOKEN:
                    words.append(_SPOKEN[line.tone], style=_TAGS[line.tone])
                    words.append(" ")
                words.append(self._safe(line.text), style=_STYLES[line.tone])
                return (words,)
            case Field():
                return (self._text(line.text, _STYLES[line.tone]),)
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
        width = self._console.width
        length = 2 * STROKES if WIDE_FROM <= width < BESIDE_FROM else STROKES
        if width >= BESIDE_FROM:
            length = 0  # the column is too narrow for them
        drawn = round(probability * length)
        strokes = Text(self._ink.drawn * drawn, style=_STROKE)
        strokes.append(self._ink.faint * (length - drawn), style=_MARGIN)
        return strokes

    def _text(self, text: str, style: Style) -> Text:
        return Text(self._safe(text), style=style)

    def _safe(self, text: str) -> str:
        safe = clean(text)
        return to_ascii(safe) if self._ink.is_ascii else safe


def _closer(page: Page) -> Iterator[Page]:
    """Yield a page ever closer: without room between, then shortened from its end."""
    close = tuple(replace(one, is_close=True) for one in page)
    yield close
    # what is only there where there is room goes first
    # and what is left out as a whole where there is none goes last
    order = sorted(
        range(len(close)),
        key=lambda n: (not close[n].is_only_beside, close[n].brief == (), -n),
    )
    for number in order:
        brief = close[number].brief
        if brief is not None:
            short = replace(close[number], lines=brief)
            close = (*close[:number], short, *close[number + 1 :])
            yield close


def _groups(lines: tuple[Line, ...]) -> Iterator[tuple[Line, ...]]:
    """Give runs of lines of one kind, which share their columns.

    A line of a card stands by itself: its name is in the margin.
    """
    start = 0
    for end in range(1, len(lines) + 1):
        if (
            end == len(lines)
            or type(lines[end]) is not type(lines[start])
            or isinstance(lines[start], Field)
        ):
            yield lines[start:end]
            start = end
