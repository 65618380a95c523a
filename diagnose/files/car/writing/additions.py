"""Lines added to a car file, with every other byte of it left as it was.

Entries are put behind the last one of their section, where the nodes of the file stand.
A section that is missing is put at the end of the file.
"""

from __future__ import annotations

import pathlib
from collections.abc import Sequence

from diagnose.errors import DiagnoseError
from diagnose.files.car.writing.entry_text import (
    FileEntry,
    entry_lines,
    flow,
    scalar_key,
)
from diagnose.files.yaml_nodes import Node, compose


def with_entries(path: pathlib.Path, text: str, entries: Sequence[FileEntry]) -> str:
    """Return a car file's text with entries added.

    Parameters
    ----------
    path : pathlib.Path
        The file, for messages.
    text : str
        What stands in it.
    entries : Sequence[FileEntry]
        What is added, each in a section; none may be there already.

    Returns
    -------
    str
        The text with them.

    Raises
    ------
    DiagnoseError
        If an entry is there already.
    """
    for entry in entries:
        text = _with_entry(path, text, entry)
    return text


def _with_entry(path: pathlib.Path, text: str, entry: FileEntry) -> str:
    """Return the text with one entry added."""
    node = compose(path, text, wanted="car file")
    found, depth = node, 0
    while depth < len(entry.path):
        inner = _child(found, entry.path[depth])
        if inner is None:
            break
        found, depth = inner, depth + 1
    if depth == len(entry.path) and _child(found, entry.name) is not None:
        where = " ".join((*entry.path, entry.name))
        raise DiagnoseError(f"{path}: {where} is there already; nothing was changed")
    missing = entry.path[depth:]
    for name in reversed(missing):
        entry = FileEntry(
            path=entry.path[:-1],
            name=name,
            value={entry.name: entry.value},
            comment=entry.comment,
        )
    if found.id != "mapping":
        where = " ".join(entry.path) or "the file"
        raise DiagnoseError(f"{path}: {where} holds no keys; nothing was changed")
    if found.flow_style:
        return _in_braces(text, found, entry)
    return _below(text, found, entry)


def _child(node: Node, name: str) -> Node | None:
    """Return what stands behind a key of a mapping."""
    if node.id != "mapping":
        return None
    named = (value for key, value in node.value if key.value == name)
    return next(named, None)


def _in_braces(text: str, node: Node, entry: FileEntry) -> str:
    """Return the text with an entry before the brace that closes a mapping."""
    end = node.end_mark.index - 1
    before = text[:end].rstrip()
    comma = "" if before.endswith(("{", ",")) else ","
    added = f"{comma} {scalar_key(entry.name)}: {flow(entry.value)}"
    # behind a comment the entry needs a line of its own
    last = text[:end].rsplit("\n", 1)[-1]
    gap = text[len(before) : end]
    if "\n" in gap or "#" in last:
        return f"{text[:end]}{added.lstrip()}{text[end:]}"
    opened = added if comma else added.lstrip()
    return f"{before}{opened}{text[end:]}"


def _below(text: str, node: Node, entry: FileEntry) -> str:
    """Return the text with an entry behind the last one of a block of keys."""
    indent = node.start_mark.column
    last = _last_line(node)
    lines = text.split("\n")
    newline = "\r" if lines[0].endswith("\r") else ""
    added = [f"{line}{newline}" for line in entry_lines(entry, indent)]
    if last + 1 >= len(lines):  # the file ends without a line feed
        return "\n".join([*lines, *added, ""])
    return "\n".join([*lines[: last + 1], *added, *lines[last + 1 :]])


def _last_line(node: Node) -> int:
    """Return the line that the last thing of a block stands on, counted from 0."""
    if node.id == "scalar" or node.flow_style or not node.value:
        is_folded = node.id == "scalar" and node.style in {"|", ">"}
        end = int(node.end_mark.line)
        return end - 1 if is_folded and node.end_mark.column == 0 else end
    last = node.value[-1]
    return _last_line(last[1] if isinstance(last, tuple) else last)
