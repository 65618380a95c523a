"""Which texts of a scene overlap each other, a line or a circle: plain geometry."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from diagnose.paperwork.drawing.scene import (
    SHEET_HEIGHT_MM,
    SHEET_WIDTH_MM,
    Box,
    Circle,
    Line,
    Scene,
    Text,
)

# What the right edge of a drawing keeps free, where its frame ends. [mm]
FRAME_MM = 8.0


def meets(line: Line, box: Box) -> bool:
    """Return whether a straight line enters a box.

    The part of the line inside the box is what is left between the crossings of its
    four sides (Liang and Barsky, ACM Transactions on Graphics 3, 1984).
    """
    dx, dy = line.x2 - line.x1, line.y2 - line.y1
    first, last = 0.0, 1.0
    for step, room in (
        (-dx, line.x1 - box.left),
        (dx, box.right - line.x1),
        (-dy, line.y1 - box.top),
        (dy, box.bottom - line.y1),
    ):
        if step == 0.0:
            if room < 0.0:
                return False
            continue
        share = room / step
        if step < 0.0:
            first = max(first, share)
        else:
            last = min(last, share)
    return first < last


def touches(circle: Circle, box: Box) -> bool:
    """Return whether the ring or disc of a circle shares area with a box."""
    dx = max(box.left - circle.x, 0.0, circle.x - box.right)
    dy = max(box.top - circle.y, 0.0, circle.y - box.bottom)
    if dx * dx + dy * dy >= circle.radius**2:
        return False
    corners = itertools.product((box.left, box.right), (box.top, box.bottom))
    # a letter inside a ring is meant to stand there
    return circle.fill != "none" or any(
        (x - circle.x) ** 2 + (y - circle.y) ** 2 > circle.radius**2 for x, y in corners
    )


def overlaps(scene: Scene) -> Iterator[str]:
    """Yield each overlap of a text, and each text that leaves the sheet."""
    boxes: list[tuple[Text, Box]] = [(text, text.box) for text in scene.texts]
    for (one, box), (two, other) in itertools.combinations(boxes, 2):
        if box.overlaps(other):
            yield f"{one.text!r} on {two.text!r} at {one.x:.0f}, {one.y:.0f}"
    for text, box in boxes:
        for line in scene.lines:
            if meets(line, box):
                yield f"{text.text!r} on a line at {text.x:.0f}, {text.y:.0f}"
        for circle in scene.circles:
            if touches(circle, box):
                yield f"{text.text!r} on a circle at {text.x:.0f}, {text.y:.0f}"
        if box.left < 3.0 or box.right > SHEET_WIDTH_MM - FRAME_MM:
            yield f"{text.text!r} leaves the sheet at {text.x:.0f}"
        if box.top < 3.0 or box.bottom > SHEET_HEIGHT_MM - 3.0:
            yield f"{text.text!r} leaves the sheet at {text.y:.0f}"
