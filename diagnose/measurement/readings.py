"""Readings: what the meter was set to, where the leads were, in which state.

Leaves the predicted value to `faults` and its likelihood to `inference`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from diagnose.circuit.car import Car, OperatingState, Part
from diagnose.circuit.elements import CONSUMER_KINDS
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.meters import Meter, MeterRange
from diagnose.measurement.quantities import main_nodes
from diagnose.units import Unit

DROP_KINDS = frozenset(
    {"wire", "contacts", "switch-contact", "joint", *PROTECTIVE_KINDS}
)

ELECTRONIC_KINDS = frozenset({"controller", "driver"})


class ReadingKind(Enum):
    """What the meter was set to."""

    DC_VOLTS = "volts"
    AC_VOLTS = "ac"  # the alternator's ripple, across the battery
    OHMS = "ohms"
    AMPS = "amps"
    FUSE = "fuse"  # volts along a fuse, turned into amps by its resistance
    LAMP = "lamp"  # a test lamp: its grade, 0 dark, 0.5 dim, 1 lit
    LOOK = "look"  # a look at a fuse: 1.0 blown, 0.0 sound

    @property
    def unit(self) -> Unit | None:
        """The unit its value is kept in; None for what is told in words."""
        return _UNITS.get(self)


_UNITS = {
    ReadingKind.DC_VOLTS: Unit.VOLTS,
    ReadingKind.AC_VOLTS: Unit.VOLTS,
    ReadingKind.OHMS: Unit.OHMS,
    ReadingKind.AMPS: Unit.AMPS,
    ReadingKind.FUSE: Unit.VOLTS,
}


DRAIN_KINDS = {
    "battery": (ReadingKind.AMPS,),
    "fuse": (ReadingKind.FUSE,),
    "slow-fuse": (ReadingKind.FUSE,),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One place and state to measure, without the value.

    Parameters
    ----------
    red, black : str
        Nodes of the leads; AC_VOLTS are read across the battery, and a LAMP's clip is
        on one of its posts. For AMPS, `red` is the part the clamp is round and `black`
        is empty; for FUSE and LOOK, `red` is the fuse and `black` is empty.
    """

    kind: ReadingKind
    state: str
    red: str
    black: str

    @property
    def name(self) -> str:
        """Key, e.g. ``volts|cranking|pump.plus|battery.minus``."""
        return "|".join((self.kind.value, self.state, self.red, self.black))


def clamp_parts(car: Car) -> tuple[str, ...]:
    """Return the parts a current can be read at: protection and the battery."""
    return tuple(
        part.name
        for part in car.parts
        if part.kind in PROTECTIVE_KINDS or part.kind == "battery"
    )


def is_at_rest(state: OperatingState) -> bool:
    """Return whether nothing is switched on and the engine stands: key off."""
    return state.is_battery_connected and not (
        state.switch_positions
        or state.commands
        or state.is_cranking
        or state.engine_rpm
    )


def fuse_ohms(fuse: Part) -> float:
    """Return the resistance that turns the volts along a fuse into amps. [Ω]."""
    return fuse.values["ohms"].distribution.nominal


def fuse_tolerance(fuse: Part) -> float:
    """Return the standard deviation of a fuse's resistance, as a share of it. [1].

    Half the middle 68 %.
    """
    low, high = fuse.values["ohms"].distribution.quantile(np.array([0.16, 0.84]))
    return float(0.5 * (high - low)) / fuse_ohms(fuse)


def ripple_nodes(car: Car) -> tuple[str, str] | None:
    """Return the nodes between which the ripple is told, or None without alternator.

    The volts between them stand for what a meter on AC volts shows across the battery.
    """
    for part in car.parts:
        if part.kind == "alternator" and "rectifier" in part.terminals:
            return part.terminals["rectifier"], part.terminals["output"]
    return None


def ripple_readings(car: Car) -> tuple[Reading, ...]:
    """Return the AC volts across the battery, in every state with a running engine."""
    if ripple_nodes(car) is None:
        return ()
    posts = [
        node
        for part in car.parts
        if part.kind == "battery"
        for node in part.terminals.values()
        if node != car.reference
    ]
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

    Only a fuse that is plugged in has two points to put the leads on.
    """
    return tuple(
        Reading(kind=kind, state=state.name, red=part.name, black="")
        for state in car.states
        if is_at_rest(state)
        for part in car.parts
        for kind in DRAIN_KINDS.get(part.kind, ())
    )


def battery_posts(car: Car) -> frozenset[str]:
    """Return the nodes of the battery's two posts."""
    posts = (p.terminals.values() for p in car.parts if p.kind == "battery")
    return frozenset(node for both in posts for node in both)


def unfit_for_lamp(car: Car) -> frozenset[str]:
    """Return the nodes at which a test lamp could do harm.

    The terminals of what holds a controller, all that a wire leads to from its outputs,
    and every place with an airbag; never what is grounded or a post of the battery.
    """
    electronic = [p for p in car.parts if p.kind in ELECTRONIC_KINDS]
    assemblies = {part.assembly for part in electronic}
    unfit = {
        node
        for part in car.parts
        if part in electronic or part.assembly in assemblies
        for node in part.terminals.values()
    }
    outputs = {p.terminals["out"] for p in electronic if p.kind == "driver"}
    airbags = {p.name for p in car.places.values() if p.caution == "airbag"}
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


def proposable_readings(car: Car) -> tuple[Reading, ...]:
    """Return the readings worth ranking.

    Volts from every test point to the battery post in every state; AC volts across the
    battery while the engine runs; the drop along wires, contacts, fuses and studs, and
    across consumers, wherever current may flow; a look at every fuse; with the key off
    millivolts along every fuse and amps at the battery; ohms to the battery post with
    the battery disconnected; a test lamp where it does no harm.
    """
    found: dict[Reading, None] = {}
    states = [state for state in car.states if state.is_battery_connected]
    isolated = [state for state in car.states if not state.is_battery_connected]
    loaded = [s for s in states if s.commands or s.is_cranking or s.engine_rpm > 0]
    for node in car.test_points:
        if node == car.reference:
            continue
        for state in states:
            found.setdefault(_volts(state.name, node, car.reference))
        for state in isolated:
            found.setdefault(
                Reading(
                    kind=ReadingKind.OHMS,
                    state=state.name,
                    red=node,
                    black=car.reference,
                )
            )
    for part in car.parts:
        if part.kind not in DROP_KINDS | CONSUMER_KINDS:
            continue
        first, second = main_nodes(part)
        if first in car.test_points and second in car.test_points:
            for state in loaded:
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
    return tuple(found)


def _volts(state: str, red: str, black: str) -> Reading:
    return Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=black)


def meter_range(kind: ReadingKind, meter: Meter) -> MeterRange | None:
    """Return the meter's range for a kind of reading, None where it has no error."""
    return {
        ReadingKind.DC_VOLTS: meter.volts,
        ReadingKind.OHMS: meter.ohms,
        ReadingKind.AMPS: meter.amps,
        ReadingKind.AC_VOLTS: meter.ac_volts,
        ReadingKind.FUSE: meter.millivolts,
    }.get(kind)
