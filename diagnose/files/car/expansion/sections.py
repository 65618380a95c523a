"""What each section of a car file stands for: parts, terminals and wires.

Leaves metal, battery, alternator and starter to `metal_and_sources`, the usual circuits
to `circuits`, and looking names up to `nodes`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import TypeVar

from diagnose.circuit.car import Part
from diagnose.circuit.elements import ELEMENTS, Element
from diagnose.errors import did_you_mean
from diagnose.files.car.expansion.circuits import add_circuit
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.metal import add_grounds, add_metal
from diagnose.files.car.expansion.metal_and_sources import (
    add_alternator,
    add_battery,
    add_starter,
)
from diagnose.files.car.expansion.plugs_and_clamps import (
    add_clamp,
    add_plug,
    add_run,
    note_studs_beside,
)
from diagnose.files.car.expansion.relays_and_joints import (
    add_rating,
    add_relay,
    known_role,
)
from diagnose.files.car.grammar.entries import (
    CarEntry,
    ControllerEntry,
    OutputEntry,
    PartEntry,
    RelayEntry,
    SwitchEntry,
)
from diagnose.files.yaml_positions import Location

# An entry of some section.
EntryT = TypeVar("EntryT")


def expand(car: CarEntry, draft: Draft) -> None:
    """Add everything an already checked car file stands for.

    Parameters
    ----------
    car : CarEntry
        The car file.
    draft : Draft
        The car being put together.
    """
    add_metal(car.metal, draft)
    add_battery(car.battery, draft, system_volts=car.system)
    if car.alternator is not None:
        add_alternator(car.alternator, draft)
    if car.starter is not None:
        add_starter(car.starter, draft)
    for name, place in car.splices.items():
        location = ("splices", name)
        terminal = draft.declare(name, "splice", place=place, location=location)
        draft.main_terminals[name] = terminal
    add_grounds(car, draft)
    for name, panel in car.panels.items():
        for bus in panel.buses:
            draft.declare(name, bus, place=panel.place, location=("panels", name))
    draft.start_positions.update(_start_positions(car, draft))
    _each(car.switches, "switches", _add_switch, draft)
    _each(car.controllers, "controllers", _add_controller, draft)
    _each(car.relays, "relays", _add_lone_relay, draft)
    _each(car.circuits, "circuits", add_circuit, draft)
    _each(car.parts, "parts", _add_part, draft)
    for name, wire in car.wires.items():
        draft.add_wire(
            name,
            (wire.from_, wire.to),
            size=wire.wire,
            location=("wires", name),
            place=wire.place or draft.place_of(wire.to),
            given=wire.values,
            role=draft.role(name, "wire", wire.role, location=("wires", name)),
            colour=wire.colour or "",
            note=wire.note or "",
        )
    for name, plug in car.plugs.items():
        add_plug(name, plug, draft, ("plugs", name))
    for name, terminal in car.clamps.items():
        add_clamp(name, terminal, draft, ("clamps", name))
    note_studs_beside(car, draft)
    for name in car.circuits:
        add_run(name, draft, ("circuits", name))


def _each(
    entries: Mapping[str, EntryT],
    section: str,
    add: Callable[[str, EntryT, Draft, Location], None],
    draft: Draft,
) -> None:
    """Add every entry of a section."""
    for name, entry in entries.items():
        add(name, entry, draft, (section, name))


def _start_positions(car: CarEntry, draft: Draft) -> Mapping[str, str]:
    """Return each switch that is turned to crank, and to which position."""
    found: dict[str, str] = {}
    for name, entry in car.states.items():
        base = draft.knowledge.states.get(entry.like or name)
        if base is not None and base.is_cranking:
            found.update(entry.switches)
    return found


def _add_switch(
    name: str, entry: SwitchEntry, draft: Draft, location: Location
) -> None:
    """Add a switch: one contact from the feed to each terminal that is ever live."""
    feed = draft.declare(name, entry.feed, place=entry.place, location=location)
    closed_in: dict[str, set[str]] = {}
    for position, terminals in entry.live.items():
        for terminal in terminals:
            if terminal != entry.feed:
                closed_in.setdefault(terminal, set()).add(position)
    for terminal, positions in closed_in.items():
        out = draft.declare(name, terminal, place=entry.place, location=location)
        draft.add(
            Part(
                name=f"{name}.{terminal}-contact",
                assembly=name,
                kind="switch-contact",
                terminals={"a": feed, "b": out},
                values=draft.values("switch-contact", entry.values, location=location),
                closed_in=frozenset(positions),
                place=entry.place,
                role=_contact_role(draft, name, positions, location),
            ),
            location,
        )


def _contact_role(
    draft: Draft, switch: str, positions: Collection[str], location: Location
) -> str | None:
    """Return the role of a contact: the switch's name when that is one.

    Else that of contacts which are live both while cranking and otherwise.
    """
    start = draft.start_positions.get(switch)
    if start in positions and len(positions) > 1:
        return known_role(draft, "key-contact")
    return draft.role(switch, "switch-contact", None, location=location)


def _add_controller(
    name: str, entry: ControllerEntry, draft: Draft, location: Location
) -> None:
    """Add a controller with its memory feed and its outputs."""
    supply, ground = (
        draft.declare(name, terminal, place=entry.place, location=location)
        for terminal in ("supply", "ground")
    )
    draft.controller_supplies.add(supply)
    values = draft.values(
        "controller",
        entry.values,
        location=location,
        sizes={"supply_amps": entry.draws},
    )
    draft.add(
        Part(
            name=name,
            assembly=name,
            kind="controller",
            terminals={"supply": supply, "ground": ground},
            values=values,
            place=entry.place,
            role=draft.role(name, "controller", entry.role, location=location),
        ),
        location,
    )
    draft.join(
        ground, entry.ground, wire=f"{name}-ground", location=(*location, "ground")
    )
    if entry.memory is not None:
        _add_memory(name, entry, draft, location)
    for output, details in entry.outputs.items():
        place = (*location, "outputs", output)
        _add_output((name, output), details, draft, place)


def _add_memory(
    name: str, entry: ControllerEntry, draft: Draft, location: Location
) -> None:
    """Add the load of a controller's constant memory feed."""
    memory = draft.declare(name, "memory", place=entry.place, location=location)
    draft.add(
        Part(
            name=memory,
            assembly=name,
            kind="electronics",
            terminals={"a": memory, "b": f"{name}.ground"},
            values=draft.values(
                "electronics", {}, location=location, sizes={"load_amps": entry.memory}
            ),
            place=entry.place,
            role=known_role(draft, "controller-memory"),
        ),
        location,
    )


def _add_output(
    names: tuple[str, str], entry: OutputEntry, draft: Draft, location: Location
) -> None:
    """Add the driver of a controller's output."""
    controller, output = names
    place = draft.place_of(f"{controller}.ground")
    pin = draft.declare(controller, output, place=place, location=location)
    ends = {"out": pin, "return": f"{controller}.ground"}
    if entry.side == "high":
        ends = {"out": f"{controller}.supply", "return": pin}
    draft.add(
        Part(
            name=pin,
            assembly=controller,
            kind="driver",
            terminals=ends,
            values=draft.values(
                "driver",
                entry.values,
                location=location,
                sizes={"limit_amps": entry.limit},
            ),
            gate=controller,
            place=place,
        ),
        location,
    )


def _add_lone_relay(
    name: str, entry: RelayEntry, draft: Draft, location: Location
) -> None:
    """Add a relay that is part of no usual circuit."""
    add_relay(name, entry, draft, location, place=entry.place, role=entry.role)
    for number, connection in (("30", entry.terminal_30), ("87", entry.terminal_87)):
        if connection is not None:
            draft.join(
                f"{name}.{number}",
                connection,
                wire=f"{name}-{number}-wire",
                location=(*location, number),
            )


def _add_part(name: str, entry: PartEntry, draft: Draft, location: Location) -> None:
    """Add a part given in full."""
    element = ELEMENTS.get(entry.kind)
    if element is None:
        draft.report(
            (*location, "kind"),
            f'there is no kind of part "{entry.kind}"'
            f"{did_you_mean(entry.kind, ELEMENTS)}; "
            f"known: {', '.join(sorted(ELEMENTS))}",
        )
        draft.broken.add(name)
        return
    if not _has_its_terminals(entry, element, draft, location):
        draft.broken.add(name)
        return
    terminals = _join_terminals(name, entry, draft, location)
    values = draft.values(entry.kind, entry.values, location=location)
    add_rating(values, entry.kind)
    role = draft.role(name, entry.kind, entry.role, location=location)
    draft.add(
        Part(
            name=name,
            assembly=entry.assembly or name,
            kind=entry.kind,
            terminals=terminals,
            values=values,
            closed_in=frozenset(entry.closed_in),
            gate=entry.gate,
            is_normally_closed=entry.normally_closed,
            place=entry.place,
            role=role,
            draws_when=draft.draws_when(role, entry.draws_when),
        ),
        location,
    )


def _join_terminals(
    name: str, entry: PartEntry, draft: Draft, location: Location
) -> dict[str, str]:
    """Declare the terminals of a part given in full, and join them.

    Several parts of one assembly have terminals of the same name, such as the pins of a
    plug: the first has them under the assembly's name, the others under their own.
    """
    terminals = {}
    whole = entry.assembly or name
    is_first = not any(f"{whole}.{one}" in draft.terminals for one in entry.terminals)
    for terminal, connection in entry.terminals.items():
        own = draft.declare(
            whole if is_first else name,
            terminal,
            place=entry.place,
            location=location,
            is_shared=entry.assembly is not None,
        )
        terminals[terminal] = own
        draft.join(
            own,
            connection,
            wire=f"{name}-{terminal}-wire",
            location=(*location, "terminals", terminal),
        )
    return terminals


def _has_its_terminals(
    entry: PartEntry, element: Element, draft: Draft, location: Location
) -> bool:
    """Report terminals that the kind of part hasn't, and those left out."""
    known = (*element.terminals, *element.optional_terminals)
    for terminal in entry.terminals:
        if terminal not in known:
            draft.report(
                (*location, "terminals", terminal),
                f'kind {entry.kind} has no terminal "{terminal}"'
                f"{did_you_mean(terminal, known)}; it has {', '.join(known)}",
                of_key=True,
            )
    missing = [name for name in element.terminals if name not in entry.terminals]
    if missing:
        draft.report(
            location,
            f"kind {entry.kind} needs its terminal {' and '.join(missing)}",
            of_key=True,
        )
    return not missing and all(terminal in known for terminal in entry.terminals)
