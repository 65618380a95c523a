"""Where a test lamp may be held, and where it is worth it.

A lamp loads what it touches. It is never held at a controller or its outputs, which its
current may harm, and never where an airbag is near, which it may fire. What a lamp may
hurt has to be known before it is held there, so both the proposals and the check of a
typed reading ask here.

It is read against a post of the battery only: the resistance of a point to the
reference is what predictions hold.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.measurement.readings import Reading, ReadingKind

# Kinds of part whose terminals a test lamp may harm. Rule of the trade.
ELECTRONIC_KINDS = frozenset({"controller", "driver"})

# Caution of a place at which something may be fired by a test lamp's current. Key of
# knowledge/cautions.yaml.
AIRBAG = "airbag"


def battery_posts(car: Car) -> frozenset[str]:
    """Return the nodes of the battery's two posts.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        Of every battery it has.
    """
    posts = (p.terminals.values() for p in car.parts if p.kind == "battery")
    return frozenset(node for both in posts for node in both)


def unfit_for_lamp(car: Car) -> frozenset[str]:
    """Return the nodes at which a test lamp could do harm.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        The terminals of what holds a controller; what wires and joints lead to from its
        outputs, unless they ground it; every point at a place with an airbag. Never a
        post of the battery.
    """
    electronic = [p for p in car.parts if p.kind in ELECTRONIC_KINDS]
    assemblies = {part.assembly for part in electronic}
    unfit = {
        node
        for part in car.parts
        if part.assembly in assemblies
        for node in part.terminals.values()
    }
    outputs = {p.terminals["out"] for p in electronic if p.kind == "driver"}
    airbags = {p.name for p in car.places.values() if p.caution == AIRBAG}
    near = {node for node, place in car.test_points.items() if place in airbags}
    wired = _wired_to(outputs, car) - _wired_to({car.reference}, car)
    return frozenset((unfit | wired | near) - battery_posts(car))


def _wired_to(nodes: set[str], car: Car) -> set[str]:
    """Return nodes and all that wires and joints lead to from them."""
    ends = [set(p.terminals.values()) for p in car.parts if p.kind in {"wire", "joint"}]
    found = set(nodes)
    while reached := {n for one in ends if one & found for n in one} - found:
        found |= reached
    return found


def lamp_readings(car: Car) -> tuple[Reading, ...]:
    """Return where a test lamp is worth ranking: feeds and grounds with the engine off.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[Reading, ...]
        At no point that is unfit for it, and in no state with the engine turning.

    Notes
    -----
    Its clip is on the battery's grounded post for a feed, on the other one for what is
    wired to ground.
    """
    posts, unfit = battery_posts(car), unfit_for_lamp(car)
    fed = [post for post in sorted(posts - {car.reference}) if post in car.test_points]
    grounds = _wired_to({car.reference}, car)
    states = [
        state.name
        for state in car.states
        if state.is_battery_connected and not (state.is_cranking or state.engine_rpm)
    ]
    points = [node for node in car.test_points if node not in unfit | posts]
    pairs = [(node, car.reference) for node in points if node not in grounds]
    pairs += [(post, node) for post in fed for node in points if node in grounds]
    return tuple(
        Reading(kind=ReadingKind.LAMP, state=state, red=red, black=black)
        for red, black in pairs
        for state in states
    )
