"""Circuits of a list of wires: each load with the rows that feed and ground it.

A row is used once. What no entry stands for stays open, and becomes a wire of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.files.car.writing.wire_list import WireRow
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.wire_list_questions import End, ListedCar


@dataclass(slots=True, kw_only=True)
class OpenRows:
    """The rows that no entry stands for yet.

    Parameters
    ----------
    rows : Sequence[WireRow]
        All of the list.
    names : dict[str, str]
        Row that an entry stands for to what its wire is called in the car file.
    """

    rows: Sequence[WireRow]
    names: dict[str, str] = field(default_factory=dict)

    def at(self, terminal: str, *, name: str = "") -> WireRow | None:
        """Return an open row at a terminal: one of that name first.

        Of rows without a wire only those count whose start sits on something, and a
        wire comes before them.
        """
        found = [
            row
            for row in self.rows
            if row.name not in self.names
            and (
                terminal in (row.start, row.end)
                if row.wire or row.fuse
                else terminal == row.start
            )
        ]
        named = [row for row in found if row.name == name]
        wires = [row for row in found if row.wire]
        return next(iter((*named, *wires, *found)), None)

    def take(self, row: WireRow, name: str) -> None:
        """Note that an entry stands for a row, with the name its wire has there."""
        self.names[row.name] = name

    def joined(self, terminal: str, name: str, *, is_needed: bool = False) -> str:
        """Take the row at a terminal for an entry that says where its terminals go.

        Parameters
        ----------
        terminal : str
            Of the entry.
        name : str
            What the entry calls the wire there. A row that the owner named otherwise,
            or one with a fuse or a note, is left: it is an entry of its own.
        is_needed : bool
            Whether the entry can't be without; then only a row with a fuse is left.

        Returns
        -------
        str
            As a car file has it: the other end, and the wire to it; or empty.
        """
        row = self.at(terminal, name=name)
        if row is None or row.fuse:
            return ""
        is_own = bool(row.note) or (row.is_named and row.name != name)
        if row.wire and is_own and not is_needed:
            return ""
        self.take(row, name)
        return joined_by(row, terminal)


def other_end(row: WireRow, terminal: str) -> str:
    """Return the other end of a row."""
    return row.end if row.start == terminal else row.start


def joined_by(row: WireRow, terminal: str) -> str:
    """Return where a terminal goes by a row, as a car file has it."""
    other = other_end(row, terminal)
    return f"{other} via {row.wire}" if row.wire else other


def noted(notes: dict[str, Written]) -> dict[str, Written]:
    """Return the note of a circuit: plain where it is about its wire alone."""
    if not notes:
        return {}
    return {"note": notes["wire"] if list(notes) == ["wire"] else notes}


def source_of(row: WireRow, start: str, stem: str, open_rows: OpenRows) -> str:
    """Return where a row begins: before the wire to its fuse, where that is listed.

    Parameters
    ----------
    row : WireRow
        It is on its way to what it feeds.
    start : str
        Its end at the feed.
    stem : str
        The circuit it belongs to.
    open_rows : OpenRows
        The others.
    """
    fuse_in = f"{stem}-fuse.in"
    if not row.fuse or start != fuse_in:
        return start
    return open_rows.joined(fuse_in, f"{stem}-feed", is_needed=True) or start


def circuits(
    car: ListedCar, layouts: Layouts, open_rows: OpenRows
) -> Iterator[FileEntry]:
    """Yield loads with their fuses, their relays and the wires of both.

    Parameters
    ----------
    car : ListedCar
        The wires and what is at their ends.
    layouts : Layouts
        The usual circuits.
    open_rows : OpenRows
        Those used here are taken.
    """
    for name, end in car.ends.items():
        if end.kind != "load":
            continue
        feed = open_rows.at(f"{name}.{car.hot}", name=f"{name}-wire")
        assert feed is not None
        value, key = _fed(name, feed, car, open_rows)
        back = open_rows.at(f"{name}.{car.grounded}", name=f"{name}-ground")
        ground, comment = "body", "assumed: grounded at the body, where it sits"
        if back is not None:
            ground, comment = joined_by(back, f"{name}.{car.grounded}"), ""
            open_rows.take(back, f"{name}-ground")
        value |= {"load": end.size, "ground": ground, "place": end.place}
        usual = layouts.circuit_called(name)
        if usual and usual.role and usual.role != name:
            value["role"] = usual.role
        notes = {key: feed.note, "ground": back.note if back else ""}
        value |= noted({key: note for key, note in notes.items() if note})
        yield FileEntry(path=("circuits",), name=name, value=value, comment=comment)


def _fed(
    name: str, feed: WireRow, car: ListedCar, open_rows: OpenRows
) -> tuple[dict[str, Written], str]:
    """Return what feeds a load, and which of the circuit's wires the row is."""
    terminal = f"{name}.{car.hot}"
    if feed.name == f"{name}-feed" and not feed.fuse:
        open_rows.take(feed, feed.name)
        return {"from": joined_by(feed, terminal)}, "feed"
    open_rows.take(feed, f"{name}-wire")
    start = other_end(feed, terminal)
    value = _through_relay(name, start, car, open_rows)
    if not value:
        value = {"from": source_of(feed, start, name, open_rows)}
        value |= {"fuse": feed.fuse} if feed.fuse else {}
    return value | ({"wire": feed.wire} if feed.wire else {}), "wire"


def _through_relay(
    name: str, start: str, car: ListedCar, open_rows: OpenRows
) -> dict[str, Written]:
    """Return what feeds a load through the relay that is called after it, if one does.

    Its rows must have nothing that a circuit's relay can't say.
    """
    relay = f"{name}-relay"
    end = car.ends.get(relay, End(kind="", place=""))
    feed = open_rows.at(f"{relay}.30", name=f"{relay}-wire")
    if start != f"{relay}.87" or end.kind != "relay" or feed is None or feed.note:
        return {}
    open_rows.take(feed, f"{relay}-wire")
    source = other_end(feed, f"{relay}.30")
    value: dict[str, Written] = {"from": source_of(feed, source, name, open_rows)}
    if feed.fuse:
        value["fuse"] = feed.fuse
    own: dict[str, Written] = {"place": end.place}
    own |= {"wire": feed.wire} if feed.wire else {}
    own |= relay_terminals(relay, ("86", "85", "87a"), open_rows)
    return {**value, "relay": own}


def relay_terminals(
    relay: str, numbers: Sequence[str], open_rows: OpenRows
) -> dict[str, Written]:
    """Return where the terminals of a relay go, as its entry has them.

    Parameters
    ----------
    relay : str
        The relay.
    numbers : Sequence[str]
        Its terminals that its entry can say something of.
    open_rows : OpenRows
        Those used here are taken.
    """
    found: dict[str, Written] = {}
    for number in numbers:
        terminal, name = f"{relay}.{number}", f"{relay}-{number}-wire"
        row = open_rows.at(terminal, name=name)
        # a wire to the contacts may be a cable, which is an entry of its own
        is_other = row is not None and row.wire and row.name != name
        if is_other and number in {"30", "87"}:
            continue
        joined = open_rows.joined(terminal, name)
        if joined:
            found[number] = joined
    return found
