"""A car file as a `Car`, or everything that is wrong with it at once.

The steps are reading with positions (`yaml_positions`), the grammar (`grammar`), what
the entries stand for (`expansion.sections`), names to nodes (`expansion.nodes`) and
what a sound car is (`checks.names`, `checks.sound_circuit`). Leaves doubts about a
sound car to `checks.doubts`.
"""

from __future__ import annotations

import pathlib
from dataclasses import replace
from types import MappingProxyType

from diagnose.circuit.car import Car, Part, Place
from diagnose.errors import FileProblem, InvalidFileError
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.checks.names import check_names
from diagnose.files.car.checks.sound_circuit import check_circuit
from diagnose.files.car.expansion.draft import Draft
from diagnose.files.car.expansion.metal import METAL_TERMINALS
from diagnose.files.car.expansion.nodes import find_terminal, resolve
from diagnose.files.car.expansion.part_values import defaults_for, under_conditions
from diagnose.files.car.expansion.role_guesses import guessed_roles
from diagnose.files.car.expansion.sections import expand
from diagnose.files.car.expansion.states import car_states, car_switches
from diagnose.files.car.grammar.entries import CarEntry
from diagnose.files.car.grammar.entry_problems import read_entries
from diagnose.files.yaml_positions import Document, read_document

# What the file should be, for messages.
WANTED = "car file"


def load_car(
    path: pathlib.Path, knowledge: Knowledge, *, text: str | None = None
) -> Car:
    """Read a car file.

    Parameters
    ----------
    path : pathlib.Path
        The file, YAML 1.2.
    knowledge : Knowledge
        Gives the defaults of what a person can't know, and the operating states.
    text : str or None
        What stands in the file, where that was read before.

    Returns
    -------
    Car
        Complete and checked.

    Raises
    ------
    InvalidFileError
        With every problem of the file, in the order of its lines.
    """
    document = read_document(path, wanted=WANTED, text=text)
    _refuse_other_kinds(document)
    entries, broken, problems = read_entries(document)
    problems = document.problems + problems
    draft = Draft(
        document=document,
        knowledge=knowledge,
        defaults=defaults_for(knowledge.defaults, system_volts=entries.system),
        attached=defaults_for(knowledge.attached, system_volts=entries.system),
        broken=set(broken),
        ground_post=entries.battery.grounded,
        guessed=guessed_roles(entries, knowledge),
        problems=list(problems),
    )
    car = _build(entries, draft, name=path.stem)
    check_circuit(car, draft)
    if draft.problems:
        raise InvalidFileError(_in_order(tuple(draft.problems)))
    return car


def _refuse_other_kinds(document: Document) -> None:
    """Refuse a YAML file that doesn't say it is a car file."""
    if "car-file" in document.data:
        return
    first = next(iter(document.data))
    message = (
        f'is no car file: its first key is "{first}", expected `car-file: 1` and the '
        "sections of a car file"
    )
    raise InvalidFileError((document.problem((first,), message, of_key=True),))


def _in_order(problems: tuple[FileProblem, ...]) -> tuple[FileProblem, ...]:
    """Return problems by line and column, each once."""
    return tuple(
        sorted(
            dict.fromkeys(problems),
            key=lambda problem: (problem.line, problem.column, problem.message),
        )
    )


def _build(entries: CarEntry, draft: Draft, *, name: str) -> Car:
    """Return the car that the entries stand for, noting problems on the way."""
    expand(entries, draft)
    check_names(entries, draft)
    parts = tuple(
        _under_conditions(part, entries, draft.knowledge) for part in resolve(draft)
    )
    states = car_states(entries, draft)
    return Car(
        name=name,
        title=entries.title,
        system_volts=entries.system,
        reference=f"battery.{entries.battery.grounded}",
        body=METAL_TERMINALS["body"],
        parts=parts,
        states=states,
        places=MappingProxyType(
            {
                key: Place(name=key, minutes=place.time, caution=place.caution)
                for key, place in entries.places.items()
            }
        ),
        switches=car_switches(entries),
        test_points=_test_points(entries, draft, parts),
        path=draft.document.path,
        wire_rule=entries.wire_rule or "",
        guessed_roles=_guessed(entries, draft, parts),
    )


def _guessed(
    entries: CarEntry, draft: Draft, parts: tuple[Part, ...]
) -> MappingProxyType[str, str]:
    """Return the parts that have a role by a guess, with the role."""
    given = {name for name, entry in entries.circuits.items() if entry.role}
    return MappingProxyType(
        {
            name: role
            for name, role in draft.guessed.items()
            if any(part.name == name and part.role == role for part in parts)
            and name.removesuffix("-relay") not in given
        }
    )


def _under_conditions(part: Part, entries: CarEntry, knowledge: Knowledge) -> Part:
    """Return a part at the car's temperature, and the battery at its age.

    Resistance wire, which has ohms and no copper area, keeps its resistance: its alloys
    change by a few percent where copper changes by half (from memory).
    """
    conditions = knowledge.conditions.get(part.kind, {})
    if part.kind == "wire" and "area_mm2" not in part.values:
        conditions = {}
    values = under_conditions(
        part.values,
        conditions,
        celsius=entries.temperature,
        years=entries.battery.age if part.kind == "battery" else None,
    )
    return replace(part, values=values)


def _test_points(
    entries: CarEntry, draft: Draft, parts: tuple[Part, ...]
) -> MappingProxyType[str, str]:
    """Return every node a probe can reach, with its place."""
    nodes = {node: None for part in parts for node in part.terminals.values()}
    places = {node: draft.terminal_places.get(node, "") for node in nodes}
    for name, place in entries.test_points.items():
        terminal = find_terminal(draft, name, ("test-points", name))
        if terminal in places:
            places[terminal] = place
    return MappingProxyType(
        {node: place for node, place in places.items() if place and place != HIDDEN}
    )


# The place of a terminal that no probe can reach.
HIDDEN = "hidden"
