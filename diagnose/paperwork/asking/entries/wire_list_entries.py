"""A car from a list of wires, as the entries of its file."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.files.car.writing.wire_list import WireRow
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.wire_list_questions import ListedCar, terminals_of

# What a controller takes where the list can't say. Own choice: usual for one.
_CONTROLLER_AMPS = "0.8 A"

# Places of what every car has. Own choice.
_PLACES = {"battery": "battery-tray", "alternator": "alternator", "starter": "starter"}

# Contacts of an ignition switch that are live in its positions, as far as it has them.
_KEY = {
    "accessory": ("accessory",),
    "run": ("accessory", "run", "ignition"),
    "crank": ("ignition", "start"),
}


def listed_entries(car: ListedCar, layouts: Layouts) -> list[FileEntry]:
    """Return the entries of a car from its list of wires.

    Parameters
    ----------
    car : ListedCar
        The wires and what is at their ends.
    layouts : Layouts
        The places and the usual circuits.
    """
    taken: set[str] = set()
    entries = [*_top(car), *_ends(car)]
    entries += _loads(car, layouts, taken)
    for row in car.rows:
        if row.name not in taken:
            entries.append(_wire(row))
    entries += _states(car)
    places = [
        FileEntry(
            path=("places",),
            name=name,
            value={"time": place.time, "caution": place.caution}
            if place.caution
            else place.time,
        )
        for name, place in layouts.places.items()
    ]
    return [*places, *entries]


def _top(car: ListedCar) -> Iterator[FileEntry]:
    """Yield title, system, metal, battery, alternator and starter."""
    yield FileEntry(path=(), name="title", value=car.title)
    yield FileEntry(path=(), name="system", value=car.system)
    metal: dict[str, Written] = {"body": "firewall", "engine": "engine-top"}
    if "frame" in terminals_of(car.rows):
        metal["frame"] = "starter"
    yield FileEntry(path=(), name="metal", value=metal)
    keys = {"battery": "cold-cranking", "alternator": "rated", "starter": "cranking"}
    for name, told in car.sizes.items():
        value: dict[str, Written] = {"place": _PLACES[name], keys[name]: told.text}
        if name == "battery" and car.grounded == "plus":
            value["grounded"] = "plus"
        yield FileEntry(path=(), name=name, value=value)


def _ends(car: ListedCar) -> Iterator[FileEntry]:
    """Yield studs, splices, panels, switches, controllers and relays."""
    terminals = terminals_of(car.rows)
    for name, end in car.ends.items():
        own = terminals[name]
        if end.kind == "stud":
            value: Written = {"bolted-to": end.size, "place": end.place}
            yield FileEntry(path=("grounds",), name=name, value=value)
        elif end.kind == "splice":
            yield FileEntry(path=("splices",), name=name, value=end.place)
        elif end.kind == "panel":
            value = {"place": end.place, "buses": sorted(own)}
            yield FileEntry(path=("panels",), name=name, value=value)
        elif end.kind == "relay":
            yield FileEntry(path=("relays",), name=name, value={"place": end.place})
        elif end.kind == "switch":
            yield FileEntry(
                path=("switches",), name=name, value=_switch(end.place, own)
            )
        elif end.kind == "controller":
            yield _controller(car, name)


def _switch(place: str, terminals: set[str]) -> dict[str, Written]:
    """Return a switch: its feed, and its other terminals live when it is on."""
    feed = next((one for one in ("feed", "battery", "in") if one in terminals), "")
    feed = feed or min(terminals)
    others = sorted(terminals - {feed})
    live: dict[str, Written] = {"off": []}
    if "start" in others:
        for position, contacts in _KEY.items():
            live[position] = [one for one in contacts if one in others]
    else:
        live["on"] = list(others)
    return {"place": place, "feed": feed, "live": live}


def _controller(car: ListedCar, name: str) -> FileEntry:
    """Return a controller; its terminals that are no feeds are outputs to ground."""
    own = terminals_of(car.rows)[name]
    value: dict[str, Written] = {
        "place": car.ends[name].place,
        "draws": _CONTROLLER_AMPS,
    }
    if "memory" in own:
        value["memory"] = "5 mA"
    ground = next(
        (row for row in car.rows if f"{name}.ground" in (row.start, row.end)), None
    )
    if ground is not None:
        other = ground.end if ground.start == f"{name}.ground" else ground.start
        value["ground"] = f"{other} via {ground.wire}"
    else:
        value["ground"] = "body"
    outputs: dict[str, Written] = {
        output: {"side": "low", "on-in": ["idle-loaded", "fast-idle"]}
        for output in sorted(own - {"supply", "ground", "memory"})
    }
    if outputs:
        value["outputs"] = outputs
    return FileEntry(
        path=("controllers",),
        name=name,
        value=value,
        comment="assumed: what it draws, the side and states of its outputs",
    )


def _loads(car: ListedCar, layouts: Layouts, taken: set[str]) -> Iterator[FileEntry]:
    """Yield loads with the wire that feeds each and the one that grounds it."""
    grounded, hot = car.grounded, car.hot
    for name, end in car.ends.items():
        if end.kind == "controller":
            taken.update(
                row.name for row in car.rows if f"{name}.ground" in (row.start, row.end)
            )
        if end.kind != "load":
            continue
        feed = _row_at(car, f"{name}.{hot}", taken)
        back = _row_at(car, f"{name}.{grounded}", taken)
        assert feed is not None
        taken.update((feed.name, back.name if back else ""))
        ground, comment = "body", "assumed: grounded at the body, where it sits"
        if back is not None:
            ground = f"{_other(back, f'{name}.{grounded}')} via {back.wire}"
            comment = ""
        value: dict[str, Written] = {"from": _other(feed, f"{name}.{hot}")}
        if feed.fuse:
            value["fuse"] = feed.fuse
        value |= {
            "wire": feed.wire,
            "load": end.size,
            "ground": ground,
            "place": end.place,
        }
        usual = layouts.circuit_called(name)
        if usual and usual.role and usual.role != name:
            value["role"] = usual.role
        notes = {"wire": feed.note, "ground": back.note if back else ""}
        value |= _noted({key: note for key, note in notes.items() if note})
        yield FileEntry(path=("circuits",), name=name, value=value, comment=comment)


def _noted(notes: dict[str, Written]) -> dict[str, Written]:
    """Return the note of a circuit: plain where it is about its wire alone."""
    if not notes:
        return {}
    return {"note": notes["wire"] if list(notes) == ["wire"] else notes}


def _row_at(car: ListedCar, terminal: str, taken: set[str]) -> WireRow | None:
    """Return the first wire at a terminal that stands for nothing else yet."""
    for row in car.rows:
        if terminal in (row.start, row.end) and row.name not in taken:
            return row
    return None


def _other(row: WireRow, terminal: str) -> str:
    """Return the other end of a wire."""
    return row.end if row.start == terminal else row.start


def _wire(row: WireRow) -> FileEntry:
    """Return a wire that ends at no load, with its fuse if it has one."""
    if row.fuse:
        value: dict[str, Written] = {
            "from": row.start,
            "fuse": row.fuse,
            "wire": row.wire,
            "to": row.end,
        }
        value |= _noted({"wire": row.note} if row.note else {})
        return FileEntry(path=("circuits",), name=row.name, value=value)
    value = {"from": row.start, "to": row.end, "wire": row.wire}
    if row.note:
        value["note"] = row.note
    return FileEntry(path=("wires",), name=row.name, value=value)


def _states(car: ListedCar) -> Iterator[FileEntry]:
    """Yield the states that an ignition switch makes, where the list has one."""
    terminals = terminals_of(car.rows)
    keys = [
        name
        for name, end in car.ends.items()
        if end.kind == "switch" and "start" in terminals[name]
    ]
    if not keys:
        return
    for state in ("key-on", "cranking", "idle", "idle-loaded", "fast-idle"):
        position = "crank" if state == "cranking" else "run"
        value: Written = {"switches": {keys[0]: position}}
        yield FileEntry(path=("states",), name=state, value=value)
