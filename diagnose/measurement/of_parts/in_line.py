"""What is in line with a load: its fuse, its wires, and what hangs on a relay."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet

from diagnose.circuit.car import Car, Part
from diagnose.circuit.elements import LOAD_KINDS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.quantities import main_nodes

# Kinds of part that a circuit goes on through. By definition.
IN_LINE_KINDS = frozenset(
    {"wire", "joint", "clamp", "pin", "contacts", "switch-contact", "driver"}
)


# How many parts in line a load is from its fuse at most. [1] Own choice: fuse, wire,
# relay or switch, plug and the wires between them.
LONGEST_WAY = 14


def parts_at(car: Car) -> Mapping[str, Sequence[Part]]:
    """Return each node's parts.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    Mapping[str, Sequence[Part]]
        Node to the parts with a terminal there.
    """
    found: dict[str, list[Part]] = {}
    for part in car.parts:
        for node in part.terminals.values():
            found.setdefault(node, []).append(part)
    return found


def crowded_nodes(car: Car) -> AbstractSet[str]:
    """Return the nodes that too much hangs on to be in line: posts, body, engine.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    AbstractSet[str]
        Their names.
    """
    found = {car.reference, car.body}
    for part in car.parts:
        if part.kind in ("battery", "alternator", "starter"):
            found.update(part.terminals.values())
    return found


def way_to_fuse(
    load: Part, at: Mapping[str, Sequence[Part]], metal: AbstractSet[str]
) -> tuple[Part, ...]:
    """Return the parts in line from a load to the nearest fuse.

    Parameters
    ----------
    load : Part
        Where the way begins.
    at : Mapping[str, Sequence[Part]]
        Each node's parts, see `parts_at`.
    metal : AbstractSet[str]
        Nodes that end a line, see `crowded_nodes`.

    Returns
    -------
    tuple[Part, ...]
        The fuse last; empty where there is none.
    """
    ways: list[tuple[str, tuple[Part, ...]]] = [
        (node, ()) for node in main_nodes(load) if node not in metal
    ]
    seen = {node for node, _ in ways}
    while ways:
        node, way = ways.pop(0)
        for part in at[node]:
            if part is load or part in way:
                continue
            if part.kind in PROTECTIVE_KINDS:
                return (*way, part)
            if part.kind not in IN_LINE_KINDS or len(way) >= LONGEST_WAY:
                continue
            for other in main_nodes(part):
                if other not in seen and other not in metal:
                    seen.add(other)
                    ways.append((other, (*way, part)))
    return ()


def own_wires(
    load: Part, way: Sequence[Part], at: Mapping[str, Sequence[Part]]
) -> list[str]:
    """Return the wires at a load's terminals that its fuse is not behind.

    Parameters
    ----------
    load : Part
        The load.
    way : Sequence[Part]
        From it to its fuse, see `way_to_fuse`.
    at : Mapping[str, Sequence[Part]]
        Each node's parts, see `parts_at`.

    Returns
    -------
    list[str]
        Their names.
    """
    return [
        part.name
        for node in main_nodes(load)
        for part in at[node]
        if part.kind == "wire" and part not in way
    ]


def loads_behind(
    contacts: Part, at: Mapping[str, Sequence[Part]], metal: AbstractSet[str]
) -> AbstractSet[str]:
    """Return the loads and controllers on the far side of a relay's contacts.

    Parameters
    ----------
    contacts : Part
        Of the relay.
    at : Mapping[str, Sequence[Part]]
        Each node's parts, see `parts_at`.
    metal : AbstractSet[str]
        Nodes that end a line, see `crowded_nodes`.

    Returns
    -------
    AbstractSet[str]
        Their names.
    """
    found: set[str] = set()
    nodes = [main_nodes(contacts)[1]]
    seen = {*main_nodes(contacts)}
    while nodes:
        for part in at[nodes.pop()]:
            if part.kind in LOAD_KINDS or part.kind == "controller":
                found.add(part.name)
            elif part.kind in PROTECTIVE_KINDS or part.kind in IN_LINE_KINDS:
                ends = main_nodes(part)
                fresh = [one for one in ends if one not in seen and one not in metal]
                seen.update(fresh)
                nodes += fresh
    return found
