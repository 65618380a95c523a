"""A usual circuit as parts: fuse, relay, wires, load and ground, with fixed names.

A circuit called ``fan`` gives the parts ``fan-fuse``, ``fan-relay.coil``,
``fan-relay.contacts``, ``fan`` (the load) and the wires ``fan-feed``,
``fan-relay-wire``, ``fan-wire`` and ``fan-ground``, as far as the entry has them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from diagnose.circuit.car import Origin, Part, Value
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.files.car.car_schema import CircuitEntry, CircuitFuseEntry, RelayTerminals
from diagnose.files.car.part_values import fuse_ohms
from diagnose.files.draft import Draft
from diagnose.files.quantities import Connection, WireSize
from diagnose.files.yaml_positions import Location

METAL = ("body", "engine", "frame")


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


def add_rating(values: dict[str, Value], kind: str) -> None:
    """Give a fuse the resistance that goes with the rating the file gives."""
    rating = values.get("rating_amps")
    ohms = values.get("ohms")
    if (
        kind not in PROTECTIVE_KINDS
        or rating is None
        or rating.origin is Origin.DEFAULT
    ):
        return
    if ohms is None or ohms.origin is Origin.DEFAULT:
        values["ohms"] = fuse_ohms(kind, rating.distribution.nominal, ohms)


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


# Part of a relay to its kind and its two terminals by DIN 72552 (from memory).
_RELAY_PARTS: Mapping[str, tuple[str, tuple[str, str]]] = MappingProxyType(
    {
        "coil": ("coil", ("86", "85")),
        "contacts": ("contacts", ("30", "87")),
        "contacts-87a": ("contacts", ("30", "87a")),
    }
)


def add_relay(
    name: str,
    entry: RelayTerminals,
    draft: Draft,
    location: Location,
    *,
    place: str,
    role: str | None = None,
) -> None:
    """Add a relay: coil 86-85, contacts 30-87, and 30-87a when something is on it.

    Parameters
    ----------
    name : str
        The relay.
    entry : RelayTerminals
        What the file says.
    draft : Draft
        The car being put together.
    location : Location
        The entry.
    place : str
        Where the relay is.
    role : str or None
        What its contacts do for the car.
    """
    ends = {
        number: draft.declare(name, number, place=place, location=location)
        for number in ("30", "87", "87a", "86", "85")
    }
    draft.optional.add(ends["87a"])
    roles = {
        "contacts": draft.role(name, "contacts", role, location=location),
        "contacts-87a": known_role(draft, "changeover-contact"),
    }
    for part, (kind, (first, second)) in _RELAY_PARTS.items():
        values = draft.values(
            kind, entry.values, location=location, among=("coil", "contacts")
        )
        draft.add(
            Part(
                name=f"{name}.{part}",
                assembly=name,
                kind=kind,
                terminals=_relay_ends(ends, first, second),
                values=values,
                gate=None if kind == "coil" else f"{name}.coil",
                is_normally_closed=part == "contacts-87a",
                place=place,
                role=roles.get(part),
            ),
            location,
        )
    if entry.suppression == "diode":
        _add_suppression(name, draft, location, place=place)
    joined = {
        "86": entry.terminal_86,
        "85": entry.terminal_85,
        "87a": entry.terminal_87a,
    }
    for number, connection in joined.items():
        if connection is not None:
            draft.join(
                ends[number],
                connection,
                wire=f"{name}-{number}-wire",
                location=(*location, number),
                role=known_role(draft, "coil-feed") if number == "86" else None,
            )


def _relay_ends(ends: Mapping[str, str], first: str, second: str) -> dict[str, str]:
    """Return the terminals of a part of a relay.

    The contact at rest also knows where its feed is when 30 and 87 are exchanged.
    """
    terminals = {"a": ends[first], "b": ends[second]}
    return {**terminals, "swapped": ends["87"]} if second == "87a" else terminals


def known_role(draft: Draft, role: str) -> str | None:
    """Return a role that the file can't give, when knowledge/ has it."""
    return role if role in draft.knowledge.roles else None


def _add_suppression(
    name: str, draft: Draft, location: Location, *, place: str
) -> None:
    """Add the diode across a relay's coil, so that it blocks while the coil is fed.

    Terminal 86 is the fed side: it has the cathode, in a positive-ground car the anode.
    """
    ends = ("85", "86") if draft.hot_post == "plus" else ("86", "85")
    draft.add(
        Part(
            name=f"{name}.diode",
            assembly=name,
            kind="diode",
            terminals={"a": f"{name}.{ends[0]}", "b": f"{name}.{ends[1]}"},
            values=draft.values("diode", {}, location=location),
            place=place,
            role=known_role(draft, "suppression"),
        ),
        location,
    )


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
    role = draft.role(name, entry.load.kind, entry.role, location=location)
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind=entry.load.kind,
            terminals={"a": fed, "b": grounded},
            values=draft.values(
                entry.load.kind,
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
    if entry.ground.wire is None and entry.ground.to in METAL:
        add_joint(draft, ground, grounded, entry.ground.to, place_of_ground)
    else:
        draft.join(grounded, entry.ground, wire=ground, location=place_of_ground)


def add_joint(
    draft: Draft,
    name: str,
    terminal: str,
    metal: str,
    location: Location,
    *,
    given: Mapping[str, object] = MappingProxyType({}),
) -> None:
    """Bolt a terminal to metal.

    Parameters
    ----------
    draft : Draft
        The car being put together.
    name : str
        Name of the joint.
    terminal, metal : str
        What is bolted, and to what.
    location : Location
        The entry.
    given : Mapping[str, object]
        Values the file gives.
    """
    draft.ends.append((metal, (*location, "bolted-to")))
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind="joint",
            terminals={"a": terminal, "b": metal},
            values=draft.values("joint", given, location=location),
            place=draft.place_of(terminal),
        ),
        location,
    )
