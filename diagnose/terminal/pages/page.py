"""A page: what a face shows, before anyone decides how it looks.

A page is paragraphs with a word in the margin; a paragraph is lines of four kinds. A
paragraph says what may be left of it where the screen is small. `notebook` draws pages
for a screen, `plain` writes them for pipes and screen readers.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from typing import Protocol


class Tone(Enum):
    """How a line is meant; never told by colour alone."""

    PLAIN = "plain"
    STRONG = "strong"
    ASIDE = "aside"
    CAUTION = "caution"
    PROBLEM = "problem"
    GOOD = "good"
    RED = "red"
    BLACK = "black"


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Running text, or a caution."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A short name and what belongs to it."""

    name: str
    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A line of a job card: its name stands in the margin.

    Parameters
    ----------
    name, text : str
        What it is about, and what it says.
    tone : Tone
    spoken : str
        The name where it is read aloud; empty for the name itself.
    """

    name: str
    text: str
    tone: Tone = Tone.PLAIN
    spoken: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """One cause in the ranking: its number, its probability, its sentence."""

    number: int
    probability: float
    text: str


# One line of a page, before it is wrapped.
Line = Words | Pair | Chance | Field


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """Lines that belong together, under one word in the margin.

    Parameters
    ----------
    margin : str
        The word; empty when the paragraph goes on from the one above.
    lines : tuple[Line, ...]
        What it says, in order.
    is_close : bool
        No room is left between this paragraph and the one above.
    brief : tuple[Line, ...] or None
        What is left of it where the page does not fit the screen; None: all of it.
    is_beside : bool
        On a wide screen it stands beside the paragraphs after it.
    is_only_beside : bool
        It stands there or, where there is no room for it, nowhere.
    is_first : bool
        Where the page does not fit the screen, this one is read before the rest.
    """

    margin: str
    lines: tuple[Line, ...]
    is_close: bool = False
    brief: tuple[Line, ...] | None = None
    is_beside: bool = False
    is_only_beside: bool = False
    is_first: bool = False


# What a face shows at once.
Page = tuple[Paragraph, ...]


class Partner(Protocol):
    """Whoever takes lines and answers with pages, until it is over."""

    is_over: bool

    @property
    def prompt(self) -> str:
        """The word before the typed line."""

    @property
    def offer(self) -> str:
        """What came up while the page stood, for a line below it; else empty."""

    def open(self) -> Page:
        """Return the first page."""

    def hear(self, line: str) -> Page:
        """Take one line and return the page that answers it."""

    def interrupted(self) -> Page:
        """Return the page after Ctrl-C."""

    def farewell(self) -> Page:
        """Return the last page."""


def say(margin: str, text: str, tone: Tone = Tone.PLAIN) -> Paragraph:
    """Return a paragraph of one sentence."""
    return Paragraph(margin=margin, lines=(Words(text=text, tone=tone),))


def numbered(choices: Iterable[str]) -> tuple[Pair, ...]:
    """Return lines with their numbers from 1."""
    return tuple(
        Pair(name=f"{number}.", text=choice)
        for number, choice in enumerate(choices, start=1)
    )


def spoken(name: str) -> str:
    """Return a key as words.

    Examples
    --------
    >>> spoken("idle-loaded")
    'idle loaded'
    """
    return name.replace("_", " ").replace("-", " ")
