"""Leaves out what nothing hangs on: a switch, a panel or a joint that only has a feed.

A car file refuses a wire with a free end, and a person who answers what his car has may
name nothing that uses it. What was left out is said beside the title.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from diagnose.files.car.writing.entry_text import FileEntry, Written

# Sections whose entries only pass current on.
_HUBS = ("switches", "panels", "splices")

# The metal that only a car with a frame has.
_FRAME = "frame"


def without_idle(entries: Sequence[FileEntry]) -> list[FileEntry]:
    """Return entries without those that only feed what nothing hangs on.

    Parameters
    ----------
    entries : Sequence[FileEntry]
        A whole car's, places and grounds left out.
    """
    kept = list(entries)
    left_out: list[str] = []
    while (idle := next(_idle(kept), "")) != "":
        kept = list(_without(kept, idle))
        left_out.append(idle)
    if not left_out:
        return kept
    comment = f"left out, as nothing hangs on it: {', '.join(left_out)}"
    return [
        replace(entry, comment=comment) if entry.name == "title" else entry
        for entry in kept
    ]


def _idle(entries: Sequence[FileEntry]) -> Iterator[str]:
    """Yield hubs, and buses of panels, that have a feed and nothing more."""
    for terminal in _terminals(entries):
        users = [entry for entry in entries if _mentions(entry, terminal)]
        feeds = [entry for entry in users if _leads_to(entry, terminal)]
        if len(users) == len(feeds) and len(feeds) < _LEAST_FEEDS:
            yield terminal


# Two feeds of one point join two others, so it is of use. [1]
_LEAST_FEEDS = 2


def _terminals(entries: Sequence[FileEntry]) -> Iterator[str]:
    """Yield what a hub is named with at the ends of wires."""
    for entry in entries:
        if entry.name == "metal" and isinstance(entry.value, Mapping):
            yield from (_FRAME,) if _FRAME in entry.value else ()
        if entry.path[:1] not in {(section,) for section in _HUBS}:
            continue
        if entry.path == ("panels",) and isinstance(entry.value, Mapping):
            buses = entry.value["buses"]
            assert isinstance(buses, Sequence)
            yield from (f"{entry.name}.{bus}" for bus in buses)
        else:
            yield entry.name


def _mentions(entry: FileEntry, terminal: str) -> bool:
    """Return whether an entry has a wire or a fuse on a hub."""
    is_declaring = entry.path[:1] in {(section,) for section in (*_HUBS, "states")}
    if is_declaring or entry.name in {"metal", "title"}:
        return False
    return any(
        word == terminal or word.startswith(f"{terminal}.")
        for word in words_of(entry.value)
    )


def _leads_to(entry: FileEntry, terminal: str) -> bool:
    """Return whether an entry ends at a hub and does nothing else with it."""
    if not isinstance(entry.value, Mapping):
        return False
    key = "87" if entry.path == ("relays",) else "to"
    name = str(entry.value.get(key, ""))
    return name == terminal or name.startswith(f"{terminal}.")


def _without(entries: Sequence[FileEntry], idle: str) -> Iterator[FileEntry]:
    """Yield entries without a hub and what leads to it."""
    hub, _, bus = idle.partition(".")
    for entry in entries:
        value = entry.value
        is_hub = entry.name == hub and entry.path[:1] in {(s,) for s in _HUBS}
        if is_hub and bus and isinstance(value, Mapping):
            buses = value["buses"]
            assert isinstance(buses, Sequence)
            rest = [str(one) for one in buses if one != bus]
            if rest:
                yield replace(entry, value={**value, "buses": rest})
        elif entry.name == "metal" and idle == _FRAME and isinstance(value, Mapping):
            metal = {name: one for name, one in value.items() if name != _FRAME}
            yield replace(entry, value=metal)
        elif entry.path == ("states",) and isinstance(value, Mapping) and value:
            positions = value["switches"]
            assert isinstance(positions, Mapping)
            rest_of = {name: one for name, one in positions.items() if name != hub}
            yield replace(entry, value={**value, "switches": rest_of})
        elif not is_hub and not _leads_to(entry, idle):
            yield entry


def words_of(value: Written) -> Iterator[str]:
    """Yield every word of the text in a value, notes of the owner left out."""
    if isinstance(value, str):
        yield from value.split()
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield from words_of(one) if key != "note" else ()
