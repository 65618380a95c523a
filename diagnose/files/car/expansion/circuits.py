"""A usual circuit as parts: fuse, relay, wires, load and ground, with fixed names.

A circuit called ``fan`` gives the parts ``fan-fuse``, ``fan-relay.coil``,
``fan-relay.contacts``, ``fan`` (the load) and the wires ``fan-feed``,
``fan-relay-wire``, ``fan-wire`` and ``fan-ground``, as far as the entry has them.
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.circuit.car import Part
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.metal import METAL_TERMINALS
from diagnose.files.car.expansion.relays_and_joints import (
    add_joint,
    add_rating,
    add_relay,
    known_role,
)
from diagnose.files.car.grammar.entries import CircuitEntry, CircuitFuseEntry
from diagnose.files.car.grammar.load_sizes import LoadSize
from diagnose.files.car.grammar.sizes import Connection, WireSize
from diagnose.files.yaml_positions import Location

# Kind of a load that the file says nothing more of than its amps.
PLAIN_LOAD = "load"


@dataclass(slots=True, kw_only=True)
class _Route:
    """How far a circuit has got: the terminal reached, and the wire that leaves it."""

    here: str
    wire: WireSize | None
    wire_name: str
    location: Location


def add_circuit(
    name: str, entry: CircuitEntry, draft: Draft, location: Location
) -> None:
    """Add a usual circuit.

    Parameters
    ----------
    name : str
        The circuit's name; its parts are named after it.
    entry : CircuitEntry
        What the file says.
    draft : Draft
        The car being put together.
    location : Location
        The entry.
    """
    if not _has_an_end(entry, draft, location):
        draft.broken.add(name)
        return
    _take_notes(name, entry, draft, location)
    route = _Route(
        here=entry.from_.to,
        wire=entry.from_.wire,
        wire_name=f"{name}-feed",
        location=(*location, "from"),
    )
    if entry.fuse is not None:
        _add_fuse(name, entry.fuse, draft, route)
    if entry.relay is not None:
        _add_circuit_relay(name, entry, draft, route)
    if entry.wire is not None:
        if route.wire is not None:
            draft.report(
                (*location, "wire"),
                f'circuit "{name}" has two wires in a row: `from ... via` and `wire`; '
                "keep one",
            )
        route.wire, route.wire_name = entry.wire, f"{name}-wire"
        route.location = (*location, "wire")
    if entry.to is not None:
        _end_at(entry.to, draft, route)
    elif entry.load is not None:
        _add_load(name, entry, draft, route)


def _take_notes(
    name: str, entry: CircuitEntry, draft: Draft, location: Location
) -> None:
    """Keep what the owner says of the circuit's wires; report it of one not there."""
    there = {
        "feed": entry.from_.wire is not None,
        "wire": entry.wire is not None,
        "ground": entry.ground is not None and entry.ground.wire is not None,
    }
    for key, has_wire in there.items():
        note = getattr(entry.note, key)
        if note and not has_wire:
            draft.report(
                (*location, "note"),
                f'circuit "{name}" has no {key} of a size and length that a note '
                "could be about",
            )
        elif note:
            draft.notes[f"{name}-{key}"] = note


def _has_an_end(entry: CircuitEntry, draft: Draft, location: Location) -> bool:
    """Report a circuit without exactly one end, or with a ground that isn't one."""
    name = location[-1]
    if entry.load is None and entry.ground is not None:
        draft.report(
            (*location, "ground"),
            f'circuit "{name}" has a ground but no load; add `load`, such as '
            "`load: 5 A load`",
            of_key=True,
        )
        return False
    has_wire = entry.wire is not None or entry.from_.wire is not None
    problem = ""
    if entry.to is not None and entry.load is not None:
        problem = "has both `load` and `to`; give one of them"
    elif entry.load is not None and entry.ground is None:
        problem = (
            "has a load but no ground return; add `ground`, such as "
            "`ground: body via 14 AWG 2 ft`"
        )
    elif not any((entry.load, entry.to, entry.fuse, entry.relay)):
        problem = "leads nowhere; add `load` with `ground`, or `to`"
    elif entry.to and not any((has_wire, entry.fuse, entry.relay)):
        problem = "has nothing between `from` and `to`; add `wire`"
    if problem:
        draft.report(location, f'circuit "{name}" {problem}', of_key=True)
    return not problem


def _arrive(
    terminal: str, draft: Draft, route: _Route, *, role: str | None = None
) -> None:
    """Bring the route to a terminal: by its wire, or by sitting on it."""
    connection = Connection(to=route.here, wire=route.wire)
    draft.join(
        terminal,
        connection,
        wire=route.wire_name,
        location=route.location,
        role=role,
    )
    route.wire = None


def _end_at(target: str, draft: Draft, route: _Route) -> None:
    """End the route at a terminal that another entry declares."""
    location = route.location[:2]
    if route.wire is None:
        draft.sits_on[route.here] = (target, (*location, "to"))
        return
    is_controller = target in draft.controller_supplies
    draft.add_wire(
        route.wire_name,
        (route.here, target),
        size=route.wire,
        location=location,
        place=draft.place_of(target) or draft.place_of(route.here),
        role=_feed_role(draft, "controller") if is_controller else None,
    )


def _feed_role(draft: Draft, fed: str | None) -> str | None:
    """Return the role of the wire that ends at a controller or the ignition."""
    return known_role(draft, f"{fed}-feed")


def _add_fuse(name: str, entry: CircuitFuseEntry, draft: Draft, route: _Route) -> None:
    """Add the circuit's fuse."""
    fuse = f"{name}-fuse"
    location = (*route.location[:2], "fuse")
    place = entry.place or draft.place_of(route.here)
    ends = {
        "a": draft.declare(fuse, "in", place=place, location=location),
        "b": draft.declare(fuse, "out", place=place, location=location),
    }
    values = draft.values(
        entry.size.kind,
        entry.values,
        location=location,
        sizes={"rating_amps": entry.size.rating_amps},
    )
    add_rating(values, entry.size.kind)
    draft.add(
        Part(
            name=fuse,
            assembly=fuse,
            kind=entry.size.kind,
            terminals=ends,
            values=values,
            place=place,
            role=draft.role(fuse, entry.size.kind, entry.role, location=location)
            or known_role(draft, entry.size.kind),
        ),
        location,
    )
    _arrive(ends["a"], draft, route)
    route.here = ends["b"]


def _add_circuit_relay(
    name: str, entry: CircuitEntry, draft: Draft, route: _Route
) -> None:
    """Add the circuit's relay."""
    assert entry.relay is not None
    relay = f"{name}-relay"
    location = (*route.location[:2], "relay")
    place = entry.relay.place or draft.place_of(route.here)
    add_relay(relay, entry.relay, draft, location, place=place)
    if entry.relay.wire is not None:
        if route.wire is not None:
            draft.report(
                (*location, "wire"),
                f'circuit "{name}" has two wires in a row: `from ... via` and '
                "`relay: wire`; keep one",
            )
        route.wire, route.wire_name = entry.relay.wire, f"{relay}-wire"
        route.location = (*location, "wire")
    _arrive(f"{relay}.30", draft, route)
    route.here = f"{relay}.87"


def _load_kind(name: str, entry: CircuitEntry, load: LoadSize, draft: Draft) -> str:
    """Return the kind of a circuit's load; a plain one is what its role usually is."""
    if load.kind != PLAIN_LOAD:
        return load.kind
    role = entry.role or draft.guessed.get(name, name)
    return draft.knowledge.plain_load_kinds.get(role, load.kind)


def _add_load(name: str, entry: CircuitEntry, draft: Draft, route: _Route) -> None:
    """Add the circuit's load with its ground."""
    assert entry.load is not None
    assert entry.ground is not None
    location = route.location[:2]
    place = entry.place or draft.place_of(entry.ground.to)
    fed, grounded = (
        draft.declare(name, post, place=place, location=location)
        for post in (draft.hot_post, draft.ground_post)
    )
    kind = _load_kind(name, entry, entry.load, draft)
    role = draft.role(name, kind, entry.role, location=location)
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind=kind,
            terminals={"a": fed, "b": grounded},
            draws_when=draft.draws_when(role, entry.draws_when),
            values=draft.values(
                kind,
                entry.values,
                location=location,
                sizes={entry.load.parameter: entry.load.amount},
            ),
            place=place,
            role=role,
        ),
        location,
    )
    _arrive(fed, draft, route, role=_feed_role(draft, role))
    ground = f"{name}-ground"
    place_of_ground = (*location, "ground")
    if entry.ground.wire is None and entry.ground.to in METAL_TERMINALS:
        add_joint(draft, ground, grounded, entry.ground.to, place_of_ground)
    else:
        draft.join(grounded, entry.ground, wire=ground, location=place_of_ground)
