"""A sheet as lines, circles and texts, in millimetres from its upper left corner.

Every text knows the box it takes, so that nothing has to be measured in a browser.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, field
from types import MappingProxyType

# Width of a sheet: ISO 216 A4, lying. [mm]
SHEET_WIDTH_MM = 297.0

# Height of a sheet: ISO 216 A4, lying. [mm]
SHEET_HEIGHT_MM = 210.0

# Widths of letters in heights of the font, of the usual sans serif fonts, rounded up.
# [1] From memory of their metrics; drawings hold each text to the width reckoned here.
_LETTER_WIDTHS = MappingProxyType(
    {
        **dict.fromkeys("ijl.,:;'|!", 0.28),
        **dict.fromkeys("frtI()[]/-\\ ", 0.34),
        **dict.fromkeys("mwMW%@", 0.89),
        **dict.fromkeys("ABCDEFGHKNOPQRSUVXYZ&+=<>", 0.72),
    }
)

# Width of any other letter. [1] From memory of the same fonts.
_USUAL_WIDTH = 0.57

# How far a line of text reaches above its base line, in heights of the font. [1] From
# memory of the same fonts.
ASCENT = 0.75

# How far it reaches below. [1] From memory of the same fonts.
DESCENT = 0.22


@dataclass(frozen=True, slots=True)
class Ink:
    """How a line is drawn: its colour, how wide [mm], and whether dashed."""

    colour: str = "black"
    width: float = 0.3
    is_dashed: bool = False


# The usual line.
USUAL_INK = Ink()


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line. [mm]."""

    x1: float
    y1: float
    x2: float
    y2: float
    ink: Ink = USUAL_INK


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle: filled with a colour, with white, or seen through (none). [mm]."""

    x: float
    y: float
    radius: float
    fill: str = "white"
    colour: str = "black"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with upright sides. [mm]."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Box, gap: float = 0.0) -> bool:
        """Return whether two boxes share some area, or come nearer than a gap."""
        return (
            self.left < other.right + gap
            and other.left < self.right + gap
            and self.top < other.bottom + gap
            and other.top < self.bottom + gap
        )


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text, its base line at `y`. [mm]."""

    x: float
    y: float
    text: str
    size: float = 2.1
    anchor: str = "start"  # or middle, end
    colour: str = "black"
    is_bold: bool = False

    @property
    def width(self) -> float:
        """How wide it is. [mm]."""
        return text_width(self.text, self.size, is_bold=self.is_bold)

    @property
    def box(self) -> Box:
        """The box it takes."""
        shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor]
        left = self.x - shift * self.width
        return Box(
            left,
            self.y - ASCENT * self.size,
            left + self.width,
            self.y + DESCENT * self.size,
        )


@dataclass(slots=True)
class Scene:
    """One sheet."""

    title: str
    lines: list[Line] = field(default_factory=list)
    circles: list[Circle] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)

    def line(self, *points: tuple[float, float], ink: Ink = USUAL_INK) -> None:
        """Add a line through points."""
        for (x1, y1), (x2, y2) in itertools.pairwise(points):
            self.lines.append(Line(x1, y1, x2, y2, ink))

    def rectangle(
        self, x: float, y: float, width: float, height: float, ink: Ink = USUAL_INK
    ) -> None:
        """Add a rectangle around its middle."""
        left, right = x - width / 2.0, x + width / 2.0
        top, bottom = y - height / 2.0, y + height / 2.0
        corners = ((left, top), (right, top), (right, bottom), (left, bottom))
        self.line(*corners, corners[0], ink=ink)


def text_width(text: str, size: float, *, is_bold: bool = False) -> float:
    """Return how wide a text is. [mm]."""
    total = sum(_LETTER_WIDTHS.get(letter, _USUAL_WIDTH) for letter in text)
    return total * size * (1.06 if is_bold else 1.0)


def wrapped(text: str, width: float, size: float) -> list[str]:
    """Return a text in lines no wider than a width, broken at hyphens and spaces."""
    lines = [""]
    for piece in re.findall(r"[^\s\-./]+[\-./]?|[\-./]|\s+", text):
        for part in _no_wider(piece, width, size):
            if text_width((lines[-1] + part).rstrip(), size) > width and lines[-1]:
                lines.append("")
            lines[-1] += part if lines[-1] else part.lstrip()
    return [line.rstrip() for line in lines if line.strip()]


def _no_wider(piece: str, width: float, size: float) -> list[str]:
    """Return a piece in parts, each no wider than a line."""
    parts = [""]
    for letter in piece:
        if text_width(parts[-1] + letter, size) > width and parts[-1]:
            parts.append("")
        parts[-1] += letter
    return parts
