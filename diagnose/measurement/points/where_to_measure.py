"""Where to measure: which readings of a car can be taken and are worth ranking.

Knows at which points, along which parts and in which states a meter's leads are put.
Leaves to `forbidden_points` where nothing may be read, to `lamp_points` where a test
lamp may be held, to `readings` what a reading is, to `session` which of them pay.

Ohms are never read at the plugs of controllers and ignition modules: a meter's current
may harm them, and what it shows there means nothing.

Without a clamp, amps are read in series with the key off only, where a sound car draws
less than `meters.SERIES_AMPS`: cranking or a load that is switched on would blow the
meter's fuse. The caution stands with the step, for a fault may draw more.

The alternator's ripple is a drop inside it, from its hidden terminal `rectifier` to its
output. What a meter on AC volts shows across the battery is told by that drop; what the
battery lets through of it is part of the value.
"""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.circuit.car import Car
from diagnose.circuit.elements import CONSUMER_KINDS, ELEMENTS
from diagnose.circuit.model import BOLTED_RELAY
from diagnose.circuit.operating_states import OperatingState
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.points.forbidden_points import (
    AIRBAG,
    ELECTRONIC_KINDS,
    airbag_points,
    electronic_points,
    inner_posts,
    live_posts,
    touched_points,
)
from diagnose.measurement.points.lamp_points import lamp_readings
from diagnose.measurement.quantities import main_nodes
from diagnose.measurement.readings import Reading, ReadingKind

# Kinds of part along which a drop is read while current flows. Rule of the trade: what
# carries current and should drop next to nothing.
DROP_KINDS = frozenset(
    {"wire", "contacts", "switch-contact", "joint", "clamp", "pin", *PROTECTIVE_KINDS}
)

# Kinds of part at which a drain is looked for, and how. Rule of the trade: amps at the
# battery, millivolts along a fuse that stays plugged in; a link is crimped and a
# breaker bolted, with no two points to put the leads on.
DRAIN_KINDS = {
    "battery": (ReadingKind.AMPS,),
    "fuse": (ReadingKind.FUSE,),
    "slow-fuse": (ReadingKind.FUSE,),
}

# Kinds of part whose main terminals carry more than a fused lead bears. Rule of the
# trade: all else on a car is behind a fuse of its own.
HEAVY_KINDS = frozenset({"battery", "starter", "alternator"})


def heavy_points(car: Car) -> frozenset[str]:
    """Return the nodes where the starter's current flows, or that of the alternator.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    frozenset[str]
        Posts of the battery, starter and its solenoid's contacts, alternator, engine
        and body.
    """
    heavy = {car.body}
    for part in car.parts:
        if part.kind in HEAVY_KINDS or (
            part.kind == "contacts" and part.role == BOLTED_RELAY
        ):
            heavy |= {
                part.terminals[name]
                for name in ELEMENTS[part.kind].terminals
                if name in part.terminals
            }
    joints = [set(p.terminals.values()) for p in car.parts if p.kind == "joint"]
    return frozenset(heavy.union(*(ends for ends in joints if ends & heavy)))


def clamp_parts(car: Car) -> tuple[str, ...]:
    """Return the parts a current can be read at: protection and the battery.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[str, ...]
        Their names, in the car's order.
    """
    return tuple(
        part.name
        for part in car.parts
        if part.kind in PROTECTIVE_KINDS or part.kind == "battery"
    )


def is_at_rest(state: OperatingState) -> bool:
    """Return whether nothing is switched on and the engine stands: key off.

    Parameters
    ----------
    state : OperatingState
        Any state.

    Returns
    -------
    bool
        False where the battery is disconnected.
    """
    return state.is_battery_connected and not (
        state.switch_positions
        or state.commands
        or state.is_cranking
        or state.engine_rpm
    )


def ripple_nodes(car: Car) -> tuple[str, str] | None:
    """Return the nodes whose volts stand for what a meter on AC volts shows.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[str, str] or None
        Of the first alternator that tells its ripple; None if there is none.
    """
    for part in car.parts:
        if part.kind == "alternator" and "rectifier" in part.terminals:
            return part.terminals["rectifier"], part.terminals["output"]
    return None


def ripple_readings(car: Car) -> tuple[Reading, ...]:
    """Return the AC volts across the battery, in every state with a running engine.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[Reading, ...]
        None without an alternator that tells its ripple.
    """
    if ripple_nodes(car) is None:
        return ()
    posts = live_posts(car)
    return tuple(
        Reading(
            kind=ReadingKind.AC_VOLTS,
            state=state.name,
            red=post,
            black=car.reference,
        )
        for post in posts
        if post in car.test_points
        for state in car.states
        if state.is_engine_running
    )


def drain_readings(car: Car) -> tuple[Reading, ...]:
    """Return where a drain is looked for at rest: at the battery, along each fuse.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[Reading, ...]
        In every state at rest, see `is_at_rest`; of batteries in series at one.
    """
    return tuple(
        Reading(kind=kind, state=state.name, red=part.name, black="")
        for state in car.states
        if is_at_rest(state)
        for part in car.parts
        if part.volts_share == 1.0 or car.reference in part.terminals.values()
        for kind in DRAIN_KINDS.get(part.kind, ())
    )


def meaningless_ohms(reading: Reading, car: Car) -> str:
    """Return the electronic part whose own ohms a reading is of, which mean nothing.

    Parameters
    ----------
    reading : Reading
        Any reading.
    car : Car
        The car.

    Returns
    -------
    str
        The part's name; empty where ohms mean something: along a wire to the part, or
        where the part is unplugged.

    Notes
    -----
    Semiconductors show a meter anything, by its test volts and polarity (rule of the
    trade).
    """
    if reading.kind is not ReadingKind.OHMS:
        return ""
    leads = {reading.red, reading.black}
    is_unplugged = car.state(reading.state).is_unplugged
    for part in car.parts:
        element = ELEMENTS[part.kind]
        if not element.is_electronic or (is_unplugged and element.is_pluggable):
            continue
        fed, other = main_nodes(part)
        if fed in leads and leads & {other, car.reference}:
            return part.name
    return ""


def _no_ohms_at(car: Car) -> frozenset[str]:
    """Return the nodes no ohms are proposed at: those that electronics are fed at.

    At a controller it is every terminal: no probe belongs into its plugs. Between
    batteries in series one of them would drive the meter.
    """
    found: set[str] = set(inner_posts(car))
    for part in car.parts:
        if part.kind in ELECTRONIC_KINDS:
            found.update(part.terminals.values())
        elif ELEMENTS[part.kind].is_electronic:
            found.add(main_nodes(part)[0])
    return frozenset(found)


def proposable_readings(car: Car) -> tuple[Reading, ...]:
    """Return the readings of a car that are worth ranking.

    Parameters
    ----------
    car : Car
        The car.

    Returns
    -------
    tuple[Reading, ...]
        Each of them once.

    Notes
    -----
    Volts from every test point to the battery post in every state; AC volts across the
    battery while the engine runs; the drop along wires, contacts, fuses and studs, and
    across consumers, wherever current may flow, and across each of the batteries in
    series; a look at every fuse; with the key off millivolts along every fuse and amps
    at the battery; ohms to the battery post with the battery disconnected, except at
    electronics; a test lamp where it does no harm.
    """
    found: dict[Reading, None] = {}
    states = [state for state in car.states if state.is_battery_connected]
    isolated = [state for state in car.states if not state.is_battery_connected]
    no_ohms = _no_ohms_at(car) | electronic_points(car)
    loaded = [state for state in states if not is_at_rest(state)]
    for node in car.test_points:
        if node == car.reference:
            continue
        for state in states:
            found.setdefault(_volts(state.name, node, car.reference))
        for state in () if node in no_ohms else isolated:
            found.setdefault(
                Reading(
                    kind=ReadingKind.OHMS,
                    state=state.name,
                    red=node,
                    black=car.reference,
                )
            )
    for part in car.parts:
        is_in_series = part.volts_share < 1.0
        if part.kind not in DROP_KINDS | CONSUMER_KINDS and not is_in_series:
            continue
        first, second = main_nodes(part)
        if first in car.test_points and second in car.test_points:
            for state in states if is_in_series else loaded:
                found.setdefault(_volts(state.name, first, second))
        if part.kind in PROTECTIVE_KINDS:
            found.setdefault(
                Reading(
                    kind=ReadingKind.LOOK,
                    state=car.states[0].name,
                    red=part.name,
                    black="",
                )
            )
    found.update(dict.fromkeys(drain_readings(car)))
    found.update(dict.fromkeys(ripple_readings(car)))
    found.update(dict.fromkeys(lamp_readings(car)))
    return _away_from_airbags(found, car)


def _away_from_airbags(readings: Iterable[Reading], car: Car) -> tuple[Reading, ...]:
    """Return the readings that touch nothing near an airbag."""
    forbidden = airbag_points(car)
    places = {place.name for place in car.places.values() if place.caution == AIRBAG}
    if not places:
        return tuple(readings)
    return tuple(
        reading
        for reading in readings
        if not touched_points(reading, car) & forbidden
        and (reading.black or car.part(reading.red).place not in places)
    )


def _volts(state: str, red: str, black: str) -> Reading:
    return Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=black)
