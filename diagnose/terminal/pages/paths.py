"""The path of a reading on a page: one part or point a line, the probes marked.

Leaves which way the path goes to `paperwork.drawing.path_rows`.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.paperwork.drawing.path_rows import PathRow
from diagnose.terminal.pages.page import Page, Pair, Paragraph, Tone


def path_page(rows: Sequence[PathRow]) -> Page:
    """Return the path of a reading, one part or point a line."""
    return (Paragraph(margin="path", lines=_path_lines(rows)),)


def path_beside(rows: Sequence[PathRow]) -> Paragraph:
    """Return the path of the reading on the page, for the room beside it."""
    return Paragraph(
        margin="path",
        lines=_path_lines(rows),
        brief=(),
        is_beside=True,
        is_only_beside=True,
    )


def _path_lines(rows: Sequence[PathRow]) -> tuple[Pair, ...]:
    return tuple(
        Pair(
            name=row.sign,
            text=row.text,
            tone=Tone.STRONG if row.is_probed else Tone.PLAIN,
        )
        for row in rows
    )
