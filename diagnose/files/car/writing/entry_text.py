"""Entries of a car file as YAML text, with their comments."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Union

# What stands behind a key: text, keys with values, or a list.
Written = Union[str, int, "Mapping[str, Written]", "Sequence[Written]"]

# Text that YAML reads as itself without quotes, inside braces too.
_PLAIN = re.compile(r"[A-Za-z0-9/+.][\w./+°%'() -]*")

# Text that is plain and yet no text in YAML 1.2.
_TYPED = re.compile(
    r"(?:true|false|null|~|[-+]?(?:\.\d+|\d+(?:\.\d*)?)(?:e[-+]?\d+)?)", re.IGNORECASE
)

# The longest line of an entry; a longer one is written key by key. [characters] Own
# choice.
LONGEST_LINE = 110


@dataclass(frozen=True, slots=True, kw_only=True)
class FileEntry:
    """One entry of a car file.

    Parameters
    ----------
    path : tuple[str, ...]
        The section it is in, and whatever else it is inside of; empty at the top.
    name : str
        Its key.
    value : Written
        What stands behind the key.
    comment : str
        Behind it, on its line.
    heading : str
        Above it, where the entry before has another one.
    """

    path: tuple[str, ...]
    name: str
    value: Written
    comment: str = ""
    heading: str = ""


def flow(value: Written) -> str:
    """Return a value on one line.

    Examples
    --------
    >>> flow({"from": "battery.plus via 8 AWG 1 ft", "on-in": ["idle", "key-on"]})
    '{from: battery.plus via 8 AWG 1 ft, on-in: [idle, key-on]}'
    """
    if isinstance(value, str | int):
        return scalar(value)
    if isinstance(value, Mapping):
        inside = (f"{scalar_key(key)}: {flow(one)}" for key, one in value.items())
        return f"{{{', '.join(inside)}}}"
    return f"[{', '.join(flow(one) for one in value)}]"


def scalar(value: str | int) -> str:
    """Return text as YAML reads it back as that text."""
    if isinstance(value, int):
        return str(value)
    text = value.strip()
    is_plain = _PLAIN.fullmatch(text) and not _TYPED.fullmatch(text)
    return text if is_plain else json.dumps(text, ensure_ascii=False)


def scalar_key(key: str) -> str:
    """Return a key; terminal numbers such as 30 need no quotes."""
    return key if re.fullmatch(r"[\w.-]+", key) else json.dumps(key, ensure_ascii=False)


def entry_lines(entry: FileEntry, indent: int) -> list[str]:
    """Return the lines of an entry, without its heading.

    Parameters
    ----------
    entry : FileEntry
        The entry.
    indent : int
        Spaces before its key.
    """
    before = " " * indent
    key = scalar_key(entry.name)
    comment = f"  # {one_line(entry.comment)}" if entry.comment else ""
    line = f"{before}{key}: {flow(entry.value)}"
    is_short = len(line) <= LONGEST_LINE or not isinstance(entry.value, Mapping)
    if is_short or not entry.value:
        return [f"{line}{comment}"]
    assert isinstance(entry.value, Mapping)
    inside = [
        row
        for name, value in entry.value.items()
        for row in entry_lines(FileEntry(path=(), name=name, value=value), indent + 2)
    ]
    return [f"{before}{key}:{comment}", *inside]


def one_line(text: str) -> str:
    """Return text without line feeds, as a comment can hold it."""
    return " ".join(text.split())
