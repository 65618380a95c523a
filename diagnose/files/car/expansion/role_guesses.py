"""Roles taken from the names of parts, where a car file gives none.

A name is a guess, so it is made only where nothing else claims the role and one name
alone fits; `check` and `expand` say it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.grammar.entries import CarEntry


def guessed_roles(car: CarEntry, knowledge: Knowledge) -> Mapping[str, str]:
    """Return the names that are taken for a role, with that of a circuit's relay.

    Parameters
    ----------
    car : CarEntry
        The car file.
    knowledge : Knowledge
        Knows the other words for each role.

    Returns
    -------
    Mapping[str, str]
        Name of a part to its role. The relay of a circuit whose role is given is here
        too: ``pump-relay`` of a circuit ``pump`` with ``role: fuel-pump``.
    """
    claimed = set(_claimed(car, knowledge))
    fitting: dict[str, list[str]] = {}
    for name in (*_loads(car), *car.controllers):
        role = knowledge.role_words.get(name)
        if role is not None and role not in claimed:
            fitting.setdefault(role, []).append(name)
    found = {names[0]: role for role, names in fitting.items() if len(names) == 1}
    given = {n: entry.role for n, entry in car.circuits.items() if entry.role}
    for name, role in {**given, **found}.items():
        circuit = car.circuits.get(name)
        relay = f"{role}-relay"
        is_free = relay in knowledge.roles and relay not in claimed and name != role
        if is_free and circuit is not None and circuit.relay is not None:
            found[f"{name}-relay"] = relay
    return found


def _loads(car: CarEntry) -> Iterator[str]:
    """Yield the circuits that have a load and give it no role."""
    for name, circuit in car.circuits.items():
        if circuit.load is not None and circuit.role is None:
            yield name


def _claimed(car: CarEntry, knowledge: Knowledge) -> Iterator[str]:
    """Yield the roles that an entry gives, or has by its very name."""
    for section in (car.circuits, car.controllers, car.relays, car.wires, car.parts):
        for name, entry in section.items():
            yield name
            if entry.role is not None:
                yield entry.role
    for name, circuit in car.circuits.items():
        if circuit.relay is not None and f"{name}-relay" in knowledge.roles:
            yield f"{name}-relay"
