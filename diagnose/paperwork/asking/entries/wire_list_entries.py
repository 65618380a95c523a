"""A car from a list of wires, as the entries of its file."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.files.car.writing.entry_text import FileEntry, Written
from diagnose.files.car.writing.wire_list import WireRow
from diagnose.files.knowledge.layouts import Layouts
from diagnose.paperwork.asking.entries.listed_circuits import (
    OpenRows,
    circuits,
    joined_by,
    noted,
    other_end,
    relay_terminals,
    source_of,
)
from diagnose.paperwork.asking.entries.source_entries import (
    SOLENOID_CONTACT,
    SOLENOID_OHMS,
)
from diagnose.paperwork.asking.wire_list_questions import (
    IN_SERIES,
    METAL,
    ListedCar,
    terminals_of,
)

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


# Contacts of a light switch.
_LIGHTS = ("tail", "head")

# Positions of a switch that is on at rest, the first of them: what stops the starter in
# gear, and the pump in a crash.
_ON_AT_REST = {"neutral": ("park", "drive"), "inertia": ("set", "tripped")}

# Terminals of a switch that is on or off.
_FEED_AND_OUT = 2

# What people call the solenoid on the starter.
_SOLENOIDS = ("starter-solenoid", "solenoid")


def listed_entries(car: ListedCar, layouts: Layouts) -> list[FileEntry]:
    """Return the entries of a car from its list of wires.

    Parameters
    ----------
    car : ListedCar
        The wires and what is at their ends.
    layouts : Layouts
        The places and the usual circuits.
    """
    rows = OpenRows(rows=car.rows)
    loads = list(circuits(car, layouts, rows))
    entries = [*_top(car, rows), *_ends(car, layouts, rows), *loads]
    # a wire with a fuse takes the one before its fuse along
    for row in sorted(car.rows, key=lambda row: not row.fuse):
        if row.name not in rows.names and (row.wire or row.fuse):
            entries.append(_wire(row, car, rows))
    entries += [*_plugs(car, rows), *_states(car, layouts)]
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


def _top(car: ListedCar, rows: OpenRows) -> Iterator[FileEntry]:
    """Yield title, system, metal, battery, alternator, starter and clamps."""
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
        if name == "battery":
            value |= _series_link(car, rows)
        yield FileEntry(path=(), name=name, value=value)
    for name, terminal in car.clamps.items():
        yield FileEntry(path=("clamps",), name=name, value=terminal)


def _series_link(car: ListedCar, rows: OpenRows) -> dict[str, Written]:
    """Return the cable between two batteries in series, where the list has one."""
    for row in car.rows:
        if {row.start.partition(".")[0], row.end.partition(".")[0]} == {*IN_SERIES}:
            rows.take(row, "battery-link")
            return {"series-link": row.wire}
    return {}


def _ends(car: ListedCar, layouts: Layouts, rows: OpenRows) -> Iterator[FileEntry]:
    """Yield studs, splices, panels, switches, controllers, relays and other parts."""
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
        elif end.kind == "relay" and f"{name}-wire" not in rows.names.values():
            yield _relay(name, car, rows)
        elif end.kind == "switch":
            value = _switch(name, end.place, own, layouts)
            # on or off is all that two terminals leave; else it is a guess
            live = value["live"]
            assert isinstance(live, dict)
            is_guess = len(own) > _FEED_AND_OUT or "off" not in live
            comment = "assumed: its positions" if is_guess else ""
            yield FileEntry(path=("switches",), name=name, value=value, comment=comment)
        elif end.kind == "controller":
            yield _controller(car, name, rows)
        elif end.kind in {"resistor", "diode", "battery"}:
            joined = {
                terminal: rows.joined(
                    f"{name}.{terminal}", f"{name}-{terminal}-wire", is_needed=True
                )
                for terminal in sorted(own)
            }
            value = {"kind": end.kind, "place": end.place, "terminals": joined}
            if end.kind == "resistor":
                value["values"] = {"ohms": end.size}
            yield FileEntry(path=("parts",), name=name, value=value)


def _relay(name: str, car: ListedCar, rows: OpenRows) -> FileEntry:
    """Return a relay that no load is called after."""
    value: dict[str, Written] = {"place": car.ends[name].place}
    numbers = ("30", "87", "87a", "86", "85")
    value |= relay_terminals(name, numbers, rows)
    comment = ""
    if name in _SOLENOIDS:
        value["values"] = {
            "coil_ohms": SOLENOID_OHMS[car.system],
            "contact_ohms": SOLENOID_CONTACT,
        }
        comment = "assumed: its values"
    return FileEntry(path=("relays",), name=name, value=value, comment=comment)


def _switch(
    name: str, place: str, terminals: set[str], layouts: Layouts
) -> dict[str, Written]:
    """Return a switch with the positions that are usual for its contacts."""
    feed = next((one for one in ("feed", "battery", "in") if one in terminals), "")
    feed = feed or min(terminals)
    others = sorted(terminals - {feed})
    live: dict[str, Written] = {"off": []}
    at_rest = next((p for word, p in _ON_AT_REST.items() if word in name), None)
    usual = layouts.circuit_called(name.removesuffix("-switch"))
    if "start" in others:
        unknown = {*others} - {one for contacts in _KEY.values() for one in contacts}
        for position, contacts in _KEY.items():
            own = [*contacts, *(sorted(unknown) if position == "run" else ())]
            live[position] = [one for one in own if one in others]
    elif set(others) <= set(_LIGHTS):
        live |= {"tail": [one for one in others if one == "tail"], "head": others}
    elif at_rest is not None:
        live = {at_rest[0]: list(others), at_rest[1]: []}
    elif usual is not None and usual.springs_back:
        live = {"released": [], "pressed": list(others)}
    elif len(others) == 1:
        live["on"] = list(others)
    else:
        live |= {one if one != "off" else "on": [one] for one in others}
    return {"place": place, "feed": feed, "live": live}


def _controller(car: ListedCar, name: str, rows: OpenRows) -> FileEntry:
    """Return a controller; its terminals that are no feeds are outputs."""
    own = terminals_of(car.rows)[name]
    value: dict[str, Written] = {
        "place": car.ends[name].place,
        "draws": _CONTROLLER_AMPS,
    }
    if "memory" in own:
        value["memory"] = "5 mA"
    ground = rows.at(f"{name}.ground", name=f"{name}-ground")
    value["ground"] = "body"
    if ground is not None:
        rows.take(ground, f"{name}-ground")
        value["ground"] = joined_by(ground, f"{name}.ground")
    outputs: dict[str, Written] = {
        output: {
            "side": _side(f"{name}.{output}", car),
            "on-in": ["idle-loaded", "fast-idle"] if _keys(car) else [],
        }
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


def _side(output: str, car: ListedCar) -> str:
    """Return the side of a load that an output switches: high where it feeds one."""
    fed = (".86", f".{car.hot}", ".in", ".feed", ".30")
    others = [
        other_end(row, output) for row in car.rows if output in (row.start, row.end)
    ]
    return "high" if any(other.endswith(fed) for other in others) else "low"


def _wire(row: WireRow, car: ListedCar, rows: OpenRows) -> FileEntry:
    """Return a wire that ends at no load, with its fuse if it has one."""
    if row.fuse:
        rows.take(row, f"{row.name}-wire")
        value: dict[str, Written] = {
            "from": source_of(row, row.start, row.name, rows),
            "fuse": row.fuse,
        }
        value |= {"wire": row.wire} if row.wire else {}
        value |= {"to": row.end, **noted({"wire": row.note} if row.note else {})}
        return FileEntry(path=("circuits",), name=row.name, value=value)
    rows.take(row, row.name)
    value = {"from": row.start, "to": row.end, "wire": row.wire}
    role = _cable_role(row, car)
    if role:
        value["role"] = role
    if row.note:
        value["note"] = row.note
    return FileEntry(path=("wires",), name=row.name, value=value)


def _cable_role(row: WireRow, car: ListedCar) -> str:
    """Return what a heavy cable is, by its ends: a car is held together by these."""
    on = {**car.clamps}
    on |= {name: end.size for name, end in car.ends.items() if end.kind == "stud"}
    ends = {on.get(end, end) for end in (row.start, row.end)}
    if len(ends & {*METAL}) > 1 or ends == {f"battery.{car.grounded}", "body"}:
        return "ground-strap"
    cables = (
        {f"battery.{car.hot}", *(f"{name}.30" for name in _SOLENOIDS)},
        {f"battery.{car.grounded}", "engine"},
    )
    return "battery-cable" if len(ends) > 1 and any(ends <= c for c in cables) else ""


def _plugs(car: ListedCar, rows: OpenRows) -> Iterator[FileEntry]:
    """Yield the plugs with the wires they carry; those that share a pin together."""
    for plug, place in car.plugs.items():
        pins: dict[str, list[str]] = {}
        for row in car.rows:
            for pin in row.plugs:
                if pin.partition(".")[0] == plug:
                    own = pin if pin != plug else f"{plug}.{row.name}"
                    pins.setdefault(own, []).append(rows.names[row.name])
        carries: list[Written] = [
            pins[pin] if len(pins[pin]) > 1 else pins[pin][0]
            for pin in sorted(pins, key=_pin_number)
        ]
        value: dict[str, Written] = {"place": place, "carries": carries}
        yield FileEntry(path=("plugs",), name=plug, value=value)


def _pin_number(pin: str) -> int:
    """Return the number of a pin in its plug, 0 where it has none."""
    number = pin.partition(".")[2]
    return int(number) if number.isdigit() else 0


def _keys(car: ListedCar) -> list[str]:
    """Return the ignition switches of the list."""
    terminals = terminals_of(car.rows)
    return [
        name
        for name, end in car.ends.items()
        if end.kind == "switch" and "start" in terminals[name]
    ]


def _states(car: ListedCar, layouts: Layouts) -> Iterator[FileEntry]:
    """Yield the states that an ignition switch makes, where the list has one."""
    terminals = terminals_of(car.rows)
    keys = _keys(car)
    if not keys:
        return
    loaded: dict[str, Written] = {}
    for name, end in car.ends.items():
        usual = layouts.circuit_called(name.removesuffix("-switch"))
        if end.kind == "switch" and "head" in terminals[name]:
            loaded[name] = "head"
        elif end.kind == "switch" and usual and usual.is_on_when_loaded:
            positions = _switch(name, end.place, terminals[name], layouts)["live"]
            assert isinstance(positions, dict)
            loaded[name] = list(positions)[-1]
    for state in ("key-on", "cranking", "idle", "idle-loaded", "fast-idle"):
        position = "crank" if state == "cranking" else "run"
        own = loaded if state in {"idle-loaded", "fast-idle"} else {}
        value: Written = {"switches": {keys[0]: position, **own}}
        comment = "assumed: what is on" if own else ""
        yield FileEntry(path=("states",), name=state, value=value, comment=comment)
