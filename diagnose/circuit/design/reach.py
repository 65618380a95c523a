"""Which points metal joins: what a fuse feeds, and what no fuse protects.

Every switch, contact and output counts as closed, since each of them may be.
"""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.circuit.car import Car, Part
from diagnose.circuit.protection import PROTECTIVE_KINDS

# Kinds of part that are always closed in a sound car.
METAL_KINDS = frozenset(("wire", "joint", "clamp", "pin", *PROTECTIVE_KINDS))

# Kinds of part that are closed at least in some state.
CONDUCTOR_KINDS = METAL_KINDS | frozenset(
    ("switch-contact", "contacts", "driver", "resistor", "diode")
)

# Kinds of part that keep a short circuit behind them small.
LIMITING_KINDS = frozenset(("resistor",))


# The role of a diode across a coil.
SUPPRESSION_ROLE = "suppression"


def hot_post(car: Car) -> str:
    """Return the post of the battery that is not grounded.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    str
        A node.
    """
    posts = ("battery.plus", "battery.minus")
    return posts[1] if car.reference == posts[0] else posts[0]


def reached(conductors: Iterable[Part], starts: Iterable[str]) -> frozenset[str]:
    """Return the nodes that conductors join to the starts.

    Parameters
    ----------
    conductors : Iterable[Part]
        Each joins its first two terminals.
    starts : Iterable[str]
        Nodes, among those returned.

    Returns
    -------
    frozenset[str]
        Nodes.
    """
    neighbours: dict[str, list[str]] = {}
    for part in conductors:
        first, second = tuple(part.terminals.values())[:2]
        neighbours.setdefault(first, []).append(second)
        neighbours.setdefault(second, []).append(first)
    seen = set(starts)
    waiting = list(seen)
    while waiting:
        for node in neighbours.get(waiting.pop(), []):
            if node not in seen:
                seen.add(node)
                waiting.append(node)
    return frozenset(seen)


def is_copper(part: Part) -> bool:
    """Return whether a part is a wire of copper, not of resistance wire.

    Parameters
    ----------
    part : Part
        Any part.

    Returns
    -------
    bool
        True of a wire whose cross-section is given.
    """
    return part.kind == "wire" and "area_mm2" in part.values


def fed_wires(car: Car, fuse: Part) -> tuple[Part, ...]:
    """Return the wires a fuse alone protects: up to loads and to the next fuses.

    What lies behind a resistance is left out, as that keeps a short circuit small; so
    is the side of the fuse that the battery feeds past it.

    Parameters
    ----------
    car : Car
        The car.
    fuse : Part
        A fuse, link or breaker of it.

    Returns
    -------
    tuple[Part, ...]
        In the order of the car's parts.
    """
    conductors = _unfused_conductors(car)
    others = [
        part for part in car.parts if part.kind in PROTECTIVE_KINDS and part is not fuse
    ]
    supplied = reached([*conductors, *others], [hot_post(car)])
    wires: dict[str, Part] = {}
    for node in fuse.terminals.values():
        if node in supplied:
            continue
        beyond = reached(conductors, [node])
        for part in conductors:
            if part.kind == "wire" and beyond & set(part.terminals.values()):
                wires[part.name] = part
    return tuple(wires.values())


def unfused_wires(car: Car) -> tuple[Part, ...]:
    """Return the wires that nothing opens when they are shorted to ground.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[Part, ...]
        Those joined to the battery without fuse, link or breaker in between, in the
        order of the car's parts.
    """
    conductors = _unfused_conductors(car)
    supplied = reached(conductors, [hot_post(car)])
    return tuple(
        part
        for part in conductors
        if part.kind == "wire" and set(part.terminals.values()) & supplied
    )


def nodes_behind(car: Car, part: Part) -> frozenset[str]:
    """Return the nodes that have no supply once a part is out.

    Parameters
    ----------
    car : Car
        The car.
    part : Part
        A conductor of it, such as a fuse.

    Returns
    -------
    frozenset[str]
        Nodes.
    """
    conductors = _off_ground(
        car, [one for one in car.parts if one.kind in CONDUCTOR_KINDS]
    )
    with_it = reached(conductors, [hot_post(car)])
    others = [one for one in conductors if one.name != part.name]
    return with_it - reached(others, [hot_post(car)])


def _unfused_conductors(car: Car) -> list[Part]:
    """Return what carries a short circuit as far as the next fuse or load."""
    kinds = CONDUCTOR_KINDS - set(PROTECTIVE_KINDS) - LIMITING_KINDS
    return _off_ground(
        car,
        [
            part
            for part in car.parts
            if part.kind in kinds and (part.kind != "wire" or is_copper(part))
        ],
    )


def _off_ground(car: Car, conductors: Iterable[Part]) -> list[Part]:
    """Return the conductors that do not end on the grounded post.

    A diode across a coil blocks what the battery drives, so it joins nothing here.
    """
    return [
        part
        for part in conductors
        if car.reference not in tuple(part.terminals.values())[:2]
        and part.role != SUPPRESSION_ROLE
    ]
