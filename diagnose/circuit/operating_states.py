"""Operating states: what the owner has switched on, and how the engine turns.

Leaves which states a car has to its file, and which of its loads draw then to `car`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum


class DrawsWhen(Enum):
    """When a load takes its current, as far as its circuit is closed."""

    ALWAYS = "always"  # whenever it has volts
    ENGINE_TURNS = "engine-turns"  # milliamps while the engine stands


class ComesWith(Enum):
    """What a car must have to have an operating state.

    Attributes
    ----------
    EVERY_CAR
        Nothing more.
    FILE
        Its file writes the state; a car without switches has those that are like no
        other state too.
    NAMING
        Its file names the state.
    PRIMING
        An output that its controller turns on for some seconds as the key is turned.
    SWITCHES
        Switches that stay where they are put and that no other usual state with the
        engine stopped moves.
    HELD_SWITCHES
        The same of switches that spring back.
    """

    EVERY_CAR = "every-car"
    FILE = "file"
    NAMING = "naming"
    PRIMING = "priming"
    SWITCHES = "switches"
    HELD_SWITCHES = "held-switches"


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingState:
    """What the owner has switched on, and how the engine turns.

    Parameters
    ----------
    name, label : str
        Key (``idle-loaded``) and the words a person reads (``idling, lights on``).
    switch_positions : Mapping[str, str]
        Switch assembly to its position; a switch not named is in its first position.
    commands : frozenset[str]
        Names of the driver parts that their controller wants on.
    engine_rpm : float
        Crankshaft speed. [1/min]
    is_cranking : bool
        The starter is meant to turn the engine.
    is_engine_running : bool
        The state exists only while the engine runs by itself.
    is_battery_connected : bool
        False for the states in which ohms are measured.
    is_unplugged : bool
        Fuses and relays are pulled and loads unplugged: only the wires are left.
    lasts_seconds : float
        How long the car is in this state when a fuse has to stand it. [s]
    change_minutes : float
        Time to bring the car into this state. [min]
    needs_helper : bool
        A second person (or a remote starter switch) is needed.
    caution : str
        Key of a caution in knowledge/, or empty.
    after : str
        The state the car comes from: relays, controllers and what holds itself on start
        as they were there; empty: from rest.
    comes_with : ComesWith
        What a car must have to have this state.
    like : str
        The state whose switch positions this one begins with; empty: all at rest.
    otherwise : str
        The state in which symptoms of this one are looked for on a car that does not
        have it; empty where there is none.
    how : str
        What to do to take a reading in it, beyond bringing the car there; empty where
        that goes without saying.
    exists_when : str
        Symptom that must hold for the state to be reached (the engine keeps running);
        empty when it always can.
    """

    name: str
    label: str
    switch_positions: Mapping[str, str]
    commands: frozenset[str] = frozenset()
    engine_rpm: float = 0.0
    is_cranking: bool = False
    is_engine_running: bool = False
    is_battery_connected: bool = True
    is_unplugged: bool = False
    lasts_seconds: float = 600.0
    change_minutes: float = 0.5
    needs_helper: bool = False
    caution: str = ""
    after: str = ""
    comes_with: ComesWith = ComesWith.EVERY_CAR
    like: str = ""
    otherwise: str = ""
    how: str = ""
    exists_when: str = ""

    @property
    def is_engine_turning(self) -> bool:
        """Whether the crankshaft turns, or is meant to: cranking counts."""
        return self.is_cranking or self.engine_rpm > 0.0
