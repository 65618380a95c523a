"""The car as records: parts with terminals and values, operating states, places.

Knows what a car *is*. Leaves to `elements` and `parts` how a part carries current, to
`files` how a car is written down, and to `faults` how a part fails.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from diagnose.circuit.operating_states import DrawsWhen, OperatingState
from diagnose.circuit.values import Value


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
