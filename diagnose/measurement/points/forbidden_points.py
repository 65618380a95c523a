"""Points at which people or electronics come to harm: airbags and electronic plugs.

Near an airbag, and at what is wired out of such a place, nothing is read at all: the
small current of a meter on ohms, or a slipped lead, may fire it. At the plugs of a
controller and at an ignition module a meter reads volts from behind the plug; a test
lamp, a bare probe and ohms are kept from them.

Leaves to `lamp_points` what else a lamp is kept from, to `where_to_measure` what is
proposed, and to knowledge/ the words of the cautions.
"""

from __future__ import annotations

from diagnose.circuit.car import Car
from diagnose.circuit.elements import ELEMENTS
from diagnose.measurement.readings import Reading, ReadingKind

# Caution of a place at which an airbag or a belt tensioner may be fired. Key of
# knowledge/cautions.yaml.
AIRBAG = "airbag"

# Caution of a place at which ignition voltage may be met. Key of
# knowledge/cautions.yaml.
IGNITION = "ignition"

# Kinds of part that are electronics. By definition.
ELECTRONIC_KINDS = frozenset({"controller", "driver"})

# Role of an ignition module and its coil. By definition.
IGNITION_ROLE = "ignition"

# Kinds of part that lead on from a point without a fuse, a switch or a load between. By
# definition.
CONDUCTOR_KINDS = frozenset({"wire", "joint", "clamp", "pin"})


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


def live_posts(car: Car) -> tuple[str, ...]:
    """Return the post of the car's battery that is not grounded.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[str, ...]
        The outer one of batteries in series, none of a second battery; empty without a
        battery.
    """
    posts = () if car.battery is None else car.battery.terminals.values()
    return tuple(post for post in posts if post != car.reference)


def inner_posts(car: Car) -> frozenset[str]:
    """Return the nodes of the posts between batteries in series.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        Empty where no battery has another one in series.
    """
    outer = () if car.battery is None else car.battery.terminals.values()
    series = (p.terminals.values() for p in car.parts if p.volts_share < 1.0)
    return frozenset(node for both in series for node in both) - frozenset(outer)


def wired_to(nodes: set[str], car: Car) -> set[str]:
    """Return nodes and all that wires and joints lead to from them.

    Parameters
    ----------
    nodes : set[str]
        Where to start.
    car : Car
        The car.

    Returns
    -------
    set[str]
        As far as the next fuse, switch or load.
    """
    ends = [set(p.terminals.values()) for p in car.parts if p.kind in CONDUCTOR_KINDS]
    found = set(nodes)
    while reached := {n for one in ends if one & found for n in one} - found:
        found |= reached
    return found


def airbag_points(car: Car) -> frozenset[str]:
    """Return the nodes at which nothing is read, for an airbag's sake.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        Every point at a place with an airbag; the far end of every wire that leads out
        of it, and what is wired on from there as far as the next fuse, switch or load.
        A ground wire ends at the stud that it is bolted to. Never a post of the
        battery.
    """
    places = {place.name for place in car.places.values() if place.caution == AIRBAG}
    if not places:
        return frozenset()
    near = {node for node, place in car.test_points.items() if place in places}
    near |= {
        node
        for part in car.parts
        if part.place in places and part.kind not in CONDUCTOR_KINDS
        for node in part.terminals.values()
        if car.test_points.get(node, part.place) == part.place
    }
    wires = [set(p.terminals.values()) for p in car.parts if p.kind == "wire"]
    led_out = {node for ends in wires if ends & near for node in ends}
    fed = (near | led_out) - wired_to({car.reference}, car)
    return frozenset((near | led_out | wired_to(fed, car)) - battery_posts(car))


def electronic_points(car: Car) -> frozenset[str]:
    """Return the terminals of controllers, their outputs and ignition modules.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        Those of the whole that holds one, and every point at a place where ignition
        voltage may be met. Never a post of the battery.
    """
    electronic = [
        part
        for part in car.parts
        if part.kind in ELECTRONIC_KINDS or part.role == IGNITION_ROLE
    ]
    assemblies = {part.assembly for part in electronic}
    places = {place.name for place in car.places.values() if place.caution == IGNITION}
    found = {
        node
        for part in car.parts
        if part.assembly in assemblies
        for node in part.terminals.values()
    }
    near = {node for node, place in car.test_points.items() if place in places}
    return frozenset((found | near) - battery_posts(car))


def touched_points(reading: Reading, car: Car) -> frozenset[str]:
    """Return the nodes a reading touches or surrounds.

    Parameters
    ----------
    reading : Reading
        What is read.
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        Those of the leads; of a fuse or a clamped part its terminals; none for a look.
    """
    if reading.kind is ReadingKind.LOOK:
        return frozenset()
    if not reading.black:
        part = car.part(reading.red)
        names = ELEMENTS[part.kind].terminals
        return frozenset(part.terminals[name] for name in names)
    return frozenset({reading.red, reading.black})


def airbag_point_of(reading: Reading, car: Car) -> str:
    """Return the point that forbids a reading for an airbag's sake.

    Parameters
    ----------
    reading : Reading
        What is read.
    car : Car
        The car.

    Returns
    -------
    str
        A node, or a fuse that is looked at or clamped; empty where nothing forbids it.
    """
    if not reading.black:
        place = car.places.get(car.part(reading.red).place)
        if place is not None and place.caution == AIRBAG:
            return reading.red
    return min(touched_points(reading, car) & airbag_points(car), default="")
