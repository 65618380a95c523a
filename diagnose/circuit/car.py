"""The car as records: parts with terminals and values, operating states, places.

Knows what a car *is*. Leaves to `elements` and `parts` how a part carries current, to
`files` how a car is written down, and to `faults` how a part fails.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from statistics import NormalDist
from types import MappingProxyType

import numpy as np

from diagnose.arrays import FloatArray

# Inverse of the standard normal distribution, of the standard library: importing
# scipy.special would take a quarter of a second (measured).
_normal_quantile = np.vectorize(NormalDist().inv_cdf, otypes=[np.float64])


class Shape(Enum):
    """Which family a `Distribution` is of, and what its two numbers mean."""

    FIXED = "fixed"  # first: the value
    LOGNORMAL = "lognormal"  # first: median; second: standard deviation of ln(value)
    NORMAL = "normal"  # first: mean; second: standard deviation
    UNIFORM = "uniform"  # first: low; second: high
    LOGUNIFORM = "loguniform"  # first: low (> 0); second: high


@dataclass(frozen=True, slots=True, kw_only=True)
class Distribution:
    """A quantity that is not known exactly, in the unit of its parameter's name.

    Parameters
    ----------
    shape : Shape
        Which family it is of.
    first, second : float
        What describes it, as `Shape` says for each family.
    """

    shape: Shape
    first: float
    second: float = 0.0

    @property
    def nominal(self) -> float:
        """The median."""
        if self.shape is Shape.UNIFORM:
            return 0.5 * (self.first + self.second)
        if self.shape is Shape.LOGUNIFORM:
            return float(np.sqrt(self.first * self.second))
        return self.first

    def quantile(self, probability: FloatArray) -> FloatArray:
        """Return the values below which the given probabilities lie.

        Parameters
        ----------
        probability : FloatArray
            Any shape, strictly between 0 and 1. [1]

        Returns
        -------
        FloatArray
            Same shape, in the unit of the quantity.

        Examples
        --------
        >>> between = Distribution(shape=Shape.UNIFORM, first=2.0, second=4.0)
        >>> between.quantile(np.array([0.25]))
        array([2.5])
        """
        if self.shape is Shape.FIXED:
            return np.full_like(probability, self.first)
        if self.shape is Shape.UNIFORM:
            return self.first + probability * (self.second - self.first)
        if self.shape is Shape.LOGUNIFORM:
            ratio = self.second / self.first
            return np.asarray(self.first * ratio**probability, dtype=np.float64)
        deviation = np.asarray(_normal_quantile(probability), dtype=np.float64)
        if self.shape is Shape.NORMAL:
            return np.asarray(self.first + self.second * deviation)
        return np.asarray(self.first * np.exp(self.second * deviation))


def fixed(value: float) -> Distribution:
    """Return a distribution that is one value for certain.

    Parameters
    ----------
    value : float
        In the unit of the quantity.

    Returns
    -------
    Distribution
        Every quantile of which is that value.
    """
    return Distribution(shape=Shape.FIXED, first=value)


class DrawsWhen(Enum):
    """When a load takes its current, as far as its circuit is closed."""

    ALWAYS = "always"  # whenever it has volts
    ENGINE_TURNS = "engine-turns"  # milliamps while the engine stands


class Origin(Enum):
    """Where a value comes from."""

    CAR_FILE = "car file"
    DEFAULT = "default"


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One value of a part: how much, how sure, and who says so.

    Parameters
    ----------
    distribution : Distribution
        How much, and how sure that is.
    origin : Origin
        The car file, or a default.
    source : str
        What the knowledge file gives as its source.
    """

    distribution: Distribution
    origin: Origin
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part with its terminals: the smallest thing that can fail.

    A relay is two parts (coil, contacts) of one assembly; a controller is one
    `controller` and a `driver` for each output.

    Parameters
    ----------
    name : str
        Unique, such as ``pump-relay.coil``; a part that is an assembly of its own has
        the assembly's name.
    assembly : str
        What is bought and swapped as a whole, such as ``pump-relay``.
    kind : str
        A key of `elements.ELEMENTS`.
    terminals : Mapping[str, str]
        The kind's terminal (``a``, ``b``, ``supply`` ...) to the node it sits on; nodes
        are named ``assembly.terminal``, such as ``pump-relay.30``.
    values : Mapping[str, Value]
        Parameter to value; the unit ends the parameter's name.
    closed_in : frozenset[str]
        For a switch contact: the positions of its switch in which it is closed.
    gate : str or None
        Name of the part that opens and closes this one (contacts: the coil; driver:
        the controller).
    is_normally_closed : bool
        For relay contacts: the 87a contact.
    place : str
        A key of `Car.places`.
    role : str or None
        What it does for the car (``fuel-pump``, ``starter`` ...); symptoms ask by role.
    draws_when : DrawsWhen
        For a load: when it takes its current.
    members : tuple[str, ...]
        For a plug, a run or batteries in series: names of the parts that it is made of;
        it has no branches of its own.
    stud_beside : tuple[str, str] or None
        For a wire: which of its ends sits on a stud that has another one beside it, or
        behind a fuse of a panel that has another half; and the node of that one. For a
        pin: its end, and the node of the pin beside it in the plug.
    line : int
        Line of the car file that declares it; 0 when none.
    colour : str
        Of a wire: the colour of its insulation, such as ``red/white``; or empty.
    note : str
        What the owner says of it, or empty.
    volts_share : float
        Share of the system's volts that it is made for: a half for a battery that has
        another one in series. [1]
    """

    name: str
    assembly: str
    kind: str
    terminals: Mapping[str, str]
    values: Mapping[str, Value] = field(default_factory=lambda: MappingProxyType({}))
    closed_in: frozenset[str] = frozenset()
    gate: str | None = None
    is_normally_closed: bool = False
    place: str = ""
    role: str | None = None
    draws_when: DrawsWhen = DrawsWhen.ALWAYS
    members: tuple[str, ...] = ()
    stud_beside: tuple[str, str] | None = None
    line: int = 0
    colour: str = ""
    note: str = ""
    volts_share: float = 1.0


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where on the car something is, and how long it takes to get at it.

    Parameters
    ----------
    name : str
        A key of `Car.places`.
    minutes : float
        Time until the probe is on the terminal. [min]
    caution : str
        Key of a caution in knowledge/, or empty.
    """

    name: str
    minutes: float
    caution: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """One car, complete: what the solver and the diagnosis work on.

    Parameters
    ----------
    name, title : str
        Key and the words a person reads.
    system_volts : float
        6, 12 or 24. [V]
    reference : str
        The node voltages count from: the battery post that is grounded.
    body : str
        The node that wire insulation leaks to, and shorts go to.
    parts : tuple[Part, ...]
        In the order of the car file.
    states : tuple[OperatingState, ...]
        In the order in which a diagnosis goes through them, the resting one first.
    places : Mapping[str, Place]
        Places by name.
    switches : Mapping[str, tuple[str, ...]]
        Switch assembly to its positions, the resting one first.
    test_points : Mapping[str, str]
        Node that can be probed to the place it is at.
    path : str
        The car file as the user named it, or empty.
    wire_rule : str
        The rule for wires and fuses that the file chooses, a key of knowledge/; empty
        for the usual one.
    guessed_roles : Mapping[str, str]
        Part to the role it was taken for by its name, where the file gives none.
    """

    name: str
    title: str
    system_volts: float
    reference: str
    body: str
    parts: tuple[Part, ...]
    states: tuple[OperatingState, ...]
    places: Mapping[str, Place]
    switches: Mapping[str, tuple[str, ...]]
    test_points: Mapping[str, str]
    path: str = ""
    wire_rule: str = ""
    guessed_roles: Mapping[str, str] = field(
        default_factory=lambda: MappingProxyType({})
    )

    def part(self, name: str) -> Part:
        """Return the part of that name.

        Parameters
        ----------
        name : str
            As in `Part.name`.

        Returns
        -------
        Part
            Of this car.

        Raises
        ------
        KeyError
            If the car has no such part.
        """
        for part in self.parts:
            if part.name == name:
                return part
        raise KeyError(name)

    def state(self, name: str) -> OperatingState:
        """Return the operating state of that name.

        Parameters
        ----------
        name : str
            As in `OperatingState.name`.

        Returns
        -------
        OperatingState
            Of this car.

        Raises
        ------
        KeyError
            If the car has no such state.
        """
        for state in self.states:
            if state.name == name:
                return state
        raise KeyError(name)

    @property
    def battery(self) -> Part | None:
        """What stands between the car's two posts: a battery, or some in series."""
        banks = [part for part in self.parts if part.kind == "battery-bank"]
        batteries = [part for part in self.parts if part.kind == "battery"]
        return next(iter((*banks, *batteries)), None)

    @property
    def is_positive_ground(self) -> bool:
        """Whether the battery's positive post is the grounded one."""
        return any(
            part.kind == "battery" and part.terminals["plus"] == self.reference
            for part in self.parts
        )

    @property
    def output_pins(self) -> frozenset[str]:
        """The nodes of controllers' outputs, whichever side of a load they switch."""
        gates = {part.gate for part in self.parts if part.kind == "driver"}
        feeds = [part.terminals for part in self.parts if part.name in gates]
        supplied = {node for terminals in feeds for node in terminals.values()}
        outputs = (part.terminals for part in self.parts if part.kind == "driver")
        return frozenset(n for ends in outputs for n in ends.values()) - supplied

    @property
    def nodes(self) -> tuple[str, ...]:
        """Every node, the reference first, then in the order of the parts."""
        seen = {self.reference: None}
        for part in self.parts:
            for node in part.terminals.values():
                seen.setdefault(node)
        return tuple(seen)
