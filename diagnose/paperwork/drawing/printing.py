"""Scenes as PDF and PNG, by ReportLab and Pillow, which are installed with an extra.

Both are plain wheels on every system; a converter of SVG would need libraries of the
system. A scene is lines, circles and texts, so each takes a dozen lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.errors import DiagnoseError
from diagnose.paperwork.drawing.scene import (
    SHEET_HEIGHT_MM,
    SHEET_WIDTH_MM,
    Scene,
    Text,
)
from diagnose.paperwork.drawing.svg import DASH_MM

if TYPE_CHECKING:
    from PIL import ImageDraw

# Points of a printer for each millimetre: 1/72 in (PostScript), 25.4 mm an inch.
POINTS_PER_MM = 72.0 / 25.4

# Dots for each millimetre of a picture: 200 dots an inch, as letters of 2 mm need. Own
# choice.
DOTS_PER_MM = 200.0 / 25.4

# What a text has in place of a letter that a printer's own fonts lack.
_LACKING = "?"


def write_pdf(scenes: Sequence[Scene], path: Path) -> None:
    """Write sheets as the pages of one PDF file.

    Raises
    ------
    DiagnoseError
        If ReportLab is not installed.
    """
    try:
        from reportlab.pdfgen.canvas import Canvas
    except ImportError:
        raise _missing("PDF") from None
    size = (SHEET_WIDTH_MM * POINTS_PER_MM, SHEET_HEIGHT_MM * POINTS_PER_MM)
    canvas = Canvas(str(path), pagesize=size)
    canvas.setTitle(scenes[0].title.rpartition(",")[0])
    for scene in scenes:
        # millimetres from the upper left corner, as scenes have them
        canvas.translate(0.0, size[1])
        canvas.scale(POINTS_PER_MM, -POINTS_PER_MM)
        _draw_page(canvas, scene)
        canvas.showPage()
    canvas.save()


def _draw_page(canvas: Any, scene: Scene) -> None:
    canvas.setLineCap(1)
    for line in scene.lines:
        canvas.setStrokeColor(line.ink.colour)
        canvas.setLineWidth(line.ink.width)
        canvas.setDash(*(DASH_MM if line.ink.is_dashed else ()))
        canvas.line(line.x1, line.y1, line.x2, line.y2)
    canvas.setDash()
    canvas.setLineWidth(0.3)
    for circle in scene.circles:
        is_filled = circle.fill != "none"
        canvas.setStrokeColor(circle.colour)
        if is_filled:
            canvas.setFillColor(circle.fill)
        canvas.circle(circle.x, circle.y, circle.radius, stroke=1, fill=int(is_filled))
    for text in scene.texts:
        _draw_text(canvas, text)


def _draw_text(canvas: Any, text: Text) -> None:
    words = text.text.encode("cp1252", "replace").decode("cp1252")
    font = "Helvetica-Bold" if text.is_bold else "Helvetica"
    wide = canvas.stringWidth(words, font, text.size)
    canvas.saveState()
    canvas.setFillColor(text.colour)
    canvas.translate(text.box.left, text.y)
    # no wider than the box reckoned for it, and not upside down
    canvas.scale(text.width / wide if wide else 1.0, -1.0)
    canvas.setFont(font, text.size)
    canvas.drawString(0.0, 0.0, words)
    canvas.restoreState()


def write_png(scene: Scene, path: Path) -> None:
    """Write one sheet as a PNG picture.

    Raises
    ------
    DiagnoseError
        If Pillow is not installed.
    """
    try:
        from PIL import Image, ImageDraw
    except ImportError:
        raise _missing("PNG") from None
    size = (round(SHEET_WIDTH_MM * DOTS_PER_MM), round(SHEET_HEIGHT_MM * DOTS_PER_MM))
    image = Image.new("RGB", size, "white")
    draw = ImageDraw.Draw(image)
    for line in scene.lines:
        width = max(1, round(line.ink.width * DOTS_PER_MM))
        ends = (line.x1, line.y1, line.x2, line.y2)
        for piece in _dashes(ends) if line.ink.is_dashed else [ends]:
            draw.line([one * DOTS_PER_MM for one in piece], line.ink.colour, width)
    for circle in scene.circles:
        x, y, r = (one * DOTS_PER_MM for one in (circle.x, circle.y, circle.radius))
        fill = None if circle.fill == "none" else circle.fill
        draw.ellipse((x - r, y - r, x + r, y + r), fill, circle.colour, 2)
    for text in scene.texts:
        _put_text(draw, text)
    image.save(path)


def _dashes(
    ends: tuple[float, float, float, float],
) -> list[tuple[float, float, float, float]]:
    """Return the dashes of a line."""
    x1, y1, x2, y2 = ends
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    step = sum(DASH_MM)
    found = []
    for number in range(int(length / step) + 1):
        start = number * step / length if length else 0.0
        end = min(start + (DASH_MM[0] / length if length else 0.0), 1.0)
        found.append(
            (
                x1 + start * (x2 - x1),
                y1 + start * (y2 - y1),
                x1 + end * (x2 - x1),
                y1 + end * (y2 - y1),
            )
        )
    return found


def _put_text(draw: ImageDraw.ImageDraw, text: Text) -> None:
    from PIL import ImageFont

    size = text.size * DOTS_PER_MM
    font = ImageFont.load_default(size)
    wide = draw.textlength(text.text, font)
    room = text.width * DOTS_PER_MM
    if wide > room:  # no wider than the box reckoned for it
        font = ImageFont.load_default(size * room / wide)
    place = (text.box.left * DOTS_PER_MM, text.y * DOTS_PER_MM)
    draw.text(place, text.text, text.colour, font, anchor="ls")


def _missing(form: str) -> DiagnoseError:
    return DiagnoseError(
        f"{form} needs this program installed with its extra: pip install "
        '".[drawing]"; SVG needs nothing more'
    )
