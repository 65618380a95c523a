"""A car being put together: parts whose terminals are still names, not nodes.

Everything declares its terminals first and says what they are joined to; only when all
is known are names looked up and terminals that sit on each other made one node. Leaves
what an entry of the car file stands for to `expansion`.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from diagnose.circuit.car import (
    Distribution,
    Origin,
    Part,
    Shape,
    Value,
    fixed,
)
from diagnose.circuit.conductors import conductor_ohms
from diagnose.errors import FileProblem
from diagnose.faults.knowledge import Knowledge
from diagnose.files.quantities import (
    Connection,
    WireSize,
    measure_of,
    parse_amount,
)
from diagnose.files.yaml_positions import Document, Location

ANY_NAME = "*"
"""Stands for every name, when a whole section could not be read."""

WIRE_LOG_SPREAD = 0.05
"""Spread of a wire's resistance: length measured along a harness, copper to standard.

Common practice: 5 % (a rule, no source). [1]
"""

JOINT_AREA_MM2 = 2.1
"""Wire that the default end joint is meant for, 14 AWG; a thicker wire's lugs touch
on more metal, so its joints are lower in proportion to its area.

From memory: 3 mohm at a small terminal, 0.1 to 0.2 mohm at a battery lug. [mm²]
"""

FUSE_DROP_VOLTS = 0.075
"""Drop of a blade fuse at its rated current, for every rating (from memory). [V]"""


def nearest(name: str, known: Iterable[str]) -> str:
    """Return ``; did you mean "x"?`` for the nearest known name, or nothing.

    Examples
    --------
    >>> nearest("baterry.plus", ["battery.plus", "starter.plus"])
    '; did you mean "battery.plus"?'
    """
    close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return f'; did you mean "{close[0]}"?' if close else ""


@dataclass(slots=True, kw_only=True)
class Draft:
    """The car so far.

    Parameters
    ----------
    terminals : dict[str, Location]
        Every terminal that can be named, and the entry that declares it.
    sits_on : dict[str, tuple[str, Location]]
        A terminal to the terminal it sits on without a wire.
    main_terminals : dict[str, str]
        Assembly that may be named alone (``body``) to the terminal meant.
    optional : set[str]
        Terminals that exist only when something is joined to them.
    controller_supplies : set[str]
        The supply terminals of controllers.
    tainted : set[str]
        Nodes that entries that could not be read may have touched; `resolution` finds
        them.
    broken : set[str]
        Names of entries that could not be read; what names them is not judged.
    """

    document: Document
    knowledge: Knowledge
    broken: set[str]
    parts: list[Part] = field(default_factory=list)
    locations: dict[str, Location] = field(default_factory=dict)
    ends: list[tuple[str, Location]] = field(default_factory=list)
    terminals: dict[str, Location] = field(default_factory=dict)
    terminal_places: dict[str, str] = field(default_factory=dict)
    sits_on: dict[str, tuple[str, Location]] = field(default_factory=dict)
    main_terminals: dict[str, str] = field(default_factory=dict)
    optional: set[str] = field(default_factory=set)
    controller_supplies: set[str] = field(default_factory=set)
    tainted: set[str] = field(default_factory=set)
    problems: list[FileProblem] = field(default_factory=list)

    def report(self, location: Location, message: str, *, of_key: bool = False) -> None:
        """Note a problem at an entry of the file."""
        self.problems.append(self.document.problem(location, message, of_key=of_key))

    def is_broken(self, name: str) -> bool:
        """Whether a name belongs to an entry that could not be read."""
        assembly = name.partition(".")[0]
        return ANY_NAME in self.broken or any(
            assembly == entry or assembly.startswith(f"{entry}-")
            for entry in self.broken
        )

    def declare(
        self, assembly: str, terminal: str, *, place: str, location: Location
    ) -> str:
        """Declare a terminal and return its full name."""
        name = f"{assembly}.{terminal}"
        if name in self.terminals:
            first = self.document.position(self.terminals[name], of_key=True).line
            self.report(
                location,
                f'terminal "{name}" is declared in line {first} already; '
                "give one of the two another name",
                of_key=True,
            )
        self.terminals.setdefault(name, location)
        self.terminal_places.setdefault(name, place)
        return name

    def place_of(self, terminal: str) -> str:
        """Return the place of a declared terminal; empty when there is none."""
        name = self.main_terminals.get(terminal, terminal)
        return self.terminal_places.get(name, "")

    def role(
        self, name: str, kind: str, given: str | None, *, location: Location
    ) -> str | None:
        """Return a part's role: the one given, else its name when that is a role."""
        roles = self.knowledge.roles
        if given is None:
            return name if kind in roles.get(name, ()) else None
        fitting = [role for role, kinds in roles.items() if kind in kinds]
        if given in roles and given not in fitting:
            self.report(
                (*location, "role"),
                f'"{given}" is no role of a {kind}, but of a '
                f"{' or '.join(sorted(roles[given]))}; "
                f"known: {', '.join(sorted(fitting)) or 'none'}",
            )
        return given

    def add(self, part: Part, location: Location) -> None:
        """Add a part."""
        if part.name in self.locations:
            first = self.document.position(self.locations[part.name], of_key=True).line
            self.report(
                location,
                f'part "{part.name}" is declared in line {first} already; '
                "give one of the two another name",
                of_key=True,
            )
            return
        self.locations[part.name] = location
        line = self.document.position(location, of_key=True).line
        self.parts.append(replace(part, line=line))

    def join(
        self,
        terminal: str,
        connection: Connection,
        *,
        wire: str,
        location: Location,
        role: str | None = None,
    ) -> None:
        """Join a terminal to another one: by a wire of that name, or directly."""
        if connection.wire is None:
            self.sits_on[terminal] = (connection.to, location)
            return
        self.add_wire(
            wire,
            (terminal, connection.to),
            size=connection.wire,
            location=location,
            place=self.terminal_places[terminal],
            role=role,
        )

    def add_wire(
        self,
        name: str,
        ends: tuple[str, str],
        *,
        size: WireSize,
        location: Location,
        place: str,
        given: Mapping[str, object] = MappingProxyType({}),
        role: str | None = None,
    ) -> None:
        """Add a wire between two terminals."""
        computed = _wire_values(size, self.knowledge.defaults.get("wire", {}))
        values = self.values("wire", given, location=location)
        values.update(
            (parameter, value)
            for parameter, value in computed.items()
            if parameter not in given
        )
        part = Part(
            name=name,
            assembly=name,
            kind="wire",
            terminals={"a": ends[0], "b": ends[1]},
            values=values,
            place=place,
            role=role,
        )
        self.ends.extend(
            (end, (*location, key))
            for end, key in zip(ends, ("from", "to"), strict=True)
        )
        self.add(part, location)

    def values(
        self,
        kind: str,
        given: Mapping[str, object],
        *,
        location: Location,
        sizes: Mapping[str, float | None] = MappingProxyType({}),
        among: tuple[str, ...] = (),
    ) -> dict[str, Value]:
        """Return a part's values: the defaults of its kind, then what the file gives.

        Parameters
        ----------
        kind : str
            Kind of part.
        given : Mapping[str, object]
            Parameter to what the file holds under ``values``: text with a unit.
        location : Location
            The entry that has ``values``.
        sizes : Mapping[str, float | None]
            Parameter to an amount read from a key of its own, in SI; None: not given.
        among : tuple[str, ...]
            The kinds that share these values (coil and contacts of a relay).
        """
        defaults = self.knowledge.defaults.get(kind, {})
        result = dict(defaults)
        for parameter, size in sizes.items():
            if size is not None:
                result[parameter] = given_value(size, defaults.get(parameter))
        for parameter, found in given.items():
            place = (*location, "values", parameter)
            if parameter not in defaults:
                self._check_parameter(parameter, (kind, *among), place)
                continue
            amount = self._amount(parameter, found, place)
            if amount is not None:
                result[parameter] = given_value(amount, defaults.get(parameter))
        return result

    def _check_parameter(
        self, parameter: str, kinds: tuple[str, ...], location: Location
    ) -> None:
        """Report a parameter that none of the kinds has."""
        known = [
            name for kind in kinds for name in self.knowledge.defaults.get(kind, {})
        ]
        if parameter not in known:
            self.report(
                location,
                f'"{parameter}" is no value of a {kinds[0]}'
                f"{nearest(parameter, known)}; known: {', '.join(sorted(known))}",
                of_key=True,
            )

    def _amount(
        self, parameter: str, found: object, location: Location
    ) -> float | None:
        """Return an amount in SI, or report why it is none."""
        measure = measure_of(parameter)
        try:
            if measure is not None:
                return parse_amount(found, measure)
            return float(str(found))
        except ValueError as error:
            reason = str(error)
            if measure is None:
                reason = f'found "{found}", expected a number'
            self.report(location, f"{parameter}: {reason}")
            return None


def given_value(amount: float, default: Value | None) -> Value:
    """Return a value the file gives, as uncertain as the default would be.

    Parameters
    ----------
    amount : float
        In the parameter's unit.
    default : Value or None
        What knowledge/ says; its relative spread is kept when it has one.

    Returns
    -------
    Value
        With the amount as its middle.
    """
    distribution = fixed(amount)
    if default is not None and amount > 0:
        usual = default.distribution
        if usual.shape is Shape.LOGNORMAL:
            distribution = replace(usual, first=amount)
        elif usual.shape is Shape.NORMAL and usual.first > 0:
            spread = usual.second * amount / usual.first
            distribution = replace(usual, first=amount, second=spread)
    return Value(distribution=distribution, origin=Origin.CAR_FILE, source="car file")


def fuse_ohms(rating_amps: float, default: Value | None) -> Value:
    """Return the resistance of a fuse of that rating, in ohms."""
    spread = default.distribution.second if default is not None else 0.0
    shape = default.distribution.shape if default is not None else Shape.FIXED
    if shape is not Shape.LOGNORMAL:
        shape, spread = Shape.FIXED, 0.0
    return Value(
        distribution=Distribution(
            shape=shape, first=FUSE_DROP_VOLTS / rating_amps, second=spread
        ),
        origin=Origin.DEFAULT,
        source=f"{FUSE_DROP_VOLTS} V drop at the rating",
    )


def _wire_values(size: WireSize, defaults: Mapping[str, Value]) -> dict[str, Value]:
    """Return a wire's resistance at 20 °C from its size, and the size itself."""
    if size.ohms_per_m is not None:
        ohms = size.ohms_per_m * size.length_m
    else:
        assert size.area_mm2 is not None
        ohms = conductor_ohms(size.length_m, size.area_mm2)
    default = defaults.get("wire_ohms")
    spread = WIRE_LOG_SPREAD
    if default is not None and default.distribution.shape is Shape.LOGNORMAL:
        spread = default.distribution.second
    values = {
        "wire_ohms": Value(
            distribution=Distribution(shape=Shape.LOGNORMAL, first=ohms, second=spread),
            origin=Origin.CAR_FILE,
            source="length and size in the car file, copper at 20 °C",
        ),
        "length_m": given_value(size.length_m, None),
    }
    if size.area_mm2 is not None:
        values["area_mm2"] = given_value(size.area_mm2, None)
        values.update(_lug_values(size.area_mm2, defaults))
    return values


def _lug_values(area_mm2: float, defaults: Mapping[str, Value]) -> dict[str, Value]:
    """Return the end joints of a thick wire: lower, as its lugs are bigger."""
    if area_mm2 <= JOINT_AREA_MM2:
        return {}
    factor = JOINT_AREA_MM2 / area_mm2
    return {
        parameter: replace(
            default,
            distribution=replace(
                default.distribution, first=default.distribution.first * factor
            ),
            source=f"{default.source}; in proportion to the wire's area",
        )
        for parameter in ("joint_a_ohms", "joint_b_ohms")
        if (default := defaults.get(parameter)) is not None
        and default.distribution.shape in {Shape.FIXED, Shape.LOGNORMAL}
    }
