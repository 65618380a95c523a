"""Joints that several circuits share, and the small joints of one run.

A clamp is between a post or stud and everything that is put on it. A plug has a pin for
each wire that it carries, and wires in brackets share one. A run is what a circuit is
made of, from its fuse to its ground: joints that have all become a little worse are
cleaned together. They are put between parts that are there already, so this comes last.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from diagnose.circuit.car import Part
from diagnose.circuit.parts.wiring_and_loads import GROUNDED_CLAMP
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.circuit.values import Origin
from diagnose.errors import did_you_mean
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.metal_and_sources import SERIES_ROLE
from diagnose.files.car.expansion.nodes import find_terminal
from diagnose.files.car.expansion.part_values import scaled_value
from diagnose.files.car.expansion.relays_and_joints import known_role
from diagnose.files.car.grammar.entries import CarEntry, PlugEntry
from diagnose.files.yaml_positions import Location

# What the parts of a circuit end in that carry its load's current, see `circuits`.
RUN_PARTS = ("-feed", "-fuse", "-relay.contacts", "-relay-wire", "-wire", "-ground")

# Share of the joint at a lug that is its crimp. [1] Own choice: half, the rest is the
# contact with the post.
CRIMP_SHARE = 0.5

# Roles of contacts between two heavy studs. By definition.
HEAVY_ROLES = frozenset(("starter-solenoid", "contactor"))

# Kinds of part that lead on whatever the switches do. By definition.
LEADING_KINDS = frozenset({"wire", "joint", "clamp", "pin", *PROTECTIVE_KINDS})

# Roles of wires that trigger a relay: they are taken from anywhere, and are no circuit
# of the panel. By definition.
TRIGGER_ROLES = frozenset({"coil-feed"})

# Fewer joints than those of two parts make no run. [1] Own choice.
LEAST_IN_A_RUN = 2


def add_clamp(name: str, post: str, draft: Draft, location: Location) -> None:
    """Put a clamp between a post or stud and everything that is on it.

    Parameters
    ----------
    name : str
        The clamp; also its terminal, where a probe touches it beside the post.
    post : str
        The terminal that it is on.
    draft : Draft
        The car being put together.
    location : Location
        The entry.
    """
    terminal = find_terminal(draft, post, location)
    if terminal is None:
        draft.broken.add(name)
        return
    place = draft.place_of(terminal)
    clamp = draft.declare(name, "clamp", place=place, location=location)
    draft.main_terminals[name] = clamp
    owner = terminal.partition(".")[0]
    for number, part in enumerate(draft.parts):
        # batteries in series have posts that are called after both together
        if part.assembly != owner and part.role != SERIES_ROLE:
            draft.parts[number] = _moved(part, draft, terminal, clamp)
    for other, (target, where) in list(draft.sits_on.items()):
        if _full(draft, target) == terminal:
            draft.sits_on[other] = (clamp, where)
    is_grounded = terminal == f"battery.{draft.ground_post}"
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind="clamp",
            terminals={"a": terminal, "b": clamp},
            values=draft.values("clamp", {}, location=location),
            place=place,
            role=known_role(draft, GROUNDED_CLAMP) if is_grounded else None,
        ),
        location,
    )


def add_plug(name: str, entry: PlugEntry, draft: Draft, location: Location) -> None:
    """Add a plug: a pin for each wire that it carries, and itself as a whole.

    Parameters
    ----------
    name : str
        The plug.
    entry : PlugEntry
        What the file says.
    draft : Draft
        The car being put together.
    location : Location
        The entry.
    """
    pins = []
    for index, carried in enumerate(entry.carries):
        where = (*location, "carries", index)
        wires = [carried] if isinstance(carried, str) else carried
        pin = _add_pin(name, wires, entry, draft, where)
        if pin is None:
            draft.broken.add(name)
        else:
            pins.append(pin)
    _note_pins_beside(pins, draft)
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind="plug",
            terminals={},
            place=entry.place,
            members=tuple(pins),
        ),
        location,
    )


def _note_pins_beside(pins: Sequence[str], draft: Draft) -> None:
    """Note of each pin of a plug but the last which one is beside it."""
    numbers = {part.name: number for number, part in enumerate(draft.parts)}
    for pin, beside in pairwise(pins):
        number = numbers[pin]
        end = draft.parts[numbers[beside]].terminals["a"]
        draft.parts[number] = replace(draft.parts[number], stud_beside=("a", end))


def _add_pin(
    plug: str,
    wires: Sequence[str],
    entry: PlugEntry,
    draft: Draft,
    location: Location,
) -> str | None:
    """Put a pin into wires that share it; return its name, None with a problem."""
    numbers = [_wire_number(draft, wire, location) for wire in wires]
    found = [number for number in numbers if number is not None]
    if len(found) < len(wires):
        return None
    ends = [
        {key: _full(draft, draft.parts[number].terminals[key]) for key in ("a", "b")}
        for number in found
    ]
    shared = _shared_end(ends, entry.place, draft)
    if shared is None:
        draft.report(
            location,
            f"{' and '.join(wires)} have no end in common, so they can't share a pin; "
            "write each by itself",
        )
        return None
    pin = draft.declare(plug, wires[0], place=entry.place, location=location[:2])
    for number, of_wire in zip(found, ends, strict=True):
        key = "a" if of_wire["a"] == shared else "b"
        part = draft.parts[number]
        draft.parts[number] = replace(part, terminals={**part.terminals, key: pin})
    draft.add(
        Part(
            name=f"{pin}-pin",
            assembly=plug,
            kind="pin",
            terminals={"a": pin, "b": shared},
            values=draft.values("pin", entry.values, location=location[:2]),
            place=entry.place,
        ),
        location[:2],
    )
    return f"{pin}-pin"


def _wire_number(draft: Draft, wire: str, location: Location) -> int | None:
    """Return where a wire stands among the parts; report one that is none."""
    names = {part.name: n for n, part in enumerate(draft.parts) if part.kind == "wire"}
    if wire not in names and not draft.is_broken(wire):
        draft.report(location, f'there is no wire "{wire}"{did_you_mean(wire, names)}')
    return names.get(wire)


def _shared_end(
    ends: Sequence[Mapping[str, str]], place: str, draft: Draft
) -> str | None:
    """Return the end that wires have in common, that at the plug's place first."""
    common = set.intersection(*(set(of_wire.values()) for of_wire in ends))
    at_place = [end for end in ends[0].values() if draft.place_of(end) == place]
    candidates = [*at_place, ends[0]["b"], ends[0]["a"]]
    return next((end for end in candidates if end in common), None)


def add_run(circuit: str, draft: Draft, location: Location) -> None:
    """Add what the joints of one circuit are as a whole.

    Parameters
    ----------
    circuit : str
        The circuit.
    draft : Draft
        The car being put together.
    location : Location
        The entry.
    """
    own = {f"{circuit}{ending}" for ending in RUN_PARTS}
    kinds = {"wire", "contacts", *PROTECTIVE_KINDS}
    parts = [part for part in draft.parts if part.name in own and part.kind in kinds]
    if len(parts) < LEAST_IN_A_RUN:
        return
    draft.add(
        Part(
            name=f"{circuit}-run",
            assembly=f"{circuit}-run",
            kind="run",
            terminals={},
            place=parts[0].place,
            members=tuple(part.name for part in parts),
        ),
        location,
    )


def note_studs_beside(car: CarEntry, draft: Draft) -> None:
    """Note the wires with an end on a stud that has another one beside it.

    Those are the two heavy studs of a starter's solenoid or a contactor, and the buses
    of one fuse panel; a wire behind a fuse of a panel has the panel's other half beside
    it, the one that is live at rest where its own is not and the other way round.

    Parameters
    ----------
    car : CarEntry
        The car file.
    draft : Draft
        The car being put together.
    """
    beside: dict[str, str] = {}
    for part in draft.parts:
        if part.kind == "contacts" and part.role in HEAVY_ROLES:
            beside[part.terminals["a"]] = part.terminals["b"]
            beside[part.terminals["b"]] = part.terminals["a"]
    for name, panel in car.panels.items():
        buses = [f"{name}.{bus}" for bus in panel.buses]
        if len(buses) > 1:
            beside.update(zip(buses, [*buses[1:], buses[0]], strict=True))
    behind_fuse = _other_halves(car, draft)
    for number, part in enumerate(draft.parts):
        if part.kind != "wire":
            continue
        for end in ("a", "b"):
            name = _full(draft, part.terminals[end])
            stud = beside.get(name)
            if stud is None and part.role not in TRIGGER_ROLES:
                stud = behind_fuse.get(name)
            if stud is not None and stud not in part.terminals.values():
                draft.parts[number] = replace(part, stud_beside=(end, stud))
                break


def _other_halves(car: CarEntry, draft: Draft) -> Mapping[str, str]:
    """Return the load ends of fuses on a panel, each with the panel's other half."""
    live = _live_terminals(draft)
    half: dict[str, str] = {}
    for name, panel in car.panels.items():
        buses = [f"{name}.{bus}" for bus in panel.buses]
        for bus in buses:
            others = (one for one in buses if (one in live) is not (bus in live))
            other = next(others, None)
            if other is not None:
                half[bus] = other
    on = {name: _full(draft, target) for name, (target, _) in draft.sits_on.items()}
    found = {}
    for part in draft.parts:
        if part.kind in PROTECTIVE_KINDS:
            fed = _full(draft, part.terminals["a"])
            other = half.get(on.get(fed, fed))
            if other is not None:
                found[_full(draft, part.terminals["b"])] = other
    return found


def _live_terminals(draft: Draft) -> set[str]:
    """Return what the battery's feeding post reaches with every switch at rest."""
    links = [
        tuple(_full(draft, name) for name in part.terminals.values())
        for part in draft.parts
        if part.kind in LEADING_KINDS
    ]
    links += [(name, _full(draft, to)) for name, (to, _) in draft.sits_on.items()]
    post = "minus" if draft.ground_post == "plus" else "plus"
    live = {f"battery.{post}"}
    while True:
        more = {name for link in links if live & set(link) for name in link} - live
        if not more:
            return live
        live |= more


def _moved(part: Part, draft: Draft, post: str, clamp: str) -> Part:
    """Return a part with its ends on a clamp where they were on the post.

    What a lead had with the post is the clamp's now: only the crimp is left to it.
    """
    moved = {key for key, name in part.terminals.items() if _full(draft, name) == post}
    terminals = {
        key: clamp if key in moved else name for key, name in part.terminals.items()
    }
    values = {
        name: scaled_value(value, CRIMP_SHARE, reason="as the clamp has the rest")
        if name in {f"joint_{key}_ohms" for key in moved}
        and value.origin is Origin.DEFAULT
        else value
        for name, value in part.values.items()
    }
    return replace(part, terminals=terminals, values=values)


def _full(draft: Draft, name: str) -> str:
    """Return the full name of a terminal."""
    return draft.main_terminals.get(name, name)
