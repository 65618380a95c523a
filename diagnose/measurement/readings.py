"""Readings: what the meter was set to, where the leads were, in which state.

Leaves the predicted value to `faults` and its likelihood to `inference`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from diagnose.circuit.car import Car
from diagnose.circuit.protection import PROTECTIVE_KINDS
from diagnose.measurement.quantities import main_nodes

DROP_KINDS = frozenset(
    {"wire", "contacts", "switch-contact", "joint", *PROTECTIVE_KINDS}
)
CONSUMER_KINDS = frozenset(
    {"motor", "load", "lamp", "led-lamp", "controller", "coil", "starter"}
)


class ReadingKind(Enum):
    """What the meter was set to."""

    DC_VOLTS = "volts"
    AC_VOLTS = "ac"  # the alternator's ripple, across the battery
    OHMS = "ohms"
    AMPS = "amps"
    LOOK = "look"  # a look at a fuse: 1.0 blown, 0.0 sound


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One place and state to measure, without the value.

    Parameters
    ----------
    red, black : str
        Nodes of the leads; AC_VOLTS are read across the battery. For AMPS, `red` is the
        part the clamp is round and `black` is empty; for LOOK, `red` is the fuse and
        `black` is empty.
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


def proposable_readings(car: Car) -> tuple[Reading, ...]:
    """Return the readings worth ranking.

    Volts from every test point to the battery post in every state; AC volts across the
    battery while the engine runs; the drop along wires, contacts, fuses and studs, and
    across consumers, wherever current may flow; a look at every fuse; ohms to the
    battery post with the battery disconnected.
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
    found.update(dict.fromkeys(ripple_readings(car)))
    return tuple(found)


def _volts(state: str, red: str, black: str) -> Reading:
    return Reading(kind=ReadingKind.DC_VOLTS, state=state, red=red, black=black)
