"""What is printed once, to be read or piped on: checks, expansions, causes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TextIO

from diagnose.circuit.car import Car
from diagnose.faults.causes import catalogue
from diagnose.faults.knowledge import Knowledge
from diagnose.files.car.checks.doubts import car_warnings
from diagnose.files.car.checks.unworked import uncovered
from diagnose.files.car.part_rows import PartRow, ValueRow, describe_expansion
from diagnose.files.car.writing.car_wires import left_out, wire_list
from diagnose.measurement.quantities import lacking_roles, usable_symptoms
from diagnose.session.car_size import size_warning
from diagnose.terminal.preparation.car_files import open_car, published_knowledge
from diagnose.terminal.reports.machine import machine_bytes
from diagnose.terminal.safe_text import clean


def check_car_file(name: str, sink: TextIO) -> None:
    """Say that a car file is sound, what is doubtful in it and what it leaves out.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with it.
    """
    knowledge = published_knowledge()
    car = open_car(name, knowledge)
    too_large = size_warning(car, knowledge, machine_bytes())
    warnings = [str(warning) for warning in car_warnings(car)]
    warnings += [f"{name}: warning: {too_large}"] if too_large else []
    _write_lines(sink, tuple(warnings))
    notes = tuple(f"{name}: {note}" for note in uncovered(car, knowledge.states))
    _write_lines(sink, notes)
    _write_lines(sink, tuple(_role_lines(name, car, knowledge)))
    count = len(warnings)
    doubts = f", with {count} warning{'s' if count > 1 else ''}" if count else ""
    _write_lines(
        sink,
        (
            f"{name}: sound{doubts}. {car.title}: {len(car.parts)} parts, "
            f"{len(car.test_points)} test points, {len(car.states)} operating states.",
        ),
    )


def list_expansion(name: str, sink: TextIO) -> None:
    """List every part a car file stands for, and where each value comes from.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with the file.
    """
    car = open_car(name, published_knowledge())
    _write_lines(sink, tuple(_guess_lines(name, car)))
    for part in describe_expansion(car):
        _write_lines(sink, _part_lines(part))


def _guess_lines(name: str, car: Car) -> Iterator[str]:
    """Yield what each part is taken for by its name alone."""
    for part, role in car.guessed_roles.items():
        yield (
            f'{name}: "{part}" is taken for the role {role}; write `role: {role}` '
            "if that is right, or rename it"
        )


def _role_lines(name: str, car: Car, knowledge: Knowledge) -> Iterator[str]:
    """Yield what was guessed, and which complaints this car can't be asked about."""
    yield from _guess_lines(name, car)
    usable = usable_symptoms(car, knowledge.symptoms)
    without: dict[str, list[str]] = {}
    for complaint in knowledge.complaints.values():
        retest = knowledge.symptoms.get(complaint.retest)
        # a sign of what comes and goes is asked of every car
        if retest is None or complaint.retest in usable:
            continue
        for role in sorted(lacking_roles(car, retest, knowledge.symptoms)):
            without.setdefault(role, []).append(complaint.says)
    if without:
        yield (
            f"{name}: no part has these roles, so the complaints behind each can't be "
            "diagnosed:"
        )
        for role, complaints in without.items():
            yield f"  {role}: {'; '.join(complaints)}"


def list_wires(name: str, sink: TextIO, remarks: TextIO) -> None:
    """List the wires of a car as CSV, and say what the list leaves out.

    Parameters
    ----------
    name : str
        The car.
    sink, remarks : TextIO
        Where the list and where the remarks go.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with the file.
    """
    car = open_car(name, published_knowledge())
    lines = wire_list(car).splitlines()
    sink.writelines(f"{clean(line)}\n" for line in lines)
    remarks.writelines(f"{name}: {clean(remark)}\n" for remark in left_out(car))


def list_causes(name: str, sink: TextIO) -> None:
    """List every cause by the name that other commands take, and what it says.

    Raises
    ------
    InvalidFileError
        With everything that is wrong with the file.
    """
    knowledge = published_knowledge()
    car = open_car(name, knowledge)
    for cause in catalogue(car, knowledge.modes):
        _write_lines(sink, (f"{cause.name}  {cause.says}",))


def _part_lines(part: PartRow) -> Iterator[str]:
    about = [part.kind, *([part.role] if part.role else [])]
    about.append(f"at {part.place}" if part.place else "at no place given")
    about.append(f"line {part.line}" if part.line else "not in the file: a default")
    about += [part.colour] if part.colour else []
    yield f"{part.name}  ({', '.join(about)})"
    if part.note:
        yield f"  note: {part.note}"
    for terminal, node in part.terminals:
        yield f"  terminal {terminal} = {node}"
    for value in part.values:
        yield f"  {_value_words(value)}"


def _value_words(value: ValueRow) -> str:
    source = f": {value.source}" if value.source else ""
    return (
        f"{value.parameter} = {value.middle:.6g} ({value.spread})  "
        f"[{value.origin.value}{source}]"
    )


def _write_lines(sink: TextIO, lines: Iterator[str] | tuple[str, ...]) -> None:
    for line in lines:
        indent = line[: len(line) - len(line.lstrip())]
        sink.write(f"{indent}{clean(line)}\n")
