"""A car being put together: parts whose terminals are still names, not nodes.

Everything declares its terminals first and says what they are joined to; only when all
is known are names looked up and terminals that sit on each other made one node, by
`nodes`. Leaves what an entry of the car file stands for to `sections`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from diagnose.circuit.car import Part
from diagnose.circuit.operating_states import DrawsWhen
from diagnose.circuit.values import Value
from diagnose.errors import FileProblem, did_you_mean
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.expansion.part_values import (
    Defaults,
    given_value,
    read_value,
    wire_values,
)
from diagnose.files.car.grammar.entry_problems import ANY_NAME
from diagnose.files.car.grammar.sizes import Connection, WireSize
from diagnose.files.yaml_positions import Document, Location


@dataclass(slots=True, kw_only=True)
class Draft:
    """The car so far.

    Parameters
    ----------
    locations, owners : dict[str, Location]
        Part to the entry that declares it, and assembly to its first entry.
    defaults : Defaults
        Kind of part to parameter to its default, for this car's system voltage.
    attached : Mapping[str, Mapping[str, Value]]
        ``ROLE/KIND`` to the defaults of such a part that goes with one in that role,
        likewise.
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
    start_positions : dict[str, str]
        The switches that are turned to crank, and to which position.
    tainted : set[str]
        Nodes that entries that could not be read may have touched; `nodes` finds
        them.
    misnamed : set[str]
        Names of terminals that don't exist.
    guessed : Mapping[str, str]
        Name to the role that it is taken for.
    notes : dict[str, str]
        Wire to what the owner says of it, where its entry is not its own.
    ground_post : str
        The battery post that is grounded: minus or plus.
    broken : set[str]
        Names of entries that could not be read; what names them is not judged.
    """

    document: Document
    knowledge: Knowledge
    defaults: Defaults
    broken: set[str]
    attached: Mapping[str, Mapping[str, Value]] = field(
        default_factory=lambda: MappingProxyType({})
    )
    ground_post: str = "minus"
    guessed: Mapping[str, str] = field(default_factory=dict)
    notes: dict[str, str] = field(default_factory=dict)
    parts: list[Part] = field(default_factory=list)
    locations: dict[str, Location] = field(default_factory=dict)
    owners: dict[str, Location] = field(default_factory=dict)
    ends: list[tuple[str, Location]] = field(default_factory=list)
    terminals: dict[str, Location] = field(default_factory=dict)
    terminal_places: dict[str, str] = field(default_factory=dict)
    sits_on: dict[str, tuple[str, Location]] = field(default_factory=dict)
    main_terminals: dict[str, str] = field(default_factory=dict)
    optional: set[str] = field(default_factory=set)
    controller_supplies: set[str] = field(default_factory=set)
    start_positions: dict[str, str] = field(default_factory=dict)
    tainted: set[str] = field(default_factory=set)
    misnamed: set[str] = field(default_factory=set)
    problems: list[FileProblem] = field(default_factory=list)

    @property
    def hot_post(self) -> str:
        """The battery post that is not grounded, and what parts call their fed side."""
        return "minus" if self.ground_post == "plus" else "plus"

    def report(self, location: Location, message: str, *, of_key: bool = False) -> None:
        """Note a problem at an entry of the file.

        Parameters
        ----------
        location : Location
            The entry.
        message : str
            What was found, what was expected, and what to do.
        of_key : bool
            True when its key is meant, not its value.
        """
        self.problems.append(self.document.problem(location, message, of_key=of_key))

    def is_broken(self, name: str) -> bool:
        """Return whether a name belongs to an entry that could not be read.

        Parameters
        ----------
        name : str
            An assembly, or one of its terminals.
        """
        assembly = name.partition(".")[0]
        return ANY_NAME in self.broken or any(
            assembly == entry or assembly.startswith(f"{entry}-")
            for entry in self.broken
        )

    def declare(
        self,
        assembly: str,
        terminal: str,
        *,
        place: str,
        location: Location,
        is_shared: bool = False,
    ) -> str:
        """Declare a terminal.

        An assembly belongs to one entry, unless a part in full form says it shares it.

        Parameters
        ----------
        assembly, terminal : str
            What it is on, and its name there.
        place : str
            Where a probe reaches it; empty when that is not known yet.
        location : Location
            The entry that declares it.
        is_shared : bool
            Whether other entries may have declared the assembly.

        Returns
        -------
        str
            Its full name, ``assembly.terminal``.
        """
        name = f"{assembly}.{terminal}"
        owner = self.owners.setdefault(assembly, location)
        if owner[:2] != location[:2] and not is_shared:
            self._report_second(f'"{assembly}"', owner, location)
        elif name in self.terminals:
            self._report_second(f'terminal "{name}"', self.terminals[name], location)
        self.terminals.setdefault(name, location)
        self.terminal_places.setdefault(name, place)
        return name

    def _report_second(self, what: str, first: Location, second: Location) -> None:
        """Report a name that an earlier entry has."""
        line = self.document.position(first, of_key=True).line
        self.report(
            second,
            f"{what} is declared in line {line} already; give one of the two another "
            "name",
            of_key=True,
        )

    def place_of(self, terminal: str) -> str:
        """Return the place of a declared terminal; empty when it has none.

        Parameters
        ----------
        terminal : str
            In full, or the short name of a main terminal.
        """
        name = self.main_terminals.get(terminal, terminal)
        return self.terminal_places.get(name, "")

    def role(
        self, name: str, kind: str, given: str | None, *, location: Location
    ) -> str | None:
        """Return a part's role: the one given, else its name when that is a role.

        Parameters
        ----------
        name, kind : str
            The part and its kind.
        given : str or None
            What the file says; reported when no part of that kind can have it.
        location : Location
            The entry.
        """
        roles = self.knowledge.roles
        if given is None:
            role = name if name in roles else self.guessed.get(name, "")
            return role if kind in roles.get(role, ()) else None
        fitting = [role for role, kinds in roles.items() if kind in kinds]
        if given in roles and given not in fitting:
            self.report(
                (*location, "role"),
                f'"{given}" is no role of a {kind}, but of a '
                f"{' or '.join(sorted(roles[given]))}; "
                f"known: {', '.join(sorted(fitting)) or 'none'}",
            )
        return given

    def draws_when(self, role: str | None, given: str | None) -> DrawsWhen:
        """Return when a load takes its current: as given, else as its role does.

        Parameters
        ----------
        role : str or None
            The load's.
        given : str or None
            What the file says.
        """
        if given is not None:
            return DrawsWhen(given)
        return self.knowledge.draws_when.get(role or "", DrawsWhen.ALWAYS)

    def add(self, part: Part, location: Location) -> None:
        """Add a part; one whose name is taken is reported instead.

        Parameters
        ----------
        part : Part
            With names of terminals in place of nodes.
        location : Location
            The entry that declares it.
        """
        if part.name in self.locations:
            first = self.locations[part.name]
            self._report_second(f'part "{part.name}"', first, location)
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
        """Join a terminal to another one: by a wire, or directly.

        Parameters
        ----------
        terminal : str
            Full name of a declared terminal.
        connection : Connection
            Where it goes, and by which wire.
        wire : str
            Name of that wire.
        location : Location
            The entry that says so.
        role : str or None
            What the wire does for the car.
        """
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
        colour: str = "",
        note: str = "",
    ) -> None:
        """Add a wire between two terminals.

        Parameters
        ----------
        name : str
            The wire.
        ends : tuple[str, str]
            The terminals, as they are named in the file.
        size : WireSize
            Its size and length.
        location : Location
            The entry that says so.
        place : str
            Where it is.
        given : Mapping[str, object]
            Values the file gives.
        role : str or None
            What it does for the car.
        colour : str
            Of its insulation, where its size does not say.
        note : str
            What the owner says of it.
        """
        computed = wire_values(size, self.defaults.get("wire", {}))
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
            colour=colour or size.colour,
            note=note or self.notes.get(name, ""),
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
        usual: Mapping[str, Value] | None = None,
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
        usual : Mapping[str, Value] or None
            Defaults in place of those of the kind.

        Returns
        -------
        dict[str, Value]
            Each in its parameter's unit.
        """
        defaults = self.defaults.get(kind, {}) if usual is None else usual
        result = dict(defaults)
        for parameter, size in sizes.items():
            if size is not None:
                result[parameter] = given_value(size, defaults.get(parameter))
        for parameter, found in given.items():
            place = (*location, "values", parameter)
            if parameter not in defaults:
                self._check_parameter(parameter, among or (kind,), place)
                continue
            try:
                amount = read_value(parameter, found, defaults[parameter])
            except ValueError as error:
                self.report(place, f"{parameter}: {error}")
                continue
            result[parameter] = given_value(amount, defaults[parameter])
        return result

    def _check_parameter(
        self, parameter: str, kinds: tuple[str, ...], location: Location
    ) -> None:
        """Report a parameter that none of the kinds has."""
        known = {name for kind in kinds for name in self.defaults.get(kind, {})}
        if parameter not in known:
            self.report(
                location,
                f'"{parameter}" is no value of a {" or a ".join(kinds)}'
                f"{did_you_mean(parameter, known)}; known: {', '.join(sorted(known))}",
                of_key=True,
            )
