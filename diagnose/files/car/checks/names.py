"""What the entries of a car file say about each other: one function for each claim.

Leaves the grammar of single entries to `grammar`, terminals to `expansion.nodes`, and
the finished circuit to `sound_circuit`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from diagnose.circuit.elements import ELEMENTS
from diagnose.errors import did_you_mean
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.grammar.entries import CarEntry
from diagnose.files.yaml_positions import Location, Plain


def check_names(car: CarEntry, draft: Draft) -> None:
    """Check places, cautions, roles, gates and positions.

    Parameters
    ----------
    car : CarEntry
        The entries of the file.
    draft : Draft
        Takes the problems.
    """
    for check in (
        _check_places,
        _check_cautions,
        _check_roles,
        _check_wire_rule,
        _check_switch_terminals,
        _check_gates,
        _check_closed_in,
    ):
        check(car, draft)


def _check_places(car: CarEntry, draft: Draft) -> None:
    """Report places that the section `places` hasn't."""
    if draft.is_broken("places"):
        return
    for place, location in _named(draft.document.data, "place", PLACE_TABLES):
        is_hidden = place == "hidden" and location[0] == "test-points"
        if place not in car.places and not is_hidden and not draft.is_broken(place):
            draft.report(
                location,
                f'there is no place "{place}"{did_you_mean(place, car.places)}; '
                f"known: {', '.join(car.places)}",
            )


# Sections that give a place right behind each name.
PLACE_TABLES = frozenset((("splices",), ("test-points",), ("metal",)))


def _check_cautions(car: CarEntry, draft: Draft) -> None:
    """Report cautions that knowledge/ hasn't."""
    del car
    _check_key(draft, "caution", draft.knowledge.cautions)


def _check_roles(car: CarEntry, draft: Draft) -> None:
    """Report roles that knowledge/ hasn't; whether one fits is seen with its part."""
    del car
    _check_key(draft, "role", draft.knowledge.roles)


def _check_wire_rule(car: CarEntry, draft: Draft) -> None:
    """Report a rule for wires and fuses that knowledge/ hasn't."""
    del car
    limits = draft.knowledge.design_limits
    if limits is not None:
        _check_key(draft, "wire-rule", limits.wire_rules)


def _check_key(draft: Draft, key: str, known: Collection[str]) -> None:
    """Report what stands behind a key, anywhere in the file, and is not known."""
    for name, location in _named(draft.document.data, key):
        if name not in known:
            draft.report(
                location,
                f'there is no {key} "{name}"{did_you_mean(name, known)}; '
                f"known: {', '.join(sorted(known))}",
            )


def _named(
    data: Plain,
    wanted: str,
    tables: frozenset[Location] = frozenset(),
    location: Location = (),
) -> Iterator[tuple[str, Location]]:
    """Return the text behind every key of that name, with its location.

    The whole file is looked through, entries that could not be read included.
    """
    if not isinstance(data, dict):
        return
    for key, value in data.items():
        inside = (*location, key)
        if isinstance(value, str) and (key == wanted or location in tables):
            yield value, inside
        else:
            yield from _named(value, wanted, tables, inside)


def _check_switch_terminals(car: CarEntry, draft: Draft) -> None:
    """Report a switch whose feed is one of the terminals it makes live."""
    for name, switch in car.switches.items():
        for position, terminals in switch.live.items():
            if switch.feed in terminals:
                draft.report(
                    ("switches", name, "live", position),
                    f'switch "{name}" lists its own feed "{switch.feed}" as live; '
                    "delete it here",
                )


def _check_gates(car: CarEntry, draft: Draft) -> None:
    """Report contacts and drivers in full form without the part that works them."""
    kinds = {part.name: part.kind for part in draft.parts}
    wanted = {"contacts": "coil", "driver": "controller"}
    for name, part in car.parts.items():
        location: Location = ("parts", name)
        element = ELEMENTS.get(part.kind)
        if element is None:
            continue
        if element.needs_gate and part.gate is None:
            draft.report(
                location,
                f"kind {part.kind} needs `gate: ` and the {wanted[part.kind]} that "
                "works it",
                of_key=True,
            )
        if part.gate is None or draft.is_broken(part.gate):
            continue
        expected = wanted.get(part.kind)
        if expected is None:
            draft.report(
                (*location, "gate"), f"kind {part.kind} has no gate; delete this"
            )
        elif kinds.get(part.gate) != expected:
            fitting = [key for key, kind in kinds.items() if kind == expected]
            draft.report(
                (*location, "gate"),
                f'there is no {expected} "{part.gate}"'
                f"{did_you_mean(part.gate, fitting)}",
            )


def _check_closed_in(car: CarEntry, draft: Draft) -> None:
    """Report switch contacts in full form with positions their switch hasn't."""
    for name, part in car.parts.items():
        location: Location = ("parts", name)
        assembly = part.assembly or name
        switch = car.switches.get(assembly)
        if part.kind != "switch-contact" or draft.is_broken(assembly):
            continue
        if switch is None:
            draft.report(
                location,
                f'a switch-contact needs `assembly: ` and a switch, found "{assembly}"'
                f"{did_you_mean(assembly, car.switches)}",
                of_key=True,
            )
            continue
        for index, position in enumerate(part.closed_in):
            if position not in switch.live:
                draft.report(
                    (*location, "closed-in", index),
                    f'switch "{assembly}" has no position "{position}"'
                    f"{did_you_mean(position, switch.live)}; "
                    f"it has {', '.join(switch.live)}",
                )
